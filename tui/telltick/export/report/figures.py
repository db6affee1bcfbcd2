"""The report's figures. They differ by line, shade and label, so that they read in grey and with any eyes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from telltick.export.report.svg import ACCENT, ACTIVE, INK, PALE, QUIET, axes_of, drawn, inline_svg
from telltick.export.report.words import count, difference, known, said, step_words
from telltick.export.values import audio_s
from telltick.model.evidence import Evidence
from telltick.model.marks import MarkKind
from telltick.model.measurement import StepReading
from telltick.model.readings import Band, Verdict

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BAND = Band()
_MOST_STEPS = 60  # drawn one under the other
_LABEL = 46  # characters


@dataclass(frozen=True)
class Picture:
    """A figure for the page.

    Attributes:
        name: as a section asks for it.
        caption: the sentence below it.
        svg: the element.
    """

    name: str
    caption: str
    svg: str


def pictures(evidence: Evidence, wanted: frozenset[str]) -> dict[str, Picture]:
    """Draw the figures named, by name."""
    return {name: draw(evidence) for name, draw in _DRAWN.items() if name in wanted}


def _spectrum(evidence: Evidence) -> Picture:
    spectrum = evidence.measurement.spectrum
    assert spectrum is not None
    with drawn(2.9) as figure:
        axes = axes_of(figure, "frequency, Hz", "level, dBFS per bin")
        low, high = 0.0, min(4000.0, float(spectrum.freq_hz[-1]))
        shown = (spectrum.freq_hz >= low) & (spectrum.freq_hz <= high)
        x = spectrum.freq_hz[shown]
        quiet, active = spectrum.quiet_dbfs[shown], spectrum.active_dbfs[shown]
        axes.axvspan(BAND.low_hz, BAND.high_hz, color=PALE, alpha=0.45, lw=0)
        axes.fill_between(x, quiet, active, where=active > quiet, color=ACTIVE, alpha=0.14, lw=0)
        axes.plot(x, quiet, color=QUIET, lw=1.1, label="while no bytes flow")
        axes.plot(x, active, color=ACTIVE, lw=1.7, label="while bytes flow")
        tonal = spectrum.tonal[shown]
        if tonal.any():
            bottom = np.full(tonal.sum(), 0.03)
            (marks,) = axes.plot(x[tonal], bottom, color=ACCENT, ls="", marker="|", ms=7)
            marks.set(transform=axes.get_xaxis_transform(), label="steady tone, left out")
        axes.set_xlim(low, high)
        measured = np.concatenate([quiet, active])[np.tile((x >= BAND.low_hz) & (x <= BAND.high_hz), 2)]
        if np.isfinite(measured).any():  # what a filter takes away is not worth half of the figure
            axes.set_ylim(np.nanmin(measured) - 15, np.nanmax(measured) + 5)
        axes.legend(loc="best")
        band = f"{BAND.low_hz:g} to {BAND.high_hz:g} Hz"
        caption = f"Spectra over the whole session; the shaded band, {band}, is measured."
        rise = _median(active - quiet, spectrum.freq_hz[shown])
        words = f"Two curves over frequency. {rise}"
        return _picture(figure, "spectrum", "Spectra while bytes flow and while none flow", caption, words)


def _median(rise: np.ndarray, freq_hz: np.ndarray) -> str:
    inside = (freq_hz >= BAND.low_hz) & (freq_hz <= BAND.high_hz) & np.isfinite(rise)
    if not inside.any():
        return "There is no data within the measured band."
    return f"Within the measured band the curve with bytes lies {np.median(rise[inside]):.1f} dB higher."


def _portrait(evidence: Evidence) -> Picture:
    portrait = evidence.measurement.portrait
    assert portrait is not None
    with drawn(3.3) as figure:
        lanes, axes = figure.subplots(2, 1, sharex=True, height_ratios=(1, 4))
        axes.set_xlabel("time from the start of the request, ms")
        axes.set_ylabel("level over noise floor, dB")
        x = 1000 * portrait.at_s
        middle, low, high = (_decibels(one) for one in (portrait.ratio, portrait.low, portrait.high))
        axes.fill_between(x, low, high, step="mid", color=ACTIVE, alpha=0.22, lw=0, label="95 % band")
        axes.step(x, middle, where="mid", color=ACTIVE, lw=1.4, label="mean")
        axes.axhline(0, color=QUIET, lw=1.0, ls="--")
        spans = [("to the radio", 0.0, portrait.request_s, 1, ACCENT)]
        if portrait.reply_s is not None:
            spans.append(("from the radio", *portrait.reply_s, 0, INK))
        for _, start, end, lane, colour in spans:
            lanes.barh(lane, 1000 * (end - start), left=1000 * start, height=0.6, color=colour)
            axes.axvspan(1000 * start, 1000 * end, color=PALE, alpha=0.5, lw=0)
        lanes.set_yticks([lane for *_, lane, _ in spans], [name for name, *_ in spans])
        lanes.set_ylim(-0.6, 1.6)
        lanes.grid(visible=False)
        lanes.tick_params(bottom=False)
        axes.set_xlim(float(x[0]), float(x[-1]))
        axes.legend(loc="best")
        caption = f"Mean of {count(portrait.polls, 'poll')}, below the bytes on the line: {portrait.carrier}."
        at = float(x[int(np.nanargmax(portrait.ratio))]) if np.isfinite(portrait.ratio).any() else 0.0
        words = (
            f"Level around a poll. It is highest {at:.0f} ms after the request starts; {portrait.carrier}."
        )
        return _picture(figure, "portrait", "Portrait of a poll", caption, words)


def _decibels(ratio: np.ndarray) -> np.ndarray:
    """Power ratio in dB; where noise takes it to zero or below, far down."""
    return np.asarray(10 * np.log10(np.maximum(ratio, 10**-1.5)))


def _timeline(evidence: Evidence) -> Picture:
    timeline = evidence.timeline
    assert timeline is not None
    session = evidence.session
    with drawn(2.9) as figure:
        minutes = session.seconds > 300
        scale = 60.0 if minutes else 1.0
        axes = axes_of(figure, "audio time, min" if minutes else "audio time, s", "level in band, dBFS")
        x = timeline.at_s / scale
        axes.fill_between(x, timeline.middle_dbfs, timeline.peak_dbfs, color=ACTIVE, alpha=0.25, lw=0,
                          label="up to the loudest 1 %")  # fmt: skip
        axes.plot(x, timeline.peak_dbfs, color=ACTIVE, lw=0.8)
        axes.plot(x, timeline.middle_dbfs, color=INK, lw=1.1, label="median")
        _steps_above(evidence, axes, scale)
        for gap in session.gaps:
            axes.axvline(gap.sample / session.facts.rate_hz / scale, color=ACCENT, ls=":", lw=1.2)
        axes.set_xlim(0, session.seconds / scale)
        figure.legend(loc="outside lower center", ncols=2)
        marks = count(len(session.marks), "mark")
        caption = "Level in the measured band. Steps are numbered; the time with hands on is striped."
        words = f"Level over the session, with {count(len(evidence.measurement.steps), 'step')} and {marks}."
        return _picture(figure, "timeline", "Course of the session", caption, words)


def _steps_above(evidence: Evidence, axes: Axes, scale: float) -> None:
    """Steps as numbered spans above the curve, hands-on time striped, notes as ticks."""
    session = evidence.session
    spans = [
        (one.step.index + 1, start / scale, end / scale)
        for one in evidence.measurement.steps
        if (start := audio_s(session, one.step.start_ns)) is not None
        and (end := audio_s(session, one.step.end_ns)) is not None
    ]
    top = axes.get_xaxis_transform()
    for (_, _, end), (_, start, _) in pairwise(spans):
        if start > end:
            axes.axvspan(end, start, facecolor="none", edgecolor=QUIET, hatch="////", lw=0)
    width = max(session.seconds / scale, 1e-9)
    for number, start, end in spans:
        axes.plot(
            [start, end], [1.03, 1.03], transform=top, color=INK, lw=3, solid_capstyle="butt", clip_on=False
        )
        if end - start > 0.02 * width:
            axes.text((start + end) / 2, 1.05, f"{number}", transform=top, ha="center", va="bottom")
    for mark in session.marks:
        at = audio_s(session, mark.t_ns)
        if mark.kind is not MarkKind.CHANGE and at is not None:
            axes.plot([at / scale], [0.0], transform=top, marker="^", color=ACCENT, ms=6, clip_on=False)


def _steps(evidence: Evidence) -> Picture:
    steps = [one for one in evidence.measurement.steps if known(one.reading.excess_db)][:_MOST_STEPS]
    with drawn(0.9 + 0.24 * len(steps)) as figure:
        axes = axes_of(figure, "interference above noise floor (excess), dB, with 95 % interval", "")
        for row, one in enumerate(steps):
            _step_point(axes, row, one)
        axes.set_yticks(range(len(steps)), [_step_label(one) for one in steps])
        axes.set_ylim(len(steps) - 0.4, -0.6)
        axes.axvline(0, color=QUIET, lw=1.0, ls="--")
        axes.grid(visible=False, axis="y")
        axes.margins(x=0.08)
        words = "; ".join(f"step {one.step.index + 1}: {difference(one.reading.excess_db)}" for one in steps)
        caption = "Excess of each step with polls. Filled: tied to polling. Hollow: no tie found."
        return _picture(figure, "steps", "Interference above the noise floor in each step", caption, words)


def _step_point(axes: Axes, row: int, one: StepReading) -> None:
    excess = one.reading.excess_db
    assert excess is not None
    tied = one.reading.verdict is Verdict.TIED
    axes.plot([excess.low, excess.high], [row, row], color=ACTIVE, lw=2.2, solid_capstyle="butt")
    axes.plot([excess.low, excess.high], [row, row], color=ACTIVE, ls="", marker="|", ms=9, mew=1.6)
    axes.plot(
        [excess.value], [row], ls="", marker="o", ms=6.5, mew=1.5, mec=ACTIVE, mfc=ACTIVE if tied else "white"
    )


def _step_label(one: StepReading) -> str:
    words = step_words(one.step) if one.step.index else "to begin with"
    return f"{one.step.index + 1}  {said(words, _LABEL)}"


def _picture(figure: Figure, name: str, title: str, caption: str, description: str) -> Picture:
    return Picture(name, caption, inline_svg(figure, f"fig-{name}", title, description))


_DRAWN: dict[str, Callable[[Evidence], Picture]] = {
    "spectrum": _spectrum,
    "portrait": _portrait,
    "timeline": _timeline,
    "steps": _steps,
}
