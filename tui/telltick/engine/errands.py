"""What viewers ask of a recorder: carried out or refused, and always answered in the journal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from telltick.engine.disk import DiskWatch
from telltick.engine.inputs import Inputs
from telltick.engine.instruct import Change, instruct, rate_change
from telltick.model.session import Outcome, Request, Verb
from telltick.sources.poller import Poller

OVER = "the session ended before it could be carried out"


@dataclass(frozen=True, slots=True)
class RateAnswer:
    """What a port made of the rate that was asked for.

    Attributes:
        t_ns: session time.
        baud: bits per second now.
        refused: why it was not the one asked for; empty when it was.
        ask: number of the ask that is answered, with all before it.
    """

    t_ns: int
    baud: int
    refused: str
    ask: int


class Errands:
    """Carries requests out.

    A change of the rate waits for the reply under way and may be refused by the port. Its request is answered
    when the port has; until then it is still under way.
    """

    def __init__(
        self,
        line: object,
        inputs: Inputs,
        disk: DiskWatch,
        now_ns: Callable[[], int],
        mark: Callable[[int, Change], None],
    ) -> None:
        """Prepare.

        Args:
            line: what watches the serial line; only our own poller takes instructions.
            inputs: what else is recorded.
            disk: told to go on.
            now_ns: session time.
            mark: journals a change of the setup at a session time.
        """
        self._poller = line if isinstance(line, Poller) else None
        self._inputs = inputs
        self._disk = disk
        self._now_ns = now_ns
        self._mark = mark
        self._rates: list[tuple[int, Request]] = []  # asked of the port, not yet answered: ask's number

    def under_way(self, request: Request) -> bool:
        """Whether it has been taken up before, and only its answer is missing."""
        return any(one.number == request.number for _, one in self._rates)

    def carry_out(self, request: Request) -> Outcome | None:
        """Do it; None when the answer comes later."""
        now_ns = self._now_ns()
        try:
            words = self._do(request, now_ns)
        except (ValueError, OSError) as why:
            return Outcome(request.number, now_ns, False, str(why))
        return None if words is None else Outcome(request.number, now_ns, True, words)

    def _do(self, request: Request, now_ns: int) -> str | None:
        """Words about what was done; None when the answer comes later.

        Raises:
            ValueError, OSError: it cannot be done; the message says why.
        """
        match request.verb:
            case Verb.FINISH:
                return "the session ends"
            case Verb.RESUME:
                return self._disk.resume()
            case Verb.UNKNOWN:
                raise ValueError(
                    f"this recorder does not know how to {request.value[:40]!r}: update telltick"
                )
        if self._poller is None:
            raise ValueError(self._why_no_polling())
        change = instruct(self._poller, request)
        if change is None:
            self._rates.append((self._poller.rate_asks, request))
            return None
        self._mark(now_ns, change)
        return str(change)

    def rate_answered(self, answer: RateAnswer) -> Iterator[Outcome]:
        """Outcomes of the requests that the port has answered."""
        if self._poller is None:
            return
        asked = [request for ask, request in self._rates if ask <= answer.ask]
        self._rates = [(ask, request) for ask, request in self._rates if ask > answer.ask]
        change = rate_change(self._poller, answer.baud)
        if not answer.refused:
            self._mark(answer.t_ns, change)
        for request in asked:
            done = not answer.refused
            yield Outcome(request.number, answer.t_ns, done, answer.refused or str(change))

    def abandoned(self) -> Iterator[Outcome]:
        """Outcomes of what was still under way when the session ended."""
        asked, self._rates = self._rates, []
        for _, request in asked:
            yield Outcome(request.number, self._now_ns(), False, OVER)

    def _why_no_polling(self) -> str:
        tap = self._inputs.tap
        if self._inputs.line_channel is not None:
            return "this session only hears the data line: nothing is sent to the radio"
        if tap is None:
            return "this session has no poll plan"
        if tap.way == "bridge":
            return "the station program polls through the bridge: change its polling there"
        return "this session only listens on the line: nothing is sent to the radio"
