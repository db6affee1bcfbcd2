"""The side of a sheet that lies over the screen: it parts the two where all grounds are one."""

from __future__ import annotations

from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Run, row
from telltick.ui.widgets.panel import Panel


class Edge(Panel):
    """One column of a line, as high as what it stands beside."""

    raised = True
    DEFAULT_CSS = """
    Edge { position: relative; width: 1; height: 100%; }
    """

    def __init__(self, name: str, glyphs: Glyphs) -> None:
        super().__init__(f"edge-{name}", glyphs)

    def redraw(self) -> None:
        """Draw the line."""
        self.put([row(Run(self.glyphs.axis, Role.LABEL))] * self.size.height)
