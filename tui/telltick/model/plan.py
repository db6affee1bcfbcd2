"""What to poll and how: the poll plan, and the station profile that holds one."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from telltick.model.framing import Framing
from telltick.model.on_air import CalibrationPoint, Place

MAX_FRAME_BYTES = 256
REQUEST = "request"  # the factor: which of the plan's two requests is sent
REQUEST_ANSWERED, REQUEST_IGNORED = "answered by the radio", "ignored by the radio"


@dataclass(frozen=True, kw_only=True)
class PollPlan:
    r"""One request, sent over and over, and how to know that its reply is complete.

    The reply ends at `reply_terminator`, or after `reply_bytes` bytes, or after `reply_silence_ms` without a
    byte, whichever of them is set; with none set, no reply is waited for. Fields are named
    as in the TOML file.

    Attributes:
        port: a device or any pyserial URL.
        frame_text: the request as text (escapes such as ``\r`` allowed); or
        frame_hex: the request as hex digits. Exactly one of the two.
        unanswered_text: another read-only request, which the radio lets pass without a reply (one for another
            device on the line, say); sent in place of the first only when asked for; or
        unanswered_hex: the same as hex digits. At most one of the two.
        interval_s: from one request to the next, in seconds.
        jitter_ms: each request is moved by a random time within plus or minus this.
        baud: bits per second.
        framing: such as ``8N1``.
        handshake: ``none``, ``rtscts``, ``dsrdtr`` or ``xonxoff``.
        reply_terminator: hex digits of the byte(s) that end a reply.
        reply_bytes: length of a reply.
        reply_silence_ms: silence that ends a reply.
        reply_timeout_ms: give up waiting after this.
        enabled: start polling at once.
    """

    port: str
    frame_text: str | None = None
    frame_hex: str | None = None
    unanswered_text: str | None = None
    unanswered_hex: str | None = None
    interval_s: float = 0.2
    jitter_ms: float = 10.0
    baud: int = 9600
    framing: str = "8N1"
    handshake: Literal["none", "rtscts", "dsrdtr", "xonxoff"] = "none"
    reply_terminator: str | None = None
    reply_bytes: int | None = None
    reply_silence_ms: float | None = None
    reply_timeout_ms: float = 150.0
    enabled: bool = True

    def __post_init__(self) -> None:
        """Refuse plans that cannot be carried out.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        if (self.frame_text is None) == (self.frame_hex is None):
            raise ValueError("frame_text: give the request either as frame_text or as frame_hex")
        if None not in (self.unanswered_text, self.unanswered_hex):
            raise ValueError("unanswered_text: give it either as unanswered_text or as unanswered_hex")
        for key in ("frame_text", "frame_hex", "unanswered_text", "unanswered_hex"):
            _check_request(key, getattr(self, key))
        if self.unanswered == self.frame:
            raise ValueError("unanswered_text: this is the request that the radio answers; give another")
        Framing.parse(self.framing)
        try:
            bytes.fromhex(self.reply_terminator or "00")
        except ValueError as why:
            raise ValueError(f"reply_terminator: {why}") from why
        self._check_ranges()

    def _check_ranges(self) -> None:
        limits: dict[str, tuple[float, float]] = {
            "interval_s": (0.01, 3600),
            "jitter_ms": (0, 1000),
            "baud": (50, 4_000_000),
            "reply_bytes": (1, 4096),
            "reply_silence_ms": (1, 10_000),
            "reply_timeout_ms": (1, 60_000),
        }
        for key, (low, high) in limits.items():
            value = getattr(self, key)
            if value is not None and not low <= value <= high:
                raise ValueError(f"{key}: must be {_plain(low)} to {_plain(high)}, not {_plain(value)}")

    @property
    def frame(self) -> bytes:
        """The request's bytes."""
        return _request(self.frame_text, self.frame_hex) or b""

    @property
    def unanswered(self) -> bytes | None:
        """The bytes of the request that the radio lets pass; None without one."""
        return _request(self.unanswered_text, self.unanswered_hex)

    @property
    def line(self) -> Framing:
        """The character framing."""
        return Framing.parse(self.framing)


def _plain(value: float) -> str:
    """A number as a person writes it: whole ones with all their digits."""
    return f"{value:.0f}" if float(value).is_integer() and abs(value) < 1e15 else f"{value:g}"


def _request(text: str | None, digits: str | None) -> bytes | None:
    if digits is not None:
        return bytes.fromhex(digits)
    return None if text is None else text.encode("latin-1").decode("unicode_escape").encode("latin-1")


def _check_request(key: str, given: str | None) -> None:
    """Refuse a request that cannot be sent.

    Raises:
        ValueError: the message starts with the name of the key.
    """
    try:
        frame = _request(None, given) if key.endswith("_hex") else _request(given, None)
    except ValueError as why:
        raise ValueError(f"{key}: {why}") from why
    if frame is not None and not 1 <= len(frame) <= MAX_FRAME_BYTES:
        raise ValueError(f"{key}: the request must be 1 to {MAX_FRAME_BYTES} bytes, not {len(frame)}")


@dataclass(frozen=True, kw_only=True)
class AudioPlan:
    """Which sound input to record.

    Attributes:
        device: part of the input's name; None takes the system's default.
        rate_hz: sample rate.
        channel: 1 for the first (left) channel of the device, 2 for the second.
        poll_channel: the channel that carries the data line itself; None where none does.
    """

    device: str | None = None
    rate_hz: int = 48_000
    channel: int = 1
    poll_channel: int | None = None

    def __post_init__(self) -> None:
        """Refuse what no sound input offers.

        Raises:
            ValueError: the message starts with the name of the offending key.
        """
        if not 8_000 <= self.rate_hz <= 192_000:
            raise ValueError(f"rate_hz: must be 8000 to 192000, not {self.rate_hz}")
        if not 1 <= self.channel <= 32:
            raise ValueError(f"channel: must be 1 to 32, not {self.channel}")
        if self.poll_channel is not None and not 1 <= self.poll_channel <= 32:
            raise ValueError(f"poll_channel: must be 1 to 32, not {self.poll_channel}")
        if self.poll_channel == self.channel:
            raise ValueError(
                f"poll_channel: channel {self.channel} is the receiver's; the line needs its own"
            )


@dataclass(frozen=True, kw_only=True)
class StationProfile:
    """A bench: where its audio and serial traffic come from, and how things stand when it is switched on.

    Attributes:
        name: the station's name; becomes part of the session folder's name.
        audio: the sound input.
        poll: the poll plan; None records audio only.
        setup: factor -> value at the start, such as ``{"antenna": "beam", "rf gain": "full"}``.
        calibration: a level known at the antenna socket; None leaves levels in dBFS.
        place: kind of place and frequency, for the noise to expect there.
    """

    name: str = "bench"
    audio: AudioPlan = field(default_factory=AudioPlan)
    poll: PollPlan | None = None
    setup: dict[str, str] = field(default_factory=dict)
    calibration: CalibrationPoint | None = None
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The operator's own preferences, from the settings file.

    Attributes:
        theme: name of a palette.
        ascii: draw with ASCII only; None decides by the terminal.
        sessions: folder for new sessions; None takes the platform's place for a user's data.
        mouse: take the mouse's clicks; False leaves them to the terminal.
        keys: action name -> key, for the actions whose key is not the shipped one.
    """

    theme: str | None = None
    ascii: bool | None = None
    sessions: str | None = None
    mouse: bool = True
    keys: dict[str, str] = field(default_factory=dict)
