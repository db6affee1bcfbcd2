"""Sessions side by side: a few against the first, or a whole folder in one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import count
from pathlib import Path

from telltick.engine.digest import SessionDigest
from telltick.engine.digest_cache import DigestCache
from telltick.engine.many import Outcome, digest_all
from telltick.engine.parts import Progress
from telltick.measure.across import GAINS, Matched, SetupSides, judged_sessions, levels_of, matched
from telltick.measure.changes import Judged
from telltick.model.comparison import Levels, MatchedSetup, SessionComparison, SessionLine, SessionPair
from telltick.model.errors import BadInputError
from telltick.model.measurement import MeasuringOptions
from telltick.model.text import plain_text
from telltick.store.folder import BAG_NAME, is_session

CALIBRATED = (
    "Both sessions are calibrated: N and I are compared in dBm at the antenna socket. What the calibrations "
    "themselves are off by is not in the intervals."
)
IN_DBFS = (
    "N and I are compared in dBFS: this holds only if RF gain, monitor level, gain control and the sound "
    "input's level were the same in both sessions."
)
OTHER_GAIN = (
    "N and I moved by the same in at least one setup and the excess stayed: that is what another gain does. "
    "Compare the excess, or calibrate both sessions."
)
NO_SCALE = (
    "The audio came through different inputs or at other gains, so levels in dBFS do not compare: the excess "
    "decides, and it depends on the noise floor of the day."
)
NOTHING_IN_COMMON = "No setup of the two sessions matches."


def compare_paths(
    paths: Sequence[Path],
    cache_file: Path | None = None,
    progress: Progress = lambda _: True,
    options: MeasuringOptions | None = None,
    workers: int | None = None,
) -> SessionComparison:
    """Measure sessions and set them side by side.

    Args:
        paths: two or more sessions (or bags), the first of which is the baseline; or one folder of sessions,
            which become one table.
        cache_file: where results are kept between runs; None keeps none.
        progress: told the share done, 0 to 1; answers False to give up.
        options: what the user says that the sessions do not.
        workers: processes; one a core unless given.

    Raises:
        BadInputError: there is nothing to compare.
        CancelledError: progress said to give up; what was finished is kept.
    """
    options = options or MeasuringOptions()
    folder = _folder_of_sessions(paths)
    sessions = list(paths) if folder is None else sessions_in(folder)
    with DigestCache(cache_file) as cache:
        outcomes = digest_all(sessions, cache, options, progress, workers)
    names = _names(sessions)
    lines = tuple(map(_line, names, outcomes))
    if folder is not None:
        order = sorted(lines, key=lambda one: (one.started_utc or "~", one.name))
        return SessionComparison(tuple(order), bound_db=options.bound_db)
    return _compared(lines, outcomes, options.bound_db)


def sessions_in(folder: Path) -> list[Path]:
    """The sessions and bags directly in a folder, by name.

    Raises:
        BadInputError: there are none, or it cannot be read.
    """
    try:
        found = [path for path in sorted(folder.iterdir()) if path.is_dir() and _holds_session(path)]
    except OSError as why:
        raise BadInputError(f"{folder} cannot be read ({why.strerror or why})") from why
    if not found:
        raise BadInputError(f"{folder} holds no sessions; give two sessions, or a folder of sessions")
    return found


def _holds_session(path: Path) -> bool:
    return is_session(path) or (path / BAG_NAME).is_file()


def _folder_of_sessions(paths: Sequence[Path]) -> Path | None:
    """The one folder that is no session itself; None when sessions were named."""
    if len(paths) > 1:
        for path in paths:
            if not path.exists():
                raise BadInputError(f"{path} does not exist; give the folders of two sessions or more")
        return None
    (only,) = paths
    if only.is_dir() and not _holds_session(only):
        return only
    raise BadInputError(f"{only} is one session; give two or more, or a folder of sessions")


def _names(sessions: Sequence[Path]) -> list[str]:
    """A name for each; those that are alike are told apart by number."""
    plain = [plain_text(path.resolve().name, 80) or "session" for path in sessions]
    out: list[str] = []
    for name in plain:
        candidates = (name if n == 1 else f"{name} ({n})" for n in count(1))
        out.append(next(one for one in candidates if one not in out))
    return out


def _line(name: str, outcome: Outcome) -> SessionLine:
    if isinstance(outcome, SessionDigest):
        return replace(outcome.line, name=name)
    return SessionLine(name=name, problem=plain_text(outcome, 500))


def _compared(
    lines: tuple[SessionLine, ...], outcomes: Sequence[Outcome], bound_db: float
) -> SessionComparison:
    """Each further session against the first."""
    first = outcomes[0]
    if not isinstance(first, SessionDigest):
        raise BadInputError(f"the baseline cannot be measured: {first}")
    later = [(n, one) for n, one in enumerate(outcomes) if n and isinstance(one, SessionDigest)]
    matches = [
        (match, n, _scales(match, first, one))
        for n, one in later
        for match in [matched(first.setups, one.setups)]
    ]
    asked = [(match, lines[0].name, lines[n].name, levels) for match, n, levels in matches]
    verdicts = list(judged_sessions(asked, bound_db))
    pairs = tuple(
        _pair(match, n, levels, found) for (match, n, levels), found in zip(matches, verdicts, strict=True)
    )
    comparisons = sum(one is not None for found in verdicts for one in found)
    return SessionComparison(lines, pairs, bound_db, comparisons)


def _scales(match: Matched, first: SessionDigest, other: SessionDigest) -> tuple[Levels, ...]:
    """For each matched setup the scale on which levels compare."""
    return tuple(levels_of(*pair, same_input=first.input == other.input) for pair in match.pairs)


def _pair(
    match: Matched, after: int, levels: Sequence[Levels], verdicts: Sequence[Judged | None]
) -> SessionPair:
    before, later = ([pair[side] for pair in match.pairs] for side in (0, 1))
    whole_before, whole_after = [*before, *match.only_before], [*later, *match.only_after]
    told = _telling(before) or _telling(whole_before)
    setups = tuple(
        MatchedSetup(_said(one, told), one.steps, other.steps, found.change if found else None, scale)
        for (one, other), found, scale in zip(match.pairs, verdicts, levels, strict=True)
    )
    notes = _level_notes(match, levels) if setups else [NOTHING_IN_COMMON]
    if any(_moved_as_a_whole(one) for one in setups):
        notes.append(OTHER_GAIN)
    return SessionPair(
        before=0,
        after=after,
        differing=match.differing,
        setups=setups,
        only_before=_told_apart(match.only_before, whole_before),
        only_after=_told_apart(match.only_after, whole_after),
        notes=tuple(notes),
    )


def _level_notes(match: Matched, levels: Sequence[Levels]) -> list[str]:
    """On which scale levels compare, and what that takes."""
    said = [CALIBRATED] if Levels.ANTENNA in levels else []
    if Levels.AUDIO in levels:
        pairs = [pair for pair, scale in zip(match.pairs, levels, strict=True) if scale is Levels.AUDIO]
        unknown = [gain for gain in GAINS if any(gain not in one.bench for pair in pairs for one in pair)]
        told = f" Not on record in both: {', '.join(unknown)}." if unknown else ""
        said.append(_where(levels, Levels.AUDIO) + IN_DBFS + told)
    if Levels.NONE in levels:
        said.append(_where(levels, Levels.NONE) + NO_SCALE)
    return said


def _moved_as_a_whole(one: MatchedSetup) -> bool:
    """Whether everything became louder or quieter by the same, as another gain would make it."""
    change = one.change
    if change is None or one.levels is not Levels.AUDIO or change.noise_db is None:
        return False
    excess, noise, bound = change.excess_db, change.noise_db, change.bound_db
    stayed = excess is not None and -bound < excess.low <= excess.high < bound
    return stayed and (noise.low > bound or noise.high < -bound)


def _where(levels: Sequence[Levels], scale: Levels) -> str:
    """Which setups a note is about, where it is not about all."""
    count = sum(one is scale for one in levels)
    return "" if count == len(levels) else f"In {count} of {len(levels)} setups: "


def _told_apart(some: Sequence[SetupSides], among: Sequence[SetupSides]) -> tuple[Mapping[str, str], ...]:
    """Setups by what tells them from the one that their session came back to most often."""
    if not some:
        return ()
    usual = max(among, key=lambda one: (len(one.steps), -one.steps[0])).bench
    others = [{name for name, value in one.bench.items() if usual.get(name) != value} for one in some]
    return tuple(_said(one, other) or dict(one.said) for one, other in zip(some, others, strict=True))


def _telling(setups: Sequence[SetupSides]) -> set[str]:
    """The factors in which setups of one session differ from each other."""
    factors = {factor for one in setups for factor in one.bench}
    return {factor for factor in factors if len({one.bench.get(factor) for one in setups}) > 1}


def _said(one: SetupSides, factors: set[str]) -> Mapping[str, str]:
    return {name: value for name, value in one.said.items() if name.casefold().strip() in factors}
