"""Keys of the guided round, for the main screen."""

from __future__ import annotations

from telltick.engine.walk import rounds_on_offer
from telltick.model.rounds import Round, WalkPhase
from telltick.ui.desk import Question
from telltick.ui.guide import Guide
from telltick.ui.rows import Role
from telltick.ui.screens.operated import OperatedScreen
from telltick.ui.screens.rounds import RoundScreen
from telltick.ui.widgets.walk import WalkPanel

FINDINGS_TAB = 2


class WalkKeys(OperatedScreen):
    """What the main screen does in a round."""

    guide: Guide
    walk_panel: WalkPanel

    def action_walk(self) -> None:
        """Begin what the round proposes; choose a round first when none is walked."""
        if self.is_replay:
            self.say("a round is walked while recording", Role.WARN)
        elif self.guide.walk is None or self.guide.walk.phase is WalkPhase.DONE:
            rounds, faults = rounds_on_offer()
            self.app.push_screen(RoundScreen(rounds, faults, self.glyphs), self._begin_round)
        elif self.guide.wanted:
            self.action_change(self.guide.wanted)
        else:
            skip = self.keymap.shown("walk_skip")
            self.say(f"{self.guide.walk.phase}: wait, or leave this task out with {skip}")

    def action_walk_skip(self) -> None:
        """Leave the round's present task out."""
        self.try_(lambda: self.guide.skip(self.desk.snapshot), "the task was not left out")
        self._follow_round()

    def action_walk_back(self) -> None:
        """Take the round's task before up again."""
        self.try_(lambda: self.guide.back(self.desk.snapshot), "the round did not go back")
        self._follow_round()

    def action_walk_end(self) -> None:
        """Leave the round; the journal comes back."""
        if self.guide.walk is not None:
            self.guide.leave()
            self.place_panels()
            self.say("round left; what was done stands in the journal")

    def _begin_round(self, round_: Round | None) -> None:
        if round_ is None:
            return
        self.try_(lambda: self._take_up(round_), "the round was not begun")
        self.place_panels()
        self._follow_round()

    def _take_up(self, round_: Round) -> None:
        self.guide.begin(round_, self.desk.snapshot)
        self.desk.begin_round(round_.title)

    def look_at_round(self) -> None:
        """See how the round stands after a new picture; the findings open when it ends."""
        if self.guide.walk is None:
            return
        ended = self.guide.look(self.desk.snapshot)
        self._follow_round()
        if ended:
            self.say(f"the round is done; {self.keymap.shown('results')} shows what it found", Role.GOOD)
            self.results_tab = FINDINGS_TAB
            self.action_results()

    def offering(self, question: Question) -> Question:
        """A question with the round's proposal first."""
        return self.guide.offering(question)

    def _follow_round(self) -> None:
        self.walk_panel.follow(self.guide.walk)
