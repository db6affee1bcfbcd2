"""The prompt at the bottom: one line to answer in, with the hands-on time running above it."""

from __future__ import annotations

from typing import ClassVar

from rich.cells import cell_len
from textual import on
from textual.app import ComposeResult
from textual.containers import Container, Horizontal
from textual.message import Message
from textual.widgets import Input

from telltick.model.snapshot import Snapshot
from telltick.ui.desk import Question
from telltick.ui.format import short_clock
from telltick.ui.glyphs import Glyphs
from telltick.ui.rows import Role, Row, Run, row, shorten, width_of, wrapped
from telltick.ui.widgets.panel import Panel

ASCII_TYPED = r"[ -~]*"
LONGEST_VALUE, LONGEST_NOTE = 80, 400


class PromptRows(Panel):
    """Rows of the prompt around its input."""

    raised = True
    DEFAULT_CSS = """
    PromptRows { position: relative; width: 100%; height: 1; }
    """


class AnswerInput(Input):
    """A line of typing that offers values with the up and down keys."""

    DEFAULT_CSS = """
    AnswerInput, AnswerInput:focus {
        width: 1fr; height: 1; border: none; padding: 0;
        background: $surface; color: $number;
        background-tint: transparent;
    }
    AnswerInput > .input--cursor { background: $surface; color: $number; text-style: reverse; }
    AnswerInput > .input--selection { background: $surface; color: $number; text-style: underline; }
    """
    BINDINGS: ClassVar = [("up", "offer(-1)", ""), ("down", "offer(1)", ""), ("escape", "leave", "")]

    class Left(Message):
        """Escape was pressed."""

    def __init__(self, *, ascii_only: bool, offering: bool = True) -> None:
        """Prepare the line.

        Args:
            ascii_only: take ASCII alone.
            offering: use the up and down keys for offered values; else they are left to the screen.
        """
        super().__init__(
            id="answer", select_on_focus=False, restrict=ASCII_TYPED if ascii_only else None, compact=True
        )
        self.cursor_blink = False  # a blinking cursor costs a slow link bytes for nothing
        self._offering = offering
        self._offers: tuple[str, ...] = ()
        self._at = -1

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The up and down keys go on to the screen where nothing is offered."""
        return self._offering if action == "offer" else super().check_action(action, parameters)

    def begin(self, offers: tuple[str, ...], longest: int, proposed: str = "") -> None:
        """Start empty, or with a proposed value: Enter takes it, typing puts another in its place."""
        self._offers, self._at = offers, offers.index(proposed) if proposed in offers else -1
        self.max_length = longest
        self.value = proposed
        self.select_all()

    def action_offer(self, direction: int) -> None:
        """Put the next or previous offered value into the line."""
        if self._offers:
            start = -1 if direction > 0 else 0
            self._at = ((self._at if self._at >= 0 else start) + direction) % len(self._offers)
            self.value = self._offers[self._at]
            self.cursor_position = len(self.value)

    def action_leave(self) -> None:
        """Say that Escape was pressed."""
        self.post_message(self.Left())


class Prompt(Container):
    """Asks one question at a time."""

    DEFAULT_CSS = """
    Prompt {
        position: absolute; height: auto; width: 100%; display: none; background: $surface;
    }
    Prompt Horizontal { height: 1; }
    Prompt #ask { width: auto; }
    """

    class Answered(Message):
        """Enter was pressed on some text."""

        def __init__(self, question: Question, text: str) -> None:
            super().__init__()
            self.question, self.text = question, text

    class Left(Message):
        """The question was left unanswered."""

        def __init__(self, question: Question) -> None:
            super().__init__()
            self.question = question

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__(id="prompt")
        self._glyphs = glyphs
        self._question: Question | None = None
        self._running_ns = 0
        self._complaint = ""

    def compose(self) -> ComposeResult:
        """Title, line to type in, offers and cautions."""
        yield PromptRows("prompt-title", self._glyphs)
        with Horizontal():
            yield PromptRows("ask", self._glyphs)
            yield AnswerInput(ascii_only=self._glyphs.ascii)
        yield PromptRows("prompt-help", self._glyphs)

    @property
    def question(self) -> Question | None:
        """What is being asked; None when nothing is."""
        return self._question

    @property
    def lines(self) -> int:
        """Rows the prompt takes."""
        return 2 + len(self._help(self.app.size.width)) if self._question else 0

    def open(self, question: Question) -> None:
        """Ask."""
        self._question, self._running_ns, self._complaint = question, 0, ""
        self.display = True
        answer = self.query_one(AnswerInput)
        longest = LONGEST_NOTE if question.title == "note" else LONGEST_VALUE
        answer.begin(question.offers, longest, question.proposed)
        answer.focus()
        self._place()

    def close(self) -> None:
        """Stop asking."""
        self._question = None
        self.display = False

    def complain(self, sentence: str) -> None:
        """Say why an answer cannot be used; the question stands."""
        self._complaint = sentence
        self._place()

    def show(self, snapshot: Snapshot) -> None:
        """Let the hands-on time run."""
        if self._question is not None and snapshot.open_mark is not None:
            self._running_ns = max(snapshot.now_ns - snapshot.open_mark.t_ns, self._running_ns)
            self._redraw()

    def on_resize(self) -> None:
        """Another width, other line breaks."""
        self._place()

    def _place(self) -> None:
        if self._question is None:
            return
        rows = self._help(self.app.size.width)
        self.query_one("#prompt-help").styles.height = len(rows)
        ask = self.query_one("#ask", PromptRows)
        ask.styles.width = len(self._ask())
        self.call_after_refresh(self._redraw)

    def _redraw(self) -> None:
        if self._question is None:
            return
        width = self.app.size.width
        self.query_one("#prompt-title", PromptRows).put([self._title(width)])
        self.query_one("#ask", PromptRows).put([row(Run(self._ask(), Role.LABEL))])
        self.query_one("#prompt-help", PromptRows).put(self._help(width))

    def _title(self, width: int) -> Row:
        question, glyphs = self._question, self._glyphs
        assert question is not None
        if question.late:
            left = Run(f"{glyphs.rule} {question.title}, noted late", Role.LATE)
        elif question.mark is not None:
            left = Run(f"{glyphs.rule} HANDS ON {question.title} {short_clock(self._running_ns)}", Role.HANDS)
        elif question.verb is not None:
            left = Run(f"{glyphs.rule} {question.verb}, by the poller", Role.KEY)
        else:
            left = Run(f"{glyphs.rule} {question.title}", Role.KEY)
        was = f"now: {shorten(glyphs.clean(question.was, 80), width // 2)} " if question.was else ""
        line = glyphs.rule
        free = width - width_of((left,)) - cell_len(was) - 4
        before = f" {line * max(free, 0)}{' ' if was else line}"
        return row(left, Run(before, Role.RULE), Run(was, Role.TEXT), Run(line, Role.RULE))

    def _ask(self) -> str:
        question = self._question
        assert question is not None
        if question.title == "note":
            return " write: "
        return f" new value, {question.unit}: " if question.unit else " new value: "

    def _help(self, width: int) -> list[Row]:
        """Keys, offered values and cautions."""
        question, glyphs = self._question, self._glyphs
        assert question is not None
        leave = "Esc plain mark" if question.mark is not None else "Esc leave"
        keys = [Run(" Enter ", Role.KEY), Run("done  ", Role.LABEL), Run(f"{leave}  ", Role.LABEL)]
        if question.offers:
            offers = f" {glyphs.divide} ".join(glyphs.clean(offer, 30) for offer in question.offers)
            keys += [Run(f"{glyphs.up_down} ", Role.KEY), Run(offers, Role.TEXT)]
        caution = wrapped(f"Caution: {question.caution}", width - 2, Role.WARN) if question.caution else []
        complaint = wrapped(f"! {self._complaint}", width - 2, Role.BAD) if self._complaint else []
        return [row(*keys), *((Run(" "), *line) for line in (*complaint, *caution))]

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        event.stop()
        if self._question is not None and event.value.strip():
            self.post_message(self.Answered(self._question, event.value))

    @on(AnswerInput.Left)
    def _left(self, event: AnswerInput.Left) -> None:
        event.stop()
        if self._question is not None:
            self.post_message(self.Left(self._question))
