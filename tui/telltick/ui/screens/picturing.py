"""Keys that change how the pictures are looked at: the spectrum's cursor, span and hold, the strip's time."""

from __future__ import annotations

from telltick.ui.screens.operated import OperatedScreen
from telltick.ui.widgets.spectrum import SpectrumPlot
from telltick.ui.widgets.strip import ActivityStrip


class PictureKeys(OperatedScreen):
    """What the main screen does with its pictures."""

    def action_cursor(self, columns: int) -> None:
        """Move the spectrum's cursor; it comes up at the highest rise."""
        self._tell(self.query_one(SpectrumPlot).move_cursor(columns))

    def action_cursor_off(self) -> None:
        """Take the cursor away, or bring it up."""
        self._tell(self.query_one(SpectrumPlot).drop_cursor())

    def action_span(self) -> None:
        """Take the spectrum's next span."""
        self._tell(self.query_one(SpectrumPlot).zoom())

    def action_hold(self) -> None:
        """Hold the spectrum, or let it go on."""
        self._tell(self.query_one(SpectrumPlot).hold())

    def action_strip_scale(self, sizes: int) -> None:
        """Show more or less time on the strip."""
        interval_s = self.desk.snapshot.polling.interval_s
        self._tell(self.query_one(ActivityStrip).zoom_by(sizes, interval_s))

    def _tell(self, sentence: str) -> None:
        if sentence:
            self.say(sentence)
