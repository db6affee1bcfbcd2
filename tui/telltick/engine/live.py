"""The live view of a session: the moment is now."""

from __future__ import annotations

import time
from pathlib import Path

from telltick.engine.heap import give_back_large_arrays, give_back_what_is_free, pass_over_what_lives_now
from telltick.engine.told import told_until, untold_s
from telltick.engine.viewing import SessionView
from telltick.model.clock import NS
from telltick.model.snapshot import Phase, Snapshot, View
from telltick.store.lock import held

KEEP_NS = 1800 * NS  # of what a live view reads, the last half hour serves it: the longest strip takes that
KEEP_POLLS_NS = 120 * NS
FORGET_EVERY_NS = 20 * NS
SETTLED_AFTER = 40  # looks: by then all modules are loaded and the screen stands


class LiveFeed(SessionView):
    """A session that a recorder is writing, on the same machine."""

    def __init__(self, folder: Path) -> None:
        give_back_large_arrays()
        super().__init__(folder)
        self._newest_ns = 0
        self._alive = True
        self._asked_ns = 0
        self._told = 0
        self._forget_at_ns = KEEP_POLLS_NS + FORGET_EVERY_NS
        self._looks = 0

    def look(self, view: View) -> Snapshot:
        """Measure up to the present and return what to show."""
        picture = super().look(view)
        self._forget()
        self._looks += 1
        if self._looks == SETTLED_AFTER:
            pass_over_what_lives_now()
        return picture

    def _forget(self) -> None:
        """Let go of the night before the last half hour, but for what a coin trial may need again."""
        if self._newest_ns >= self._forget_at_ns:
            self._forget_at_ns = self._newest_ns + FORGET_EVERY_NS
            self._reader.forget_before(
                self._newest_ns - KEEP_NS,
                polls_ns=self._newest_ns - KEEP_POLLS_NS,
                bursts_kept_ns=self._trial.bursts_wanted_ns,
            )
            give_back_what_is_free()

    def moment_ns(self) -> int:
        """Session time now, by the clock the recorder uses; that clock stops with the recorder."""
        ending = self._reader.ending
        if ending is not None:
            return ending.t_ns
        if not self._recorder_alive():
            return self._reader.end_ns
        return time.monotonic_ns() - self.facts.started_mono_ns

    def _is_late(self) -> bool:
        self._reader.refresh()
        return self._phase(started=True) is not Phase.RECORDING

    def _picture_moment(self) -> tuple[int, int, Phase]:
        samples = self._reader.audio.samples
        if not self._reader.anchors or not samples:
            return 0, 0, self._phase(started=False)
        self._newest_ns = self._reader.end_ns
        shown_ns = self._newest_ns - int(max(self._analyst.shift_s, 0.0) * NS)
        return samples, shown_ns, self._phase(started=True)

    def _phase(self, *, started: bool) -> Phase:
        if self._reader.ending is not None:
            return Phase.ENDED
        if not self._recorder_alive():
            return Phase.STOPPED
        return Phase.RECORDING if started else Phase.STARTING

    def _recorder_alive(self) -> bool:
        now = time.monotonic_ns()
        if now - self._asked_ns > NS:
            self._asked_ns = now
            self._alive = held(Path(self.folder))
        return self._alive

    def _known_until(self, sample: int) -> int:
        told = told_until(self._reader, growing=self._recorder_alive())
        self._told = max(self._told, told)  # a clock that was levelled out anew does not take anything back
        return min(self._told, sample)

    def _untold_s(self) -> float:
        return untold_s(self._reader) if self._recorder_alive() else 0.0

    def _audio_age_s(self) -> float:
        if self._reader.ending is not None or not self._newest_ns:
            return 0.0
        return max(0.0, (self.moment_ns() - self._newest_ns) / NS)
