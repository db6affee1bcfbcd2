"""Rounds: guided tours of the bench, read from data files. One task follows another; each is measured."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal


@dataclass(frozen=True, kw_only=True)
class Task:
    """One thing to do, and when it is done. Fields are named as in the TOML file.

    Attributes:
        do: ``measure`` the bench as it stands; ``change`` a factor to a value; ``return`` a factor to what it
            was when the round began; ``polling`` on or off by our own poller; ``trial`` by coin.
        say: what the operator reads.
        factor: of a change or return.
        value: proposed value of a change; ``on`` or ``off`` for polling. The operator may answer otherwise.
        within_db: measured until the excess is known to within this, either way.
        longest_s: and no longer than this.
        shortest_s: but at least so long.
        odds: a trial ends at these odds against chance.
        caution: what to mind, besides what belongs to the factor.
    """

    do: Literal["measure", "change", "return", "polling", "trial"]
    say: str
    factor: str = ""
    value: str = ""
    within_db: float = 0.5
    longest_s: float = 90.0
    shortest_s: float = 8.0
    odds: float = 1000.0
    caution: str = ""

    def __post_init__(self) -> None:
        """Refuse tasks that cannot be done.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        if self.do in ("change", "return") and not self.factor:
            raise ValueError(f"factor: a task that does a {self.do} names a factor")
        if self.do == "polling" and self.value not in ("on", "off"):
            raise ValueError(f"value: polling is on or off, not {self.value!r}")
        if not 0.05 <= self.within_db <= 10:
            raise ValueError(f"within_db: must be 0.05 to 10, not {self.within_db:g}")
        if not 1 <= self.shortest_s <= self.longest_s <= 3600:
            raise ValueError("longest_s: must be from shortest_s (1 or more) to 3600")
        if not 1 < self.odds <= 1e12:
            raise ValueError(f"odds: must be above 1, not {self.odds:g}")


@dataclass(frozen=True, kw_only=True)
class Round:
    """A guided round.

    Attributes:
        title: its name on screen.
        about: a sentence or two about what it shows.
        minutes: about how long it takes.
        tasks: what to do, in order.
    """

    title: str
    about: str
    minutes: float
    tasks: tuple[Task, ...]

    def __post_init__(self) -> None:
        """Refuse an empty round.

        Raises:
            ValueError: it has no tasks.
        """
        if not self.tasks:
            raise ValueError("tasks: a round needs at least one [[tasks]]")


class WalkPhase(StrEnum):
    """Whose turn it is."""

    YOURS = "your turn"  # the operator is asked to do something
    HANDS_ON = "hands on"  # and is doing it
    WAITING = "waiting"  # the recorder was asked for something
    MEASURING = "measuring"
    DONE = "round done"


@dataclass(frozen=True)
class TaskResult:
    """What became of a task.

    Attributes:
        task: the task.
        skipped: it was left out.
        words: what was found, or why it was left out.
    """

    task: Task
    skipped: bool
    words: str


@dataclass(frozen=True)
class Walk:
    """Where a round stands.

    Attributes:
        title: of the round.
        number: of the present task, from 1; beyond `count` when the round is done.
        count: tasks in the round.
        phase: whose turn it is.
        task: the present task; None when the round is done.
        value: value proposed for its factor; empty when the operator knows best.
        progress: one sentence: what is going on.
        share: how far measuring is, 0 to 1.
        seconds_left: until measuring is probably enough; None when it cannot be told.
        caution: what to mind now; empty for most.
        results: of the tasks that are over, in order.
    """

    title: str
    number: int
    count: int
    phase: WalkPhase
    task: Task | None
    value: str = ""
    progress: str = ""
    share: float = 0.0
    seconds_left: float | None = None
    caution: str = ""
    results: tuple[TaskResult, ...] = ()
