"""A panel made of rows: keeps them, and sends only those that changed to the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from telltick.ui.glyphs import Glyphs
from telltick.ui.layout import Box
from telltick.ui.palettes import Palette
from telltick.ui.rows import BLANK, Role, Room, Row, fit
from telltick.ui.wire import WiredApp


class Panel(Widget):
    """Shows rows of runs. Subclasses say what the rows are; this class keeps the terminal quiet.

    Rows are compared as data, before any style: a panel whose picture is the same as before costs nothing.
    """

    DEFAULT_CSS = """
    Panel { position: absolute; width: auto; height: auto; }
    """
    raised = False  # drawn on the palette's panel colour instead of the ground

    def __init__(self, name: str, glyphs: Glyphs) -> None:
        super().__init__(id=name)
        self.glyphs = glyphs
        self._rows: list[Row] = []
        self._given: list[Row] = []  # the same before they were fitted to the width
        self._wanted: Sequence[Row] = ()  # what was put last, of which there may have been no room for all
        self._strips: dict[int, Strip] = {}
        self._inks: Mapping[Role, Style] = {}
        self._filtered: Mapping[Role, Style] = {}

    @property
    def room(self) -> Room:
        """What there is to draw in."""
        width, height = self.size  # looked up by the toolkit each time
        return Room(width, height, self.glyphs)

    @property
    def rows(self) -> Sequence[Row]:
        """What is shown."""
        self.catch_up()
        return self._rows

    def ink(self, palette: Palette) -> None:
        """Take the colours of a palette."""
        self._inks = palette.styles(raised=self.raised)
        self._filtered = {}
        self._strips.clear()
        self.refresh()

    def on_mount(self) -> None:
        """Take the colours the app wears."""
        palette: Palette | None = getattr(self.app, "palette", None)
        if palette is not None:
            self.ink(palette)

    def catch_up(self) -> None:
        """Put the rows of what was painted past them; see `paint`."""

    def paint(self, cells: Iterable[tuple[int, int, str, Role]]) -> bool:
        """Show single cells at once; False where rows must be put instead.

        Args:
            cells: (column, row, character, role), row by row; `catch_up` must make the rows hold them.
        """
        app = self.app
        if not isinstance(app, WiredApp):
            return False
        inks = self._filtered = self._filtered or self._filter_inks()
        return bool(inks) and app.paint(self, ((x, y, char, inks[role]) for x, y, char, role in cells))

    def put(self, rows: Sequence[Row], *, seen: bool = False) -> None:
        """Show these rows; only those that differ are drawn again.

        Args:
            rows: from the top; blank ones are added.
            seen: they stand on the terminal already.
        """
        self._wanted = rows
        width, height = self.size
        given = [*rows[:height], *[BLANK] * (height - len(rows))]
        if len(self._given) != height:
            self._given, self._rows = [], [BLANK] * height
        changed = [y for y, line in enumerate(given) if not self._given or line != self._given[y]]
        self._given = given
        for y in changed:
            self._rows[y] = fit(given[y], width)
            self._strips.pop(y, None)
        if changed and not seen:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def place(self, box: Box) -> None:
        """Go to a place on the screen."""
        self.styles.offset = (box.x, box.y)
        self.styles.width = box.width
        self.styles.height = box.height

    def redraw(self) -> None:
        """Draw again, after a resize, of which the toolkit may tell late; subclasses fit their rows anew."""
        self.put(self._wanted)

    def on_resize(self) -> None:
        """Rows have another length now."""
        self._rows, self._given = [], []
        self._strips.clear()
        self.redraw()

    def notify_style_update(self) -> None:
        """Styles may have changed: cached strips are stale."""
        super().notify_style_update()
        self._filtered = {}
        self._strips.clear()

    def get_content_width(self, container: Size, viewport: Size) -> int:
        """Panels take the width they are given."""
        return container.width

    def render_line(self, y: int) -> Strip:
        """One row as the terminal gets it, one segment per run."""
        self.catch_up()
        return self._line(y, self.size.width)

    def _line(self, y: int, width: int) -> Strip:
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != width:
            # Asked between a resize and its message, rows still have their old length.
            line = fit(self._rows[y] if y < len(self._rows) else (), width)
            inks = self._filtered = self._filtered or self._filter_inks()
            ground = inks.get(Role.TEXT, Style())
            segments = [Segment(run.text, inks.get(run.role, ground)) for run in line]
            strip = self._strips[y] = Strip(segments, width)
        return strip

    def _filter_inks(self) -> Mapping[Role, Style]:
        """The styles after what the toolkit does to every line: dropping colour, for one."""
        segments = [Segment(role, style) for role, style in self._inks.items()]
        for line_filter in self.get_line_filters():
            segments = line_filter.apply(segments, self.background_colors[1])
        return {Role(segment.text): segment.style or Style() for segment in segments}

    def render_lines(self, crop: Region) -> list[Strip]:
        """Rows as the compositor gets them.

        Panels have neither border, padding nor tint. The toolkit's own way looks all that up for every panel
        in every frame, be there a change or not.
        """
        self.catch_up()
        width = self.size.width
        strips = [self._line(y, width) for y in crop.line_range]
        begin, end = crop.column_span
        return strips if (begin, end) == (0, width) else [strip.crop(begin, end) for strip in strips]
