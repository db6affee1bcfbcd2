"""Results so far: steps, changes, findings; what each of them rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from telltick.model.answers import NextTest
from telltick.ui.rows import BLANK, Role, Room, Row, Run, row
from telltick.ui.screens.measured import MeasuredPage
from telltick.ui.widgets.changes import changes_sheet
from telltick.ui.widgets.details import details
from telltick.ui.widgets.findings import findings_sheet
from telltick.ui.widgets.on_air import with_on_air
from telltick.ui.widgets.sheet import Sheet, Sight, plain
from telltick.ui.widgets.steps import steps_sheet

if TYPE_CHECKING:
    from telltick.model.measurement import Measurement
    from telltick.ui.screens.session import SessionScreen

TABS = ("steps", "changes", "findings")


class ResultsScreen(MeasuredPage):
    """Three pages; Enter on a line opens what it rests on."""

    topic: ClassVar[str] = "steps"
    action_name: ClassVar[str] = "results"

    def __init__(self, session: SessionScreen) -> None:
        super().__init__(session)
        self._tab = session.results_tab
        self._sights: dict[int, Sight] = {}
        self._open: object = None  # the line whose details are shown

    def draw_title(self) -> Row:
        """Names of the pages, the present one marked."""
        runs: list[Run] = [Run(" ")]
        for k, name in enumerate(TABS):
            here = k == self._tab
            text = f"[{k + 1} {name.upper()}]" if here else f" {k + 1} {name} "
            runs.append(Run(text, Role.KEY if here else Role.LABEL))
        return self.title_line(row(*runs))

    def draw_page(self) -> None:
        """The page, or details of one line of it."""
        measurement = self.session.measuring.results.measurement
        room = self.sheet.room
        if measurement is None:
            self.sheet.lay(self.waiting_sheet())
        elif self._open is not None:
            rows = details(self._open, room, self.session.key_of)
            self.sheet.lay(Sheet(items=plain([*rows, BLANK])), self._sights.get(len(TABS)))
            self._sights.pop(len(TABS), None)
        else:
            self.sheet.lay(self._sheet(measurement, room), self._sights.pop(self._tab, None))

    def _sheet(self, measurement: Measurement, room: Room) -> Sheet:
        if self._tab == 0:
            return steps_sheet(measurement, room)
        if self._tab == 1:
            return changes_sheet(measurement.answers, room)
        sheet = findings_sheet(measurement.answers, room, self.session.key_of)
        return with_on_air(sheet, measurement, room)

    def key_hints(self) -> list[tuple[str, str]]:
        """Keys of this page."""
        arrows, help_ = self.glyphs.up_down, self.keymap.shown("help")
        if self._open is not None:
            return [(arrows, "scroll"), ("Esc", "back to the table"), (help_, "what it means")]
        return [
            (arrows, "choose"),
            ("Enter", "details"),
            ("Tab 1-3", "page"),
            (self.keymap.shown("results"), "measure again"),
            (self.keymap.shown("mark"), "mark"),
            (help_, "what it means"),
            ("Esc", "back"),
        ]

    def pressed(self, key: str) -> bool:
        """Between the pages, into details and out again."""
        if key == "escape" and self._open is not None:
            self._close_details()
        elif key == "enter":
            self._enter()
        elif key in ("tab", "right"):
            self._turn_to((self._tab + 1) % len(TABS))
        elif key in ("shift+tab", "left"):
            self._turn_to((self._tab - 1) % len(TABS))
        elif key in ("1", "2", "3"):
            self._turn_to(int(key) - 1)
        else:
            return super().pressed(key)
        return True

    def _turn_to(self, tab: int) -> None:
        if self._open is None:
            self._sights[self._tab] = self.sheet.sight
        self._open, self._tab = None, tab
        self.session.results_tab = tab
        self._sights.setdefault(tab, Sight())
        self.redraw()

    def _enter(self) -> None:
        about = self.sheet.chosen
        if self._open is None and about is not None:
            self._sights[self._tab] = self.sheet.sight
            self._sights[len(TABS)] = Sight()
            self._open = about
            self.redraw()

    def _close_details(self) -> None:
        self._open = None
        self.redraw()

    @property
    def help_topic(self) -> str:
        """The page of the help that explains what is shown."""
        return TABS[self._tab] if not isinstance(self._open, NextTest) else "findings"
