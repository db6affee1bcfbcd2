"""The coin trial: started and ended with one key, its odds against chance as they grow."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar

from telltick.model.snapshot import Snapshot
from telltick.model.trial import odds_to_one
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, spread, wrapped
from telltick.ui.screens.page import PageScreen
from telltick.ui.widgets.odds import draw_odds, odds_rows
from telltick.ui.widgets.sheet import Sheet, Sight, plain

if TYPE_CHECKING:
    from telltick.ui.screens.session import SessionScreen

ABOUT = (
    "In each cycle of polling a recorded random draw decides into which of several equal slots the poll "
    "goes. The slots that were not drawn are its own controls: if the sound is louder in the drawn ones "
    "again and again, the polling is why.",
    "The draws come from a seed in the journal by a published hash, so anybody can repeat them and the odds.",
    "Change nothing on the bench while it runs; marks and gaps are left out by rule.",
)


class TrialScreen(PageScreen):
    """Odds, difference, outlook."""

    topic: ClassVar[str] = "trial"
    action_name: ClassVar[str] = "trial"

    def __init__(self, session: SessionScreen) -> None:
        super().__init__(session)
        self._drawn: object = None

    def begin(self) -> None:
        """Start the session's first trial at once: that is what the key was pressed for."""
        desk = self.session.desk
        fresh = desk.snapshot.trial is None and not desk.trial_runs
        if fresh and not self.session.is_replay:
            self.session.try_(lambda: self.session.say(desk.start_trial(), Role.MARK), "not asked")

    def again(self) -> None:
        """The key again ends the trial, or begins another."""
        desk = self.session.desk
        ask = desk.stop_trial if desk.trial_runs else desk.start_trial
        self.session.try_(lambda: self.session.say(ask(), Role.MARK), "not asked")
        self.redraw()

    def news(self, snapshot: Snapshot) -> None:
        """Draw what the trial has come to."""
        if snapshot.trial is not self._drawn:
            self.redraw()

    def draw_title(self) -> Row:
        """Is it running, and when does it end."""
        desk = self.session.desk
        state = "runs" if desk.trial_runs else "over" if desk.snapshot.trial is not None else "none yet"
        right = row(Run(f"{self._ending()} ", Role.LABEL))
        return spread(row(Run(f" COIN TRIAL, {state}", Role.KEY)), right, self.size.width)

    def _ending(self) -> str:
        goal = self.session.desk.trial_goal
        if self.session.is_replay:
            return ""  # nobody asks any more
        return "no end of its own" if math.isinf(goal) else f"ends at {odds_to_one(math.log10(goal))}"

    def draw_page(self) -> None:
        """Picture and numbers, or what a coin trial is."""
        trial = self._drawn = self.session.desk.snapshot.trial
        room = self.sheet.room
        if trial is None:
            lines = [line for part in ABOUT for line in (*wrapped(part, room.width - 4), BLANK)]
            self.sheet.lay(Sheet(items=plain([BLANK, *lines])), Sight())
            return
        words = odds_rows(trial, room, self.session.desk.trial_goal)
        said = [line for part in trial.warnings for line in wrapped(f"  ! {part}", room.width - 2, Role.WARN)]
        height = max(room.height - len(words) - min(len(said), 3) - 1, 4)
        picture = draw_odds(trial, Room(room.width, height, room.glyphs), self.session.desk.trial_goal)
        self.sheet.lay(Sheet(head=(*picture, BLANK, *words, *said)), Sight())

    def key_hints(self) -> list[tuple[str, str]]:
        """Keys of this page."""
        hints = [(self.glyphs.up_down, "odds it ends at")]
        if not self.session.is_replay:
            word = "end the trial" if self.session.desk.trial_runs else "begin one"
            hints.insert(0, (self.keymap.shown("trial"), word))
        else:
            hints = []
        return [
            *hints,
            (self.keymap.shown("results"), "results"),
            (self.keymap.shown("help"), "what it means"),
            ("Esc", "back"),
        ]

    def pressed(self, key: str) -> bool:
        """Set the odds at which it ends."""
        if key not in ("up", "down") or self.session.is_replay:
            return False
        self.say(self.session.desk.move_goal(1 if key == "up" else -1), Role.MARK)
        self.redraw()
        return True
