"""Everything that is known about one line of the results: numbers, reasoning, warnings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from telltick.model.answers import Change, Finding, NextTest, SetupReading
from telltick.model.characteristics import CharacterRate, Heard
from telltick.model.clock import NS
from telltick.model.measurement import Measurement, StepReading
from telltick.model.on_air import OnAir
from telltick.model.readings import Estimate, Reading
from telltick.ui.format import clock, db, span
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row, wrapped
from telltick.ui.widgets.changes import change_words
from telltick.ui.widgets.changes import verdict_run as change_verdict
from telltick.ui.widgets.findings import test_words
from telltick.ui.widgets.findings import verdict_run as finding_verdict
from telltick.ui.widgets.steps import VERDICT_SIGN, numbers_of

NAME = 20  # columns for the name of a number
KeyOf = Callable[[str], str]


class Writer:
    """Writes named numbers and paragraphs into rows."""

    def __init__(self, room: Room) -> None:
        self.glyphs, self._width = room.glyphs, room.width - 4
        self.rows: list[Row] = []

    def head(self, text: str, role: Role = Role.LABEL) -> None:
        """A heading after a blank row."""
        self.rows += [BLANK, *wrapped(self.glyphs.clean(text, 300), self._width, role)]

    def fact(self, name: str, value: str, role: Role = Role.NUMBER) -> None:
        """A name and a value; values that are not known are left out."""
        if not value:
            return
        first, *more = wrapped(self.glyphs.clean(value, 600), self._width - NAME, role) or [BLANK]
        self.rows.append(row(Run(f"{name:<{NAME - 1}} ", Role.LABEL), *first))
        self.rows += [row(Run(" " * NAME), *line) for line in more]

    def text(self, text: str, role: Role = Role.TEXT) -> None:
        """A paragraph."""
        self.rows += wrapped(self.glyphs.clean(text, 2000), self._width, role)

    def each(self, lines: Iterable[str], role: Role) -> None:
        """Paragraphs, each with a sign in front."""
        for line in lines:
            self.text(f"! {line}", role)


def details(about: object, room: Room, key_of: KeyOf) -> list[Row]:
    """Rows about a line of the results.

    Args:
        about: a measurement (the whole session), step, pool, change, finding or next test.
        room: what there is to draw in.
        key_of: the key that changes a factor; empty when there is none.
    """
    writer = Writer(room)
    match about:
        case Measurement():
            _whole(about, writer)
        case StepReading():
            _step(about, writer)
        case SetupReading():
            _pool(about, writer)
        case Change():
            _change(about, writer)
        case Finding():
            _finding(about, writer)
        case NextTest():
            _next(about, writer, key_of)
    return writer.rows


def interval_words(estimate: Estimate | None, unit: str = " dB") -> str:
    """A value with its interval; dashes when there is none."""
    if estimate is None:
        return "--.-"
    return f"{estimate.value:+.2f}{unit} (95 %: {estimate.low:+.2f} to {estimate.high:+.2f})"


def _whole(measured: Measurement, writer: Writer) -> None:
    writer.head("The whole session, all steps together", Role.TEXT)
    _reading(measured.whole, writer)
    polling, latency = measured.polling, measured.latency
    if polling.interval_median_s is not None:
        spread = f", spread {1000 * (polling.interval_sd_s or 0):.0f} ms"
        writer.fact("poll interval", f"{polling.interval_median_s:.3f} s{spread}")
    line = " ".join(part for part in (str(polling.baud or ""), polling.framing) if part)
    writer.fact("line", f"{line}, bytes flow {100 * polling.byte_on_fraction:.1f} % of the time")
    if polling.replies is not None and polling.replies.sent:
        writer.fact("replies", polling.replies.words)
    if latency is not None:
        low, high = 1000 * latency.seconds.low, 1000 * latency.seconds.high
        drift = f", drifts by {latency.drift_ppm:+.1f} ppm" if latency.drift_ppm is not None else ""
        writer.fact("latency", f"{1000 * latency.seconds.value:.1f} ms ({low:.1f} to {high:.1f}){drift}")
    _sound(measured.heard, measured.character, measured.on_air, writer)
    if measured.bits is not None:
        writer.fact(
            "bits heard", f"{'yes' if measured.bits.heard else 'no'}: {measured.bits.because}", Role.TEXT
        )
    if measured.period is not None:
        writer.fact("rhythm in the audio", f"{measured.period.seconds.value:.4f} s")
    writer.each((*measured.warnings, *measured.whole.warnings, *measured.answers.warnings), Role.WARN)


def _step(step: StepReading, writer: Writer) -> None:
    at = step.step
    writer.head(f"Step {at.index + 1}", Role.TEXT)
    writer.fact(
        "from, to", f"{clock(at.start_ns)} to {clock(at.end_ns)}, {span((at.end_ns - at.start_ns) / NS)}"
    )
    _setup(at.setup, at.changed, writer)
    _reading(step.reading, writer)
    if step.more_s is not None:
        known = f"{span(step.more_s)} more of it" if step.more_s > 0 else "reached"
        writer.fact("known to 0.5 dB", known)
    _sound(step.heard, step.character, step.on_air, writer)
    writer.each(step.reading.warnings, Role.WARN)


def _pool(pool: SetupReading, writer: Writer) -> None:
    writer.head(f"The same setup in {numbers_of(pool.steps)}", Role.TEXT)
    _setup(pool.setup, (), writer)
    _reading(pool.reading, writer)
    writer.fact("widest difference", interval_words(pool.drift_db) if pool.drift_db else "")
    if pool.drifted:
        writer.text(
            "! The bench changed by itself between these steps: what differs between other steps may be that "
            "drift. Go back and forth more often.",
            Role.BAD,
        )
    elif pool.drift_db is not None:
        writer.text("The bench came back to what it was: it did not drift by itself.", Role.GOOD)
    writer.each(pool.reading.warnings, Role.WARN)


def _change(change: Change, writer: Writer) -> None:
    writer.head(change_words(change, writer.glyphs), Role.TEXT)
    run = change_verdict(change)
    writer.fact("verdict", run.text, run.role)
    writer.text(change.because)
    steps = f"{numbers_of(change.before_steps)} before, {numbers_of(change.after_steps)} after"
    writer.fact("steps", f"{steps}; {change.swaps} swap{'s' if change.swaps != 1 else ''}")
    writer.head("after less before")
    writer.fact("interference I", interval_words(change.interference_db))
    writer.fact("noise floor N", interval_words(change.noise_db))
    writer.fact("excess", interval_words(change.excess_db))
    writer.fact("verdict rests on", change.basis, Role.TEXT)
    writer.fact("bound", f"{change.bound_db:g} dB either way")
    writer.fact("p, no difference", _p(change.p_changed))
    writer.fact("p, beyond the bound", _p(change.p_same))
    if len(change.factors) > 1:
        writer.text("! Several factors were changed at once: no single one of them is to blame.", Role.WARN)


def _finding(finding: Finding, writer: Writer) -> None:
    writer.head(finding.question, Role.TEXT)
    run = finding_verdict(finding)
    writer.fact("verdict", run.text.strip(), run.role)
    writer.fact("because", finding.because, Role.TEXT)
    writer.fact("steps", ", ".join(str(index + 1) for index in finding.steps) or "none", Role.TEXT)
    if finding.reasoning:
        writer.head("why such numbers say so")
        writer.text(finding.reasoning)


def _next(test: NextTest, writer: Writer, key_of: KeyOf) -> None:
    writer.head(test_words(test, writer.glyphs), Role.TEXT)
    writer.text(test.because)
    writer.fact("tells apart", ", ".join(test.splits), Role.TEXT)
    if test.caution:
        writer.text(f"! Caution: {test.caution}", Role.WARN)
    key = key_of(test.factor)
    if key:
        writer.head(f"Press {key} when you begin, before you touch anything; Enter when it is done.")


# ---- parts


def _setup(setup: Mapping[str, str], changed: Iterable[str], writer: Writer) -> None:
    for factor, value in setup.items():
        new = factor in set(changed)
        name = writer.glyphs.clean(factor, NAME - 2)
        writer.fact(
            name, f"{value} {writer.glyphs.changed}" if new else value, Role.NUMBER if new else Role.TEXT
        )


def _reading(reading: Reading, writer: Writer) -> None:
    writer.head(f"{VERDICT_SIGN[reading.verdict]} {reading.verdict.upper()}", Role.TEXT)
    writer.fact("polls that count", f"{reading.polls} in {span(reading.seconds)}")
    writer.fact("excess", interval_words(reading.excess_db))
    writer.fact("noise floor N", f"{db(reading.noise_dbfs)} dBFS")
    writer.fact("interference I", f"{db(reading.interference_dbfs)} dBFS")
    if reading.i_over_n_db is not None:
        writer.fact("I/N", f"{reading.i_over_n_db:+.1f} dB")
    if reading.upper_limit_i_over_n_db is not None:
        writer.fact("I/N at most", f"{reading.upper_limit_i_over_n_db:+.1f} dB (one-sided 95 %)")
    writer.fact("p, by chance alone", _p(reading.p_value))


def _sound(
    heard: Heard | None, character: CharacterRate | None, on_air: OnAir | None, writer: Writer
) -> None:
    if heard is not None:
        words = f"{heard.floor_db:.1f} dBqps quiet"
        if heard.more_db is not None:
            words += f", {heard.polled_db:.1f} polled, {heard.more_db:+.1f} dB"
        writer.fact("heard level", words)
    if character is not None:
        framing = f" {character.framing}" if character.framing else ""
        writer.fact("character rate", f"{character.baud} baud{framing}, ahead by {character.lead:.2f}")
    if on_air is not None:
        writer.fact("at the antenna", f"N {on_air.noise_dbm:.0f} dBm ({on_air.noise_s})", Role.TEXT)
        if on_air.interference_dbm is not None:
            words = f"I {on_air.interference_dbm:.0f} dBm ({on_air.interference_s}), {on_air.verdict}"
            writer.fact("", words, Role.TEXT)


def _p(value: float | None) -> str:
    if value is None:
        return ""
    return "less than 0.0001" if value < 1e-4 else f"{value:.2g}"
