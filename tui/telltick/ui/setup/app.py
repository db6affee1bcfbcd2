"""Station set-up as a program of its own: a form, a live level, one request tried, a profile kept."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import ClassVar, cast

from textual import on, work
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Input

from telltick.engine.tryout import Answer, InputTryout, SoundInputs, ask_once
from telltick.model.errors import TelltickError
from telltick.model.plan import AudioPlan, PollPlan, Settings, StationProfile
from telltick.ui.glyphs import Glyphs, glyphs_for, terminal_wants_ascii
from telltick.ui.palettes import Palette, choose_palette
from telltick.ui.rows import Role, Run, row, shorten
from telltick.ui.setup.form import Field, Form, fields_for
from telltick.ui.setup.rows import Trial, draw_form, draw_keys, draw_trial
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.prompt import AnswerInput
from telltick.ui.wire import WiredApp, WiredScreen

LOOK_EVERY_S = 0.25
LONGEST = 200


class Parts:
    """What the screen does to the world; tests give it another one."""

    def __init__(self, keep: Callable[[StationProfile], Path]) -> None:
        """The real thing.

        Args:
            keep: writes a profile, returns its file.
        """
        self.keep = keep
        self.listen: Callable[[AudioPlan], InputTryout] = InputTryout
        self.ask: Callable[[PollPlan], Answer] = ask_once


class SetupPanel(Panel):
    """A part of the screen; the screen says what stands in it."""

    def redraw(self) -> None:
        """Draw again, after a resize."""
        cast("SetupScreen", self.screen).draw()


class SetupScreen(WiredScreen[None]):
    """Form on the left, trials on the right."""

    DEFAULT_CSS = """
    SetupScreen { background: $background; overflow: hidden; layers: base above; }
    SetupScreen Horizontal { layer: above; position: absolute; height: 1; width: 100%; display: none; }
    SetupScreen #type { width: 18; height: 1; position: relative; }
    """
    AUTO_FOCUS = ""
    BINDINGS: ClassVar = [
        ("up", "move(-1)", ""),
        ("down", "move(1)", ""),
        ("shift+tab", "move(-1)", ""),
        ("tab", "move(1)", ""),
        ("left", "step(-1)", ""),
        ("right", "step(1)", ""),
        ("enter", "type", ""),
        ("t", "try_port", ""),
        ("s", "keep", ""),
        ("q", "leave", ""),
        ("escape", "no", ""),
    ]

    def __init__(self, form: Form, glyphs: Glyphs, parts: Parts) -> None:
        super().__init__()
        self.form = form
        self.trial = Trial()
        self._parts = parts
        self._glyphs = glyphs
        self._at = 0
        self._said: tuple[str, Role] = (
            "Everything can be changed again later: telltick setup NAME",
            Role.LABEL,
        )
        self._sound: InputTryout | None = None
        self._listening_to: AudioPlan | None = None
        self._placed = False  # before that, panels have sizes of the toolkit's own

    def compose(self) -> ComposeResult:
        """Form, trials, what is said, keys, and a line to type in."""
        for name in ("form", "trial", "said", "keys"):
            yield SetupPanel(name, self._glyphs)
        with Horizontal():
            yield SetupPanel("type", self._glyphs)
            yield AnswerInput(ascii_only=self._glyphs.ascii, offering=False)

    def on_mount(self) -> None:
        """Listen to the input at once: that opens no port."""
        self.set_interval(LOOK_EVERY_S, self._look)
        self._listen()

    def on_unmount(self) -> None:
        """Let go of the input."""
        if self._sound is not None:
            self._sound.close()

    # ---- moving and typing

    @property
    def field(self) -> Field:
        """The line pointed at."""
        return self.form.fields[self._at]

    @property
    def said(self) -> str:
        """What the screen said last."""
        return self._said[0]

    def action_move(self, by: int) -> None:
        """To another line."""
        self._at = (self._at + by) % len(self.form.fields)
        self.draw()

    def action_step(self, direction: int) -> None:
        """Another of the offered values."""
        self.form.step(self.field, direction)
        self._changed()

    def action_type(self) -> None:
        """Type a value; where only offers can stand, step on."""
        if self.field.fixed:
            self.action_step(1)
            return
        self.query_one(Horizontal).display = True
        answer = self.query_one(AnswerInput)
        answer.begin((), LONGEST)
        answer.value = self.form.values[self.field.key]
        answer.cursor_position = len(answer.value)
        answer.focus()
        self.call_after_refresh(self.draw)

    @on(Input.Submitted)
    def _typed(self, event: Input.Submitted) -> None:
        event.stop()
        if self._try(lambda: self.form.put(self.field, event.value)):
            self._stop_typing()
            self._changed()

    @on(AnswerInput.Left)
    def _stop_typing(self) -> None:
        self.query_one(Horizontal).display = False
        self.set_focus(None)
        self.draw()

    def _changed(self) -> None:
        """A value changed: what was tried with the old one says nothing any more."""
        self.trial = replace(self.trial, answer=None, sure=False)
        if self.field.key in ("input", "channel"):
            self._listen()
        self.draw()

    # ---- trying

    def _listen(self) -> None:
        """Open the sound input chosen, in a thread: a sound server may take its time."""
        try:
            plan = self.form.audio
        except TelltickError as why:
            self.say(str(why), Role.BAD)
            return
        if plan != self._listening_to:
            self._listening_to = plan
            self.trial = replace(self.trial, health=None, problem="")
            self._open_sound(plan)

    @work(thread=True, exclusive=True, group="sound", exit_on_error=False)
    def _open_sound(self, plan: AudioPlan) -> None:
        if self._sound is not None:
            self._sound.close()
            self._sound = None
        try:
            self._sound = self._parts.listen(plan)
        except TelltickError as why:
            self.app.call_from_thread(self._problem, str(why))

    def _problem(self, words: str) -> None:
        self.trial = replace(self.trial, problem=words)
        self.draw()

    def action_try_port(self) -> None:
        """Send the request once; the first time the caution comes first."""
        plan: list[PollPlan | None] = []
        if not self._try(lambda: plan.append(self.form.poll)) or self.trial.asking:
            return
        if plan[0] is None:
            self.say("choose a serial port first", Role.WARN)
        elif not self.trial.sure:
            self.trial = replace(self.trial, sure=True, answer=None)
        else:
            self.trial = replace(self.trial, sure=False, asking=True)
            self._ask(plan[0])
        self.draw()

    @work(thread=True, exclusive=True, group="port", exit_on_error=False)
    def _ask(self, plan: PollPlan) -> None:
        answer = self._parts.ask(plan)
        self.app.call_from_thread(self._answered, answer)

    def _answered(self, answer: Answer) -> None:
        self.trial = replace(self.trial, asking=False, answer=answer)
        self.draw()

    def action_no(self) -> None:
        """Do not send."""
        self.trial = replace(self.trial, sure=False)
        self.draw()

    # ---- keeping and leaving

    def action_keep(self) -> None:
        """Keep the profile, and leave with its file."""
        self._try(lambda: self.app.exit(self._parts.keep(self.form.profile)))

    def action_leave(self) -> None:
        """Leave without keeping anything."""
        self.app.exit(None)

    # ---- drawing

    def say(self, words: str, role: Role = Role.LABEL) -> None:
        """Put a sentence above the keys."""
        self._said = (words, role)
        self.draw()

    def _try(self, do: Callable[[], object]) -> bool:
        try:
            do()
        except TelltickError as why:
            self.say(str(why), Role.BAD)
            return False
        return True

    def _look(self) -> None:
        if self._sound is not None:
            self.trial = replace(self.trial, health=self._sound.look())
            self.draw()

    def on_resize(self) -> None:
        """Places by size: the trials take the right half."""
        width, height = self.size
        left = min(max(width // 2, 46), 70)
        boxes = {
            "form": (0, 0, left, height - 2),
            "trial": (left + 1, 0, width - left - 1, height - 2),
            "said": (0, height - 2, width, 1),
            "keys": (0, height - 1, width, 1),
        }
        for name, (x, y, w, h) in boxes.items():
            panel = self.query_one(f"#{name}", SetupPanel)
            panel.styles.offset = (x, y)
            panel.styles.width, panel.styles.height = max(w, 0), max(h, 0)
        self.query_one(Horizontal).styles.offset = (0, max(height - 2, 0))
        self.call_after_refresh(self._begin_drawing)

    def _begin_drawing(self) -> None:
        self._placed = True
        self.draw()

    def draw(self) -> None:
        """Draw everything; what is as before costs nothing."""
        if not self._placed:
            return
        form, trial, said, keys = (
            self.query_one(f"#{n}", SetupPanel) for n in ("form", "trial", "said", "keys")
        )
        form.put(draw_form(self.form, self._at, form.room))
        trial.put(draw_trial(self.form, self._at, self.trial, trial.room))
        text, role = self._said
        lead = " ! " if role is Role.BAD else "   "
        said.put([row(Run(lead + shorten(self._glyphs.clean(text, 300), said.size.width - 4), role))])
        typing = bool(self.query_one(Horizontal).display)
        keys.put([draw_keys(keys.room, typing=typing)])
        self.query_one("#type", SetupPanel).put([row(Run(f" {self.field.label}: ", Role.LABEL))])


class SetupApp(WiredApp[Path]):
    """The set-up form; leaves with the file of the profile, or with None."""

    TITLE = "telltick set-up"
    CSS = "Screen { scrollbar-size: 0 0; }"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False

    def __init__(
        self,
        form: Form,
        parts: Parts,
        settings: Settings,
        *,
        ascii_only: bool,
        environ: Mapping[str, str] | None = None,
    ) -> None:
        environ = dict(os.environ if environ is None else environ)
        without_colour = bool(environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if without_colour else None)
        self.palette: Palette = choose_palette(settings.theme, environ)
        self.register_theme(self.palette.theme())
        self.theme = self.palette.name
        self.setup = SetupScreen(form, glyphs_for(ascii_only=ascii_only), parts)

    def on_mount(self) -> None:
        """Show the form."""
        self.push_screen(self.setup)


def run_setup(
    settings: Settings,
    sounds: SoundInputs,
    ports: tuple[str, ...],
    keep: Callable[[StationProfile], Path],
    profile: StationProfile | None = None,
) -> Path | None:
    """Show the form until the operator leaves; returns the file that was written, if any.

    Args:
        settings: the operator's preferences.
        sounds: the machine's sound inputs.
        ports: its serial ports.
        keep: writes a profile, returns its file.
        profile: an earlier profile to go on with.
    """
    ascii_only = terminal_wants_ascii() if settings.ascii is None else settings.ascii
    form = Form(fields_for(sounds, ports), profile)
    return SetupApp(form, Parts(keep), settings, ascii_only=ascii_only).run(mouse=settings.mouse)
