"""A recorder killed at a random moment, and what is left of its session; for a test and for a benchmark."""

from __future__ import annotations

import shutil
import signal
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from telltick.engine.offline import measured_document
from telltick.model.clock import NS
from telltick.model.session import Ending
from telltick.store.integrity import Level, check_session, is_damaged
from telltick.store.journal import Journal
from telltick.store.session import SessionReader
from tests.bench_parts.recording import Recording


@dataclass(frozen=True)
class Killed:
    """What a kill left.

    Attributes:
        lost_ms: sound between the end of what is kept and the kill, in milliseconds.
        seen_kept: all that a viewer had seen is there, sample by sample and burst by burst.
        crash_told: verifying finds no damage and says that it ended by a crash.
        log_left: a write-ahead log was left over.
        found: what is measured of it.
        found_ended: what is measured of the same session ended in order at that moment.
    """

    lost_ms: float
    seen_kept: bool
    crash_told: bool
    log_left: bool
    found: dict[str, Any]
    found_ended: dict[str, Any]

    @property
    def measures_the_same(self) -> bool:
        """The two measurements agree to the last digit."""
        return numbers(self.found) == numbers(self.found_ended)


def numbers(document: dict[str, Any]) -> dict[str, Any]:
    return {key: document[key] for key in ("audio", "polling", "latency_ms", "whole", "steps", "changes")}


def kill_recorder(folder: Path, after_s: float, seed: int) -> Killed:
    """Record the simulated bench, kill the recorder after some seconds of audio, look at what is left."""
    with Recording(folder, "--bench", f"--seed={seed}") as recording:
        recording.wait_for(lambda now: bool(now.anchors), "audio")
        threading.Event().wait(after_s)
        seen = recording.reader
        heard = seen.audio.read(0, seen.audio.samples)
        bursts = seen.bursts
        mono_ns = seen.facts.started_mono_ns
        recording.send(signal.SIGKILL)
        killed_ns = time.monotonic_ns() - mono_ns
        recording.finish()
    findings = check_session(folder)
    notes = [finding.what for finding in findings if finding.level is Level.NOTE]
    with SessionReader(folder) as reader:
        lost_ms = (killed_ns - reader.end_ns) / NS * 1000
        kept = (
            bool((reader.audio.read(0, len(heard)) == heard).all()) and reader.bursts[: len(bursts)] == bursts
        )
        end_ns = reader.end_ns
    log = (folder / "journal.sqlite-wal").exists()
    ended = folder.with_name(f"{folder.name}-ended")
    shutil.copytree(folder, ended)
    found = measured_document(folder)
    with Journal.open(ended) as journal:
        journal.end(Ending(end_ns, "requested"))
    told = any("crashed or was killed" in note for note in notes) and not is_damaged(findings)
    return Killed(lost_ms, kept, told, log, found, measured_document(ended))
