"""Differences between sessions as figures: a point with its interval for each setup that both have."""

from __future__ import annotations

from telltick.export.report.figures import Picture
from telltick.export.report.svg import ACTIVE, PALE, QUIET, axes_of, drawn, inline_svg
from telltick.export.report.words import difference, joined, known, said, setup_words
from telltick.model.answers import Change, ChangeVerdict
from telltick.model.comparison import SessionComparison, SessionPair
from telltick.model.readings import Estimate

_MOST_ROWS = 40
_LABEL = 46  # characters


def figure_name(pair: SessionPair) -> str:
    """As a section asks for it."""
    return f"differences-{pair.after + 1}"


def deciding(change: Change | None) -> Estimate | None:
    """The difference that the verdict rests on, where it has two ends."""
    if change is None:
        return None
    by_basis = {"interference": change.interference_db, "noise": change.noise_db}
    value = by_basis.get(change.basis, change.excess_db)
    return value if known(value) else None


def basis_words(change: Change) -> str:
    """What the verdict rests on."""
    return {"interference": "I", "noise": "N"}.get(change.basis, "excess")


def pictures_of(compared: SessionComparison) -> dict[str, Picture]:
    """One figure a pair of sessions that has a difference to draw."""
    found = {figure_name(pair): _picture(compared, pair) for pair in compared.pairs}
    return {name: picture for name, picture in found.items() if picture is not None}


def _picture(compared: SessionComparison, pair: SessionPair) -> Picture | None:
    rows = [
        (setup_words(one.setup) or "the one setup", one.change, estimate)
        for one in pair.setups
        if (estimate := deciding(one.change)) is not None and one.change is not None
    ][:_MOST_ROWS]
    if not rows:
        return None
    bound = compared.bound_db
    what = joined(sorted({basis_words(change) for _, change, _ in rows}), "or")
    with drawn(1.0 + 0.28 * len(rows)) as figure:
        axes = axes_of(figure, f"difference in {what}, dB, with 95 % interval", "")
        axes.axvspan(-bound, bound, color=PALE, alpha=0.7, lw=0)
        axes.axvline(0, color=QUIET, lw=1.0, ls="--")
        for row, (_, change, one) in enumerate(rows):
            filled = ACTIVE if change.verdict is ChangeVerdict.CHANGED else "white"
            axes.plot([one.low, one.high], [row, row], color=ACTIVE, lw=2.2, marker="|", ms=9, mew=1.6)
            axes.plot([one.value], [row], ls="", marker="o", ms=6.5, mew=1.5, mec=ACTIVE, mfc=filled)
        axes.set_yticks(range(len(rows)), [said(label, _LABEL) for label, _, _ in rows])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.grid(visible=False, axis="y")
        axes.margins(x=0.08)
        told = "; ".join(f"{label}: {difference(one)}, {change.words}" for label, change, one in rows)
        name = figure_name(pair)
        hollow = f"Hollow: no change, or undecided. The band is no change within {bound:g} dB."
        svg = inline_svg(figure, f"fig-{name}", "Differences by setup", told)
        return Picture(name, f"Filled: changed. {hollow}", svg)
