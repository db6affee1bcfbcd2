"""Keys of the replay, for the main screen: the playhead, and what is heard."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from telltick.engine.ears import Ears, Hearing
from telltick.model.cautions import HEADPHONES
from telltick.ui.rows import Role
from telltick.ui.screens.operated import OperatedScreen

VOLUME_STEP_DB = 3.0


class ReplayKeys(OperatedScreen):
    """What the main screen does with a saved session."""

    ears: Ears | None = None

    def action_play(self) -> None:
        """Play or pause."""
        self._in_replay(self.desk.play)

    def action_speed(self, direction: int) -> None:
        """Faster or slower."""
        self._in_replay(lambda: self.desk.change_speed(direction))

    def action_seek(self, seconds: int) -> None:
        """Move the playhead by seconds."""
        self._in_replay(lambda: self.desk.seek_by(seconds))

    def action_seek_part(self, tenths: int) -> None:
        """Move the playhead to a tenth of the session."""
        self._in_replay(lambda: self.desk.seek_to(self.desk.snapshot.duration_ns * tenths // 10))

    def action_seek_mark(self, direction: int) -> None:
        """Move the playhead from mark to mark."""
        self._in_replay(lambda: self.desk.seek_mark(direction))

    def action_hear(self) -> None:
        """Hear the next kind of thing at the playhead."""
        self._in_replay(self._hear)

    def action_volume(self, direction: int) -> None:
        """Louder or quieter."""
        self._in_replay(lambda: self._turn(direction))

    def be_silent(self) -> None:
        """Stop what is heard, for good."""
        if self.ears is not None:
            self.ears.close()
            self.ears = None

    def _hear(self) -> None:
        first = self.ears is None
        ears = self.ears = self.ears or Ears(Path(self.desk.folder))
        hearing = ears.next(self.desk.snapshot.now_ns, self.desk.snapshot.latency)
        caution = f"; it starts low. {HEADPHONES}" if first and hearing is not Hearing.NOTHING else ""
        self.say(f"you hear {hearing}{caution}", Role.WARN if caution else Role.MARK)

    def _turn(self, direction: int) -> None:
        if self.ears is None:
            self.say("nothing is heard yet")
            return
        volume_db = self.ears.turn(direction * VOLUME_STEP_DB)
        self.say(f"volume {volume_db:.0f} dB; 0 is as recorded")

    def _in_replay(self, do: Callable[[], None]) -> None:
        if self.is_replay:
            self.try_(do, "the playhead did not move")
