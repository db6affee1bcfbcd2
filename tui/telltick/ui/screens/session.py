"""The main screen: one session, live or replayed."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, cast

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.message import Message

from telltick.engine.feed import SessionFeed
from telltick.model.errors import BadInputError
from telltick.model.marks import Mark, MarkKind
from telltick.model.session import GapKind
from telltick.model.snapshot import Snapshot, View
from telltick.model.trial import FACTOR as TRIAL
from telltick.ui.desk import Desk, Question
from telltick.ui.glyphs import Glyphs
from telltick.ui.guide import Guide
from telltick.ui.keymap import ACTIONS, JUMP_KEYS, Action, Keymap, toolkit_key
from telltick.ui.layout import Box, arrange
from telltick.ui.lookout import Lookout
from telltick.ui.measuring import Measuring
from telltick.ui.rows import Role
from telltick.ui.screens.commands import CommandScreen
from telltick.ui.screens.help import HelpScreen
from telltick.ui.screens.leave import LeaveScreen
from telltick.ui.screens.measured import MeasuredPage
from telltick.ui.screens.page import PageScreen
from telltick.ui.screens.picturing import PictureKeys
from telltick.ui.screens.portrait import PortraitScreen
from telltick.ui.screens.replaying import ReplayKeys
from telltick.ui.screens.results import ResultsScreen
from telltick.ui.screens.trial import TrialScreen
from telltick.ui.screens.walking import WalkKeys
from telltick.ui.widgets.footer import KeyLine
from telltick.ui.widgets.header import Header, RecentAnswers
from telltick.ui.widgets.health import HealthPanel
from telltick.ui.widgets.journal import JournalPanel
from telltick.ui.widgets.meter import Meter
from telltick.ui.widgets.notice import NoticeLine
from telltick.ui.widgets.panel import Panel
from telltick.ui.widgets.prompt import Prompt
from telltick.ui.widgets.setup import SetupPanel
from telltick.ui.widgets.spectrum import SpectrumPlot
from telltick.ui.widgets.strip import ActivityStrip
from telltick.ui.widgets.walk import WalkPanel

if TYPE_CHECKING:
    from telltick.ui.app import ScreenExit, TelltickApp

LOG = logging.getLogger("telltick.ui")  # goes nowhere unless `--log` says where
FIGURES_EVERY_S = 0.5  # nobody reads figures that change faster; the strip moves with every picture
AFTER_KEY = 2  # pictures that show everything after a key: the first may have been under way before it
Showing = Header | SpectrumPlot | ActivityStrip | JournalPanel | Meter | SetupPanel | HealthPanel | Prompt


class Looked(Message):
    """A new picture of the session; an older one still waiting is of no use."""

    def __init__(self, snapshot: Snapshot) -> None:
        super().__init__()
        self.snapshot = snapshot

    def can_replace(self, message: Message) -> bool:
        """Newer pictures replace older ones."""
        return isinstance(message, Looked)


class LookFailed(Message):
    """A picture could not be made."""

    def __init__(self, why: Exception) -> None:
        super().__init__()
        self.why = why

    def can_replace(self, message: Message) -> bool:
        """Newer failures replace older ones."""
        return isinstance(message, LookFailed)


class MeasuringMoved(Message):
    """The measuring thread has something new to say."""

    def can_replace(self, message: Message) -> bool:
        """One of them is enough."""
        return isinstance(message, MeasuringMoved)


class SessionScreen(WalkKeys, ReplayKeys, PictureKeys):
    """Shows snapshots and hands keys to the desk."""

    DEFAULT_CSS = """
    SessionScreen { background: $background; overflow: hidden; layers: base above; }
    SessionScreen Prompt { layer: above; }
    """
    AUTO_FOCUS = ""  # keys go to the screen until something is asked
    BINDINGS: ClassVar = [
        *(
            Binding(toolkit_key(action.key), action.call, action.help, show=False, id=action.name)
            for action in ACTIONS
        ),
        *(Binding(digit, f"seek_part({digit})", show=False) for digit in JUMP_KEYS),
    ]

    def __init__(self, feed: SessionFeed, keymap: Keymap, glyphs: Glyphs, notice: str = "") -> None:
        super().__init__()
        self.desk = Desk(feed, glyphs)
        self._feed = feed
        self.facts = feed.facts
        self.keymap = keymap
        self.glyphs = glyphs
        self.answers = RecentAnswers()
        self.measuring = Measuring(feed.measure, lambda: self.post_message(MeasuringMoved()))
        self.measured_steps: tuple[int, bool] = (0, False)  # steps over when measuring began, session over
        self.results_tab = 0
        self._first_notice = notice
        self._view = View()
        self._failing = False
        self._waiting: Snapshot | None = None  # the newest picture, while the terminal is still drawing
        self._hurried = AFTER_KEY
        self._figures_s = 0.0
        self.guide = Guide(self.desk.ask, self.facts.setup)
        self.walk_panel = WalkPanel(keymap, glyphs)
        self._showing = self._make_panels()
        self.lookout = Lookout(
            feed.look,
            self._bring,
            lambda why: self.post_message(LookFailed(why)),
        )

    def _make_panels(self) -> tuple[Showing, ...]:
        """Everything that shows snapshots, in reading order."""
        facts, glyphs, replay = self.facts, self.glyphs, self._feed.is_replay
        return (
            Header(facts, glyphs, self.answers),
            SpectrumPlot(glyphs),
            ActivityStrip(glyphs, self._letter),
            JournalPanel(facts, glyphs, self._letter, replay=replay),
            Meter(glyphs, self._view.window_s),
            SetupPanel(glyphs, self.keymap.for_factor),
            HealthPanel(glyphs),
            Prompt(glyphs),
        )

    def compose(self) -> ComposeResult:
        """Every panel; `arrange` says which are shown and where."""
        yield from self._showing
        yield self.walk_panel
        yield NoticeLine(self.glyphs)
        yield KeyLine(self.keymap, self.glyphs, replay=self._feed.is_replay)

    def on_mount(self) -> None:
        """Begin to look."""
        self.say(self._first_notice or self._hint(), Role.MARK)
        self._loop = asyncio.get_running_loop()
        self.lookout.start()

    def _hint(self) -> str:
        """What somebody who has never been here needs to know."""
        help_, play = self.keymap.shown("help"), self.keymap.shown("play")
        if self.is_replay:
            return f"{play} plays and pauses; {help_} lists the keys"
        return f"press a key when you change something, before you touch it; {help_} lists the keys"

    @property
    def is_replay(self) -> bool:
        """A saved session is shown."""
        return self._feed.is_replay

    # ---- pictures

    def look_when_due(self) -> None:
        """Want a new picture when the pacer says that it is time."""
        if self._app.pacer.picture_due():
            self.lookout.ask(self._view)

    def _ask_for_picture(self) -> None:
        """Show what a key did, all of it and soon."""
        self._hurried = AFTER_KEY
        self.lookout.ask(self._view)

    def _bring(self, snapshot: Snapshot) -> None:
        """Hand a picture over, on the thread that took it: to post it there would cost that thread dear."""
        with contextlib.suppress(RuntimeError):  # the loop is over, and so is the screen
            self._loop.call_soon_threadsafe(lambda: self.post_message(Looked(snapshot)))

    @on(Looked)
    def _show(self, event: Looked) -> None:
        event.stop()
        snapshot = self.desk.snapshot = event.snapshot
        if self._failing:
            self._failing = False
            self.say("pictures come again", Role.GOOD)
        self._guarded(self._end_trial_at_goal, "the coin trial was not ended")
        self._guarded(self.look_at_round, "the round was not followed")
        self._view = View(
            strip_cells=self.query_one(ActivityStrip).cells,
            strip_cell_ns=self.query_one(ActivityStrip).cell_ns(snapshot.polling.interval_s),
            window_s=self._view.window_s,
        )
        self._waiting = snapshot
        self.show_waiting()

    def show_waiting(self) -> None:
        """Show the newest picture as soon as the terminal has drawn those before."""
        snapshot = self._waiting
        if snapshot is None or not self._app.pacer.may_draw():
            return
        self._waiting = None
        figures, page = self._figures_due(), self._page
        if page is not None:
            page.show(snapshot, figures=figures)
        else:
            for panel in self._showing:
                if panel.display and (figures or isinstance(panel, ActivityStrip | Prompt)):
                    panel.show(snapshot)
        told = tuple(self._with_key(notice) for notice in snapshot.notices)
        for notices in self._notice_lines():
            notices.pass_on(told)
            notices.advise(snapshot.health.advice)

    def _with_key(self, notice: str) -> str:
        """A notice with the key that helps, where there is one."""
        full = notice.startswith(GapKind.DISK_FULL.value)
        return f"{notice} (key {self.keymap.shown('resume')})" if full else notice

    def _figures_due(self) -> bool:
        now_s = time.monotonic()
        if not self._hurried and now_s - self._figures_s < FIGURES_EVERY_S:
            return False
        self._figures_s, self._hurried = now_s, max(self._hurried - 1, 0)
        return True

    @on(LookFailed)
    def _show_failure(self, event: LookFailed) -> None:
        event.stop()
        self._failing = True
        LOG.warning("no picture", exc_info=event.why)
        self.say(f"no picture could be made ({event.why}); marks still count; trying again", Role.BAD)

    def say(self, sentence: str, role: Role = Role.TEXT) -> None:
        """Put a sentence on the notice line, of an open page too."""
        for notices in self._notice_lines():
            notices.say(sentence, role)

    def _notice_lines(self) -> list[NoticeLine]:
        page = self._page
        return [self.query_one(NoticeLine), *([page.notice] if page is not None else [])]

    # ---- places

    def on_resize(self, event: events.Resize) -> None:
        """Give every panel its place."""
        self.place_panels(event.size.width, event.size.height)

    def place_panels(self, width: int = 0, height: int = 0) -> None:
        """Give every panel its place; a round stands where the journal was."""
        width, height = width or self.size.width, height or self.size.height
        boxes = arrange(width, height)
        if self.guide.walk is not None:
            boxes["walk"] = boxes.pop("journal", boxes.get("strip", Box(0, 0, 0, 0)))
        for panel in self.query(Panel):
            if panel.raised or panel.id is None:
                continue
            box = boxes.get(panel.id)
            panel.display = box is not None
            if box is not None:
                panel.place(box)
        self._place_prompt(height)

    def _place_prompt(self, height: int | None = None) -> None:
        prompt = self.query_one(Prompt)
        prompt.styles.offset = (0, max((height or self.size.height) - prompt.lines, 0))

    # ---- keys: something changes

    def action_change(self, factor: str) -> None:
        """Begin a change of a factor: the moment counts, so the mark comes before the question."""
        self.try_(
            lambda: self._ask(self.offering(self.desk.begin_change(factor))), f"{factor} was not marked"
        )

    def action_note(self) -> None:
        """Ask for a note."""
        self._ask(Question("note", late=self.is_replay))

    def action_mark(self) -> None:
        """Mark this moment."""
        self.try_(lambda: self.say(self.desk.mark(), Role.MARK), "the moment was not marked")

    def action_undo(self) -> None:
        """Withdraw the newest mark."""
        self.try_(lambda: self.say(self.desk.undo(), Role.MARK), "nothing was withdrawn")

    def action_redo(self) -> None:
        """Make the mark stand again that was withdrawn last."""
        self.try_(lambda: self.say(self.desk.redo(), Role.MARK), "nothing was brought back")

    def action_lock(self) -> None:
        """Hold the latency where it is, or have it looked for again."""
        self.try_(lambda: self.say(self.desk.toggle_lock(), Role.MARK), "the latency stays as it is")

    def action_polling(self) -> None:
        """Start or stop polling."""
        if self._feed.is_replay:
            self.say("a saved session cannot be polled", Role.WARN)
            return
        self.try_(lambda: self.say(self.desk.toggle_polling(), Role.MARK), "not asked")

    def _ask(self, question: Question) -> None:
        prompt = self.query_one(Prompt)
        prompt.open(question)
        self._place_prompt()
        self._ask_for_picture()

    def _close_prompt(self) -> None:
        self.query_one(Prompt).close()
        self.set_focus(None)
        self._ask_for_picture()

    @on(Prompt.Answered)
    def _answered(self, event: Prompt.Answered) -> None:
        event.stop()

        def answer() -> None:
            sentence = self.desk.answer(event.question, event.text)
            self._close_prompt()
            self.say(sentence, Role.MARK)

        self.try_(answer, "not written")

    @on(Prompt.Left)
    def _left(self, event: Prompt.Left) -> None:
        event.stop()
        self.try_(lambda: self.say(self.desk.leave(event.question), Role.MARK), "the mark was not closed")
        self._close_prompt()

    def try_(self, do: Callable[[], None], otherwise: str) -> None:
        """Do something with the session; a failure is said and never ends the screen."""
        self._guarded(do, otherwise)
        self._ask_for_picture()

    def _guarded(self, do: Callable[[], None], otherwise: str) -> None:
        """The same without a picture right after it."""
        try:
            do()
        except BadInputError as why:
            self._complain(str(why))
        except Exception as why:
            LOG.warning("%s", otherwise, exc_info=why)
            self._complain(f"{otherwise}: {why}")

    def _complain(self, sentence: str) -> None:
        self.say(sentence, Role.BAD)
        prompt = self.query_one(Prompt)
        if prompt.question is not None:
            prompt.complain(self.glyphs.clean(sentence))
            self._place_prompt()

    # ---- keys: results

    def action_results(self) -> None:
        """Steps, changes, findings so far."""
        self.app.push_screen(ResultsScreen(self))

    def action_portrait(self) -> None:
        """The mean poll."""
        self.app.push_screen(PortraitScreen(self))

    def action_trial(self) -> None:
        """The coin trial: the session's first one starts at once."""
        self.app.push_screen(TrialScreen(self))

    def action_resume(self) -> None:
        """Go on recording after a full disk."""
        self.try_(lambda: self.say(self.desk.resume(), Role.MARK), "not asked")

    def _end_trial_at_goal(self) -> None:
        sentence = self.desk.end_trial_at_goal()
        if sentence:
            self.say(sentence, Role.MARK)

    @on(MeasuringMoved)
    def _pass_on_results(self, event: MeasuringMoved) -> None:
        event.stop()
        for screen in self.app.screen_stack:
            if isinstance(screen, MeasuredPage):
                screen.measured()

    @property
    def _page(self) -> PageScreen | None:
        """The page that is open over this screen."""
        return next((screen for screen in self.app.screen_stack if isinstance(screen, PageScreen)), None)

    def close_page(self) -> None:
        """Back from a page; what it hid is drawn anew."""
        self.app.pop_screen()
        self._hurried = AFTER_KEY
        self._waiting = self.desk.snapshot
        self.call_after_refresh(self.show_waiting)

    # ---- keys: the screen

    def action_journal(self, pages: int) -> None:
        """Scroll the journal."""
        self.query_one(JournalPanel).scroll_by(pages)

    def action_theme(self) -> None:
        """Take the next palette."""
        self.try_(lambda: self.say(self._app.next_palette()), "the palette stays")

    def action_commands(self) -> None:
        """Open the list of commands."""
        listing = CommandScreen(self.keymap, self.glyphs, replay=self.is_replay)
        self.app.push_screen(listing, self._do)

    async def _do(self, action: Action | None) -> None:
        if action is not None:
            await self.run_action(action.call)

    def action_redraw(self) -> None:
        """Send the whole screen to the terminal again."""
        self._app.repaint()

    def action_rate(self) -> None:
        """Take the next rate of pictures."""
        hz = self._app.pacer.next_rate()
        asked = "as fast as the terminal draws" if hz is None else f"{hz:g} per second"
        self.say(f"pictures: {asked}")

    def action_help(self) -> None:
        """Show the keys."""
        self.open_help()

    def open_help(self, topic: str = "") -> None:
        """Show the help, opened at a topic."""
        self.app.push_screen(HelpScreen(self.keymap, self.glyphs, topic, replay=self._feed.is_replay))

    def action_quit(self) -> None:
        """Leave; a recorder at work raises a question first."""
        if not self.desk.records:
            self._app.leave_done()
            return
        self.app.push_screen(LeaveScreen(self.glyphs), self._leave)

    def _leave(self, choice: ScreenExit | None) -> None:
        if choice is not None:
            self._app.leave(choice)

    # ---- help for the above

    @property
    def _app(self) -> TelltickApp:
        return cast("TelltickApp", self.app)

    def stop(self, timeout_s: float) -> bool:
        """Look and measure no more; returns False when that is still under way after `timeout_s`."""
        self.be_silent()
        self.measuring.cancel()
        looked = self.lookout.stop(timeout_s)
        return self.measuring.stop(timeout_s) and looked

    def key_of(self, factor: str) -> str:
        """The key that changes a factor, by hand or by our poller; empty when there is none."""
        name = {"polling": "polling", TRIAL: "trial"}.get(factor)
        if name == "trial" and self.is_replay:
            return ""
        return self.keymap.shown(name) if name else self.keymap.for_factor(factor)

    def open_question(self) -> Question | None:
        """What the prompt asks now."""
        return self.query_one(Prompt).question

    def _letter(self, mark: Mark) -> str:
        """The letter of a mark on strip and journal: the key that makes such a mark."""
        actions = {MarkKind.NOTE: "note", MarkKind.PLAIN: "mark"}
        name = "polling" if mark.factor == "polling" else actions.get(mark.kind)
        key = self.keymap.key(name) if name else self.keymap.for_factor(mark.factor or "")
        return key if len(key) == 1 else "#"
