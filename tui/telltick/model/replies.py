"""How the radio answered the polls of our own poller, counted over a session."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Replies:
    """Polls by what came of them.

    Attributes:
        sent: polls that our own poller sent or tried to send.
        replies: of them, answered; of a request whose reply is not waited for: sent.
        timeouts: of them, not answered in time.
        errors: of them, failed on the port.
        late: replies that came after their poll had been given up.
        garbage: replies that broke off, and bytes that nobody had asked for.
        echo: the cable hands back every byte that is sent.
        median_ms: median time from the end of the request to the start of the reply; None where no reply was
            timed.
        p95_ms: 95 % of the replies took no longer.
    """

    sent: int
    replies: int
    timeouts: int = 0
    errors: int = 0
    late: int = 0
    garbage: int = 0
    echo: bool = False
    median_ms: float | None = None
    p95_ms: float | None = None

    @property
    def words(self) -> str:
        """One line about them, what went wrong last."""
        if self.replies and self.median_ms is None:
            said = [f"{self.replies} of {self.sent} requests sent, no reply is waited for"]
        else:
            said = [f"{self.replies} of {self.sent} polls{self._after()}"]
        kinds = (
            (self.timeouts, "timeout" if self.timeouts == 1 else "timeouts"),
            (self.errors, "failed on the port"),
            (self.late, "late"),
            (self.garbage, "garbage"),
        )
        said += [f"{count} {word}" for count, word in kinds if count]
        return ", ".join(said) + ("; the cable echoes" if self.echo else "")

    def _after(self) -> str:
        if self.median_ms is None or self.p95_ms is None:
            return ""
        return f", {self.median_ms:.1f} ms after the request (95 % within {self.p95_ms:.1f} ms)"
