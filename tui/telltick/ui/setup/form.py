"""The set-up form, apart from any screen: its fields, what may stand in them, and the profile they make."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from telltick.engine.tryout import SoundInputs
from telltick.model.errors import BadInputError
from telltick.model.plan import REQUEST, AudioPlan, PollPlan, StationProfile
from telltick.ui.factors import FACTORS

NO_PORT = "none: audio alone"
DEFAULT_INPUT = "the system's default"
BY_POLLER = ("baud", "poll interval", REQUEST)  # these stand in the poll plan
USUAL_BAUD = ("4800", "9600", "19200", "38400", "57600", "115200")


@dataclass(frozen=True)
class Field:
    """One line of the form.

    Attributes:
        key: its name.
        label: how the screen calls it.
        help: a sentence or two about it.
        offers: values to step through; others can be typed.
        fixed: only the offers can stand here.
    """

    key: str
    label: str
    help: str
    offers: tuple[str, ...] = ()
    fixed: bool = False


_REQUEST = (
    "What is sent at each poll: text such as XX; (\\r and so on allowed) or hex: 01 02 ff. A read-only query "
    "from the radio's own command manual; nothing that could transmit."
)


def fields_for(sounds: SoundInputs, ports: Sequence[str]) -> tuple[Field, ...]:
    """The form's lines for this machine.

    Args:
        sounds: its sound inputs.
        ports: its serial ports.
    """
    names = tuple(one.name for one in sounds.inputs)
    most = max((one.channels for one in sounds.inputs), default=2)
    return (
        Field("name", "station", "Its name; sessions and the profile are called after it."),
        Field(
            "input",
            "sound input",
            "Where the receiver's audio comes in.",
            (DEFAULT_INPUT, *names),
            fixed=True,
        ),
        Field("channel", "channel", "1 is left, 2 is right.", tuple(str(n + 1) for n in range(min(most, 8)))),
        Field(
            "port",
            "serial port",
            "The radio's port. It is not opened before you ask for it.",
            (NO_PORT, *ports),
        ),
        Field("baud", "baud", "Bits per second, as set in the radio's menu.", USUAL_BAUD),
        Field("framing", "framing", "Data bits, parity, stop bits.", ("8N1", "8N2", "7E1", "8E1")),
        Field("request", "request", _REQUEST),
        Field("reply_end", "reply ends", "The byte(s) that end a reply, as hex digits; empty: by silence."),
        Field("interval", "interval, s", "Seconds from poll to poll.", ("0.1", "0.2", "0.5", "1")),
        *(
            Field(
                f"setup.{name}",
                name,
                "How this stands when a session begins; empty: not of this bench.",
                one.usual,
            )
            for name, one in FACTORS.items()
            if name not in BY_POLLER
        ),
    )


USUAL = {
    "name": "bench",
    "input": DEFAULT_INPUT,
    "channel": "1",
    "port": NO_PORT,
    "baud": "9600",
    "framing": "8N1",
    "request": "",
    "reply_end": "",
    "interval": "0.2",
}


class Form:
    """What stands in the form."""

    def __init__(self, fields: Sequence[Field], profile: StationProfile | None = None) -> None:
        """Fill in the form.

        Args:
            fields: its lines.
            profile: an earlier profile to go on with.
        """
        self.fields = tuple(fields)
        self.values = {field.key: USUAL.get(field.key, "") for field in fields}
        if profile is not None:
            self.values |= _values_of(profile)
        self._kept = profile or StationProfile()

    def step(self, field: Field, direction: int) -> None:
        """Take the next or previous offered value."""
        if not field.offers:
            return
        here = self.values[field.key]
        at = field.offers.index(here) if here in field.offers else -1 if direction > 0 else 0
        self.values[field.key] = field.offers[(at + direction) % len(field.offers)]

    def put(self, field: Field, text: str) -> None:
        """Type a value.

        Raises:
            BadInputError: only the offered values can stand here.
        """
        text = text.strip()
        if field.fixed and text not in field.offers:
            raise BadInputError(f"{field.label}: choose with left and right")
        self.values[field.key] = text

    @property
    def audio(self) -> AudioPlan:
        """The sound input chosen.

        Raises:
            BadInputError: the channel is none.
        """
        chosen = self.values["input"]
        try:
            return replace(
                self._kept.audio,
                device=None if chosen == DEFAULT_INPUT else chosen,
                channel=_whole(self.values["channel"], "channel"),
            )
        except ValueError as why:
            raise BadInputError(f"{why}") from why

    @property
    def poll(self) -> PollPlan | None:
        """How the radio is to be polled; None for audio alone.

        Raises:
            BadInputError: something in it cannot be used.
        """
        if self.values["port"] in (NO_PORT, ""):
            return None
        request = self.values["request"]
        if not request:
            raise BadInputError("request: write the query to poll with, or choose no serial port")
        is_hex = request.lower().startswith("hex:")
        kept = self._kept.poll or PollPlan(port="-", frame_text="-")
        end = self.values["reply_end"]
        silence = kept.reply_silence_ms if end or kept.reply_bytes else kept.reply_silence_ms or 20.0
        try:
            return replace(
                kept,
                frame_text=None if is_hex else request,
                frame_hex=request[4:].strip() if is_hex else None,
                port=self.values["port"],
                baud=_whole(self.values["baud"], "baud"),
                framing=self.values["framing"],
                interval_s=_number(self.values["interval"], "interval"),
                reply_terminator=end or None,
                reply_silence_ms=silence,
            )
        except ValueError as why:
            raise BadInputError(f"{why}") from why

    @property
    def profile(self) -> StationProfile:
        """The profile that the form makes.

        Raises:
            BadInputError: something in it cannot be used.
        """
        name = self.values["name"]
        if not re.search(r"\w", name):
            raise BadInputError("station: give it a name")
        begin = "setup."
        setup = {
            key.removeprefix(begin): value for key, value in self.values.items() if key.startswith(begin)
        }
        stands = {**self._kept.setup, **setup}
        return replace(
            self._kept,
            name=name,
            audio=self.audio,
            poll=self.poll,
            setup={factor: value for factor, value in stands.items() if value},
        )


def _values_of(profile: StationProfile) -> Mapping[str, str]:
    """What a profile puts into the form."""
    values = {
        "name": profile.name,
        "input": profile.audio.device or DEFAULT_INPUT,
        "channel": str(profile.audio.channel),
        **{f"setup.{factor}": value for factor, value in profile.setup.items() if factor in FACTORS},
    }
    plan = profile.poll
    if plan is not None:
        values |= {
            "port": plan.port,
            "baud": str(plan.baud),
            "framing": plan.framing,
            "request": plan.frame_text if plan.frame_text is not None else f"hex: {plan.frame_hex}",
            "reply_end": plan.reply_terminator or "",
            "interval": f"{plan.interval_s:g}",
        }
    return values


def _whole(text: str, what: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise BadInputError(f"{what}: must be a whole number, not {text[:20]!r}")
    return int(text)


def _number(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise BadInputError(f"{what}: must be a number, not {text[:20]!r}") from None
