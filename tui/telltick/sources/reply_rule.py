"""How to know that a reply is complete."""

from __future__ import annotations

from dataclasses import dataclass

from telltick.model.plan import PollPlan

MAX_REPLY_BYTES = 4096


@dataclass(frozen=True, slots=True)
class ReplyRule:
    """The plan's ways to end a reply; whichever is met first ends it.

    Attributes:
        terminator: bytes that end a reply; empty for none.
        length: number of bytes of a reply; None for any.
        silence_ns: silence that ends a reply; None for never.
    """

    terminator: bytes
    length: int | None
    silence_ns: int | None

    @classmethod
    def of(cls, plan: PollPlan) -> ReplyRule:
        """The rule of a plan."""
        silence_ms = plan.reply_silence_ms
        return cls(
            bytes.fromhex(plan.reply_terminator or ""),
            plan.reply_bytes,
            None if silence_ms is None else round(silence_ms * 1e6),
        )

    @property
    def awaited(self) -> bool:
        """False when the plan sends requests without looking for replies."""
        return bool(self.terminator) or self.length is not None or self.silence_ns is not None

    def end(self, data: bytes | bytearray) -> int | None:
        """Where the reply at the start of `data` ends, in bytes; None while more must come."""
        ends = []
        if self.terminator and self.terminator in data:
            ends.append(data.index(self.terminator) + len(self.terminator))
        if self.length is not None and len(data) >= self.length:
            ends.append(self.length)
        return min(ends, default=None)

    def silent(self, silence_ns: int) -> bool:
        """True when so much silence after the last byte ends the reply."""
        return self.silence_ns is not None and silence_ns >= self.silence_ns
