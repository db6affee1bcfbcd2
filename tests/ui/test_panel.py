"""A panel keeps its rows, and gives them at the width it has now."""

from __future__ import annotations

from textual.app import App
from textual.geometry import Size

from telltick.ui.glyphs import UNICODE
from telltick.ui.rows import Role, Run, row
from telltick.ui.widgets.panel import Panel


class OnePanel(App):
    def compose(self):
        yield Panel("one", UNICODE)


async def test_rows_asked_for_between_a_resize_and_its_message_have_the_new_width(monkeypatch):
    async with OnePanel().run_test(size=(80, 24)) as pilot:
        panel = pilot.app.query_one(Panel)
        panel.styles.width, panel.styles.height = 80, 3
        await pilot.pause()
        panel.put([row(Run("-" * 80, Role.RULE))])
        assert sum(len(segment.text) for segment in panel.render_line(0)) == 80
        monkeypatch.setattr(Panel, "size", Size(46, 3))  # the toolkit sets the size, and tells of it later
        strip = panel.render_line(0)
        assert strip.cell_length == sum(len(segment.text) for segment in strip) == 46
