"""Many sessions measured on every core; one that fails does not stop the rest."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.synchronize import Event
from pathlib import Path

from telltick.engine.digest import SessionDigest, digest_key, digest_session
from telltick.engine.digest_cache import DigestCache
from telltick.engine.parts import Progress, part_of
from telltick.model.errors import CancelledError, TelltickError
from telltick.model.measurement import MeasuringOptions

Outcome = SessionDigest | str  # or why not
_LOOK_EVERY_S = 0.2
_DIED = "the process that measured it died; measure it alone to see why"

_given_up: Event | threading.Event = threading.Event()  # in a worker: the parent's


def digest_all(
    folders: Sequence[Path],
    cache: DigestCache,
    options: MeasuringOptions,
    progress: Progress = lambda _: True,
    workers: int | None = None,
) -> list[Outcome]:
    """A digest of each session, or the reason why there is none, in the order given.

    Args:
        folders: the sessions.
        cache: what is known already; what is found is kept there at once, so that a second run goes on.
        options: for measuring.
        progress: told the share done, 0 to 1; answers False to give up.
        workers: processes; one a core unless given. With one session to measure none is started.

    Raises:
        CancelledError: progress said to give up; what was finished is kept.
    """
    outcomes: dict[int, Outcome] = {}
    todo: dict[int, str] = {}
    for index, folder in enumerate(folders):
        known = _known(folder, cache, options)
        if isinstance(known, str):
            todo[index] = known
        else:
            outcomes[index] = known if isinstance(known, SessionDigest) else str(known)
        _go_on(progress, 0.1 * (index + 1) / len(folders))
    jobs = {index: (folders[index], key, options) for index, key in todo.items()}
    done = _measured(jobs, workers or os.cpu_count() or 1, part_of(progress, 0.1, 1.0))
    for index, outcome in done:
        outcomes[index] = outcome
        if isinstance(outcome, SessionDigest):
            cache.add(outcome)
    return [outcomes[index] for index in range(len(folders))]


def _known(
    folder: Path, cache: DigestCache, options: MeasuringOptions
) -> SessionDigest | TelltickError | str:
    """The digest, why there can be none, or the key under which to keep it."""
    try:
        key = digest_key(folder, options)
    except TelltickError as why:
        return why
    return cache.get(key) or key


Job = tuple[Path, str, MeasuringOptions]


def _measured(jobs: dict[int, Job], workers: int, progress: Progress) -> Iterator[tuple[int, Outcome]]:
    """Outcomes as they come."""
    if len(jobs) == 1 or workers == 1:
        for number, (index, job) in enumerate(jobs.items()):
            yield index, _alone(job, part_of(progress, number / len(jobs), (number + 1) / len(jobs)))
        return
    left = dict(jobs)
    for index, outcome in _pooled(jobs, workers, progress):
        del left[index]
        yield index, outcome
    for index, job in left.items():  # a worker died and took the pool along: find out whose fault it was
        found = dict(_pooled({index: job}, 1, progress))
        yield index, found.get(index, _DIED)


def _pooled(jobs: dict[int, Job], workers: int, progress: Progress) -> Iterator[tuple[int, Outcome]]:
    """Outcomes as they come; those that a dying worker took along are missing."""
    if not jobs:
        return
    context = multiprocessing.get_context("spawn")
    others = set(multiprocessing.active_children())
    given_up = context.Event()
    pool = ProcessPoolExecutor(min(workers, len(jobs)), context, _begin_worker, (given_up,))
    try:
        with _keyboard_left_to_parent():
            futures = {pool.submit(_in_worker, job): index for index, job in jobs.items()}
        waiting = set(futures)
        while waiting:
            finished, waiting = wait(waiting, _LOOK_EVERY_S, FIRST_COMPLETED)
            for future in finished:
                outcome = _outcome(future)
                if outcome is not None:
                    yield futures[future], outcome
            _go_on(progress, 1 - len(waiting) / len(jobs))
    except BaseException:
        given_up.set()
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()  # nothing of theirs is worth waiting for: only finished results are kept
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextlib.contextmanager
def _keyboard_left_to_parent() -> Iterator[None]:
    """Processes that are started meanwhile do not hear Ctrl-C; the parent tells them when to stop."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _outcome(future: Future[Outcome]) -> Outcome | None:
    try:
        return future.result()
    except BrokenProcessPool:
        return None


def _begin_worker(given_up: Event) -> None:
    """Take note of the parent's sign to stop."""
    global _given_up  # noqa: PLW0603
    _given_up = given_up


def _in_worker(job: Job) -> Outcome:
    return _alone(job, lambda _: not _given_up.is_set())


def _alone(job: Job, progress: Progress) -> Outcome:
    """Measure one session; what is wrong with it becomes a sentence."""
    folder, key, options = job
    try:
        return digest_session(folder, key, options, progress)
    except CancelledError:
        raise
    except TelltickError as why:
        return str(why)
    except Exception as why:
        return f"{folder} cannot be measured ({type(why).__name__}: {why})"


def _go_on(progress: Progress, share: float) -> None:
    if not progress(share):
        raise CancelledError("given up; what was finished is kept")
