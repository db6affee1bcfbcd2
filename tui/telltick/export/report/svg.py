"""Figures as inline SVG: drawn without a screen, and described for readers who cannot see them."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, QUIET, ACTIVE, ACCENT, PALE = "#1d2733", "#8795a1", "#12486b", "#b4530a", "#dde4ea"
_STYLE: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": PALE,
    "grid.linewidth": 0.7,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "telltick",
    "text.parse_math": False,
    "text.usetex": False,
}
_IDS = re.compile(r'(\bid="|url\(#|href="#)')


@contextmanager
def drawn(height_in: float, width_in: float = 7.0) -> Iterator[Figure]:
    """A figure to draw into, in the report's style."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        yield Figure(figsize=(width_in, height_in), layout="constrained")


def inline_svg(figure: Figure, name: str, title: str, description: str) -> str:
    """The figure as an SVG element for an HTML page, with a title and a description.

    Args:
        figure: drawn within `drawn`.
        name: prefix of every id, so that several figures can share a page.
        title: what it is.
        description: what it shows, for readers who cannot see it.
    """
    out = io.StringIO()
    nobody = {"Date": None, "Creator": None, "Format": None, "Type": None}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # text stays text: the reader's fonts draw it
        figure.savefig(out, format="svg", metadata=nobody)
    text = out.getvalue()
    text = text[text.index("<svg") :].strip()
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(
        r"<defs>\s*<style.*?</style>\s*</defs>", "", text, flags=re.DOTALL
    )  # it would reach the page
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = _IDS.sub(rf"\g<1>{name}-", text)
    text = re.sub(r' xmlns(:xlink)?="[^"]*"| version="1\.1"', "", text).replace("xlink:href", "href")
    text = re.sub(r'<svg width="[^"]*" height="[^"]*"|<svg(?= )', "<svg", text, count=1)
    text = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", text, count=1)
    named = f'<svg role="img" aria-labelledby="{name}-title {name}-desc"'
    labels = (
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
    )
    end = text.index(">") + 1
    return f"{named}{text[len('<svg') : end]}{labels}{text[end:]}"


def axes_of(figure: Figure, x: str, y: str) -> Axes:
    """The one pair of axes of a simple figure, labelled."""
    axes = figure.add_subplot()
    axes.set_xlabel(x)
    axes.set_ylabel(y)
    return axes
