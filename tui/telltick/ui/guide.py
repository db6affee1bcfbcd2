"""The guided round on screen, apart from any widget: which one is walked, and what its keys do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from telltick.engine.walk import Ask, Walker
from telltick.model.rounds import Round, Walk, WalkPhase
from telltick.model.snapshot import Snapshot
from telltick.ui.desk import Question


class Guide:
    """Holds the round that is being walked, if any."""

    def __init__(self, ask: Ask, found: Mapping[str, str] | None = None) -> None:
        """Wait for a round.

        Args:
            ask: puts a request to the recorder.
            found: how the bench stood when the session began.
        """
        self._ask = ask
        self._found = found
        self._walker: Walker | None = None
        self._walk: Walk | None = None
        self._told = False  # that it is done

    @property
    def walk(self) -> Walk | None:
        """Where the round stands; None without one."""
        return self._walk

    def begin(self, round_: Round, snapshot: Snapshot) -> Walk:
        """Take up a round."""
        self._walker = Walker(round_, self._ask, self._found)
        return self._looked(snapshot)

    def look(self, snapshot: Snapshot) -> bool:
        """See how the round stands; True when it has just ended."""
        if self._walker is None:
            return False
        done = self._looked(snapshot).phase is WalkPhase.DONE
        ended, self._told = done and not self._told, done
        return ended

    def skip(self, snapshot: Snapshot) -> None:
        """Leave the present task out."""
        if self._walker is not None:
            self._walker.skip(snapshot)
            self._looked(snapshot)

    def back(self, snapshot: Snapshot) -> None:
        """Take the task before up again."""
        if self._walker is not None:
            self._walker.back(snapshot)
            self._looked(snapshot)

    def leave(self) -> None:
        """Leave the round; what was done stands in the journal."""
        self._walker = self._walk = None

    @property
    def wanted(self) -> str:
        """The factor that the operator is asked to change now; empty when it is not their turn."""
        walk = self._walk
        if walk is None or walk.task is None or walk.phase is not WalkPhase.YOURS:
            return ""
        return walk.task.factor

    def offering(self, question: Question) -> Question:
        """The question with the round's own proposal typed in, and first among the values offered."""
        walk = self._walk
        if walk is None or walk.task is None or walk.task.factor != question.title or not walk.value:
            return question
        value = walk.value.split()[0] if question.verb is not None else walk.value
        others = tuple(offer for offer in question.offers if offer != value)
        caution = walk.caution or question.caution
        return replace(question, offers=(value, *others), caution=caution, proposed=value)

    def _looked(self, snapshot: Snapshot) -> Walk:
        assert self._walker is not None
        self._walk = self._walker.look(snapshot)
        return self._walk
