"""Every key of the main screen, pressed in the real app."""

import pytest

from telltick.model.clock import NS
from telltick.model.errors import StorageError
from telltick.model.marks import MarkKind
from telltick.model.plan import Settings
from telltick.model.session import Verb
from telltick.model.snapshot import Phase, PollingState
from telltick.ui.app import ScreenExit, TelltickApp
from telltick.ui.factors import FACTORS
from telltick.ui.keymap import Keymap
from telltick.ui.palettes import palette_files
from telltick.ui.rows import text_of
from telltick.ui.screens.help import HelpScreen
from telltick.ui.screens.leave import LeaveScreen
from telltick.ui.widgets.meter import Meter
from telltick.ui.widgets.notice import NoticeLine
from telltick.ui.widgets.prompt import AnswerInput, Prompt
from tests.ui.fake_feed import FakeFeed, FakeReplay
from tests.ui.on_screen import lines_of, text_of_screen, until
from tests.ui.session_app import SIZE, on_session, ready, type_in


def notice(app: TelltickApp) -> str:
    return app.session.query_one(NoticeLine).text


def question(app: TelltickApp):
    return app.session.query_one(Prompt).question


@pytest.mark.parametrize("factor", [f for f, about in FACTORS.items() if about.verb is None])
async def test_a_changing_key_marks_at_once_and_enter_ends_the_hands_on_time(factor):
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press(Keymap().for_factor(factor))
        assert feed.marks[-1].hands_on
        began = feed.marks[-1].t_ns
        await until(pilot, lambda: feed.now_ns - began > NS and f"HANDS ON {factor} 0" in text_of_screen(app))
        await type_in(pilot, "new one")
        await pilot.press("enter")
        mark = feed.marks[-1]
        assert (mark.factor, mark.value, mark.t_ns) == (factor, "new one", began)
        assert mark.settled_ns - began >= NS
        await until(pilot, lambda: question(app) is None and "new one" in text_of_screen(app))
        assert app.focused is None


async def test_the_prompt_shows_the_present_value_the_offers_and_the_caution():
    feed = FakeFeed()
    async with on_session(feed, size=(80, 24)) as (app, pilot):
        await pilot.press("a")
        await until(pilot, lambda: "now: beam" in text_of_screen(app))
        page = text_of_screen(app)
        assert "dummy load · antenna" in page
        assert "Never transmit into a small dummy load" in page
        assert "thunderstorm weather." in page
        assert "Esc plain mark" in page


async def test_offered_values_come_with_the_arrow_keys():
    feed = FakeFeed()
    async with on_session(feed) as (_, pilot):
        await pilot.press("a", "down", "down", "up", "enter")
        assert feed.marks[-1].value == "dummy load"
        await pilot.press("a", "up", "enter")
        assert feed.marks[-1].value in ("antenna", "beam")


async def test_enter_on_nothing_keeps_the_prompt_and_the_hands_on_time():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("c", "enter", "space", "enter")
        assert feed.marks[-1].hands_on
        assert question(app) is not None


async def test_escape_leaves_a_plain_mark():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("c", "x", "escape")
        assert [mark.kind for mark in feed.marks] == [MarkKind.PLAIN]
        await until(pilot, lambda: question(app) is None)
        assert "plain mark stays" in notice(app)


async def test_mark_note_and_undo():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("x", "n")
        await type_in(pilot, "hum is gone")
        await pilot.press("enter")
        assert [(m.kind, m.note) for m in feed.marks] == [
            (MarkKind.PLAIN, ""),
            (MarkKind.NOTE, "hum is gone"),
        ]
        await pilot.press("u")
        await until(pilot, lambda: "withdrawn: note: hum is gone" in text_of_screen(app))
        await pilot.press("U")
        await until(pilot, lambda: "stands again: note: hum is gone" in text_of_screen(app))
        await pilot.press("u", "u", "u")
        assert feed.marks == []
        assert "nothing of yours" in notice(app)


async def test_a_locked_latency_is_seen_on_the_meter_at_every_size():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):

        def title() -> str:
            return text_of(app.session.query_one(Meter).rows[0])

        await pilot.press("L")
        for size in ((80, 24), (100, 30), (120, 40), (200, 60)):
            await pilot.resize_terminal(*size)
            await until(pilot, lambda: "latency locked" in title())
        await pilot.press("L")
        await until(pilot, lambda: "locked" not in title())


async def test_a_note_left_with_escape_is_not_written():
    feed = FakeFeed()
    async with on_session(feed) as (_, pilot):
        await pilot.press("n", "q", "escape")
        assert feed.marks == []


async def test_baud_and_interval_ask_the_poller_and_open_no_mark():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("b")
        await type_in(pilot, "fast")
        await pilot.press("enter")
        await until(pilot, lambda: "! the baud must be a whole number" in text_of_screen(app))
        assert question(app) is not None
        await pilot.press(*["backspace"] * 4)
        await type_in(pilot, "19200")
        await pilot.press("enter")
        await pilot.press("i")
        await type_in(pilot, "0.5")
        await pilot.press("enter")
        assert feed.asked == [(Verb.SET_BAUD, "19200"), (Verb.SET_INTERVAL, "0.5")]
        assert feed.marks == []
        await until(pilot, lambda: "done: set interval 0.5" in text_of_screen(app))


async def test_polling_stops_and_starts_by_one_key():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("p")
        await until(pilot, lambda: "not polling" in lines_of(app)[0])
        await pilot.press("p")
        await until(pilot, lambda: "● polling" in lines_of(app)[0])
        assert feed.asked == [(Verb.STOP_POLLING, ""), (Verb.START_POLLING, "")]


async def test_without_a_poller_the_key_says_so():
    feed = FakeFeed()
    feed.polling = PollingState()
    async with on_session(feed) as (app, pilot):
        await pilot.press("p")
        assert "no poller of its own" in notice(app)


# ---- leaving


@pytest.mark.parametrize(
    ("key", "left", "asked"),
    [("s", ScreenExit.FINISH, [(Verb.FINISH, "")]), ("l", ScreenExit.LEAVE_RECORDING, [])],
)
async def test_leaving_a_recording_asks_what_becomes_of_it(key, left, asked):
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("q")
        await until(pilot, lambda: "stop and save" in text_of_screen(app))
        assert "go on recording" in text_of_screen(app)
        await pilot.press(key)
    assert app.return_value is left
    assert feed.asked == asked


@pytest.mark.parametrize("key", ["q", "ctrl+q", "ctrl+c"])
async def test_every_leaving_key_asks_and_escape_stays(key):
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press(key)
        await until(pilot, lambda: isinstance(app.screen, LeaveScreen))
        await pilot.press("x", "escape")
        await until(pilot, lambda: app.screen is app.session)
        assert feed.marks == []
        assert app.return_value is None


async def test_leaving_with_a_change_under_way_keeps_it_as_a_plain_mark():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("a", "ctrl+q", "l")
    assert app.return_value is ScreenExit.LEAVE_RECORDING
    assert [mark.kind for mark in feed.marks] == [MarkKind.PLAIN]


@pytest.mark.parametrize("phase", [Phase.ENDED, Phase.STOPPED])
async def test_a_session_nobody_records_is_left_at_once(phase):
    feed = FakeFeed()
    feed.phase = phase
    async with on_session(feed) as (app, pilot):
        await pilot.press("q")
    assert app.return_value is ScreenExit.DONE


async def test_a_hang_up_leaves_at_once_with_the_recorder_on():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        await pilot.press("a")
        app.hang_up()
    assert app.return_value is ScreenExit.LEAVE_RECORDING
    assert feed.asked == []
    assert [mark.kind for mark in feed.marks] == [MarkKind.PLAIN]


def test_every_way_of_leaving_says_where_the_session_is():
    for left in ScreenExit:
        assert "/home/op/hut" in left.farewell("/home/op/hut")
    assert "monitor --join /home/op/hut" in ScreenExit.LEAVE_RECORDING.farewell("/home/op/hut")


# ---- replay


async def test_replay_keys_move_the_playhead():
    feed = FakeReplay(at_s=430.0)
    async with on_session(feed) as (app, pilot):
        await pilot.press("space")
        await until(pilot, lambda: "PAUSED" in lines_of(app)[0])
        here = feed.now_ns
        await pilot.press("right", "right", "left")
        assert feed.now_ns == here + 5 * NS
        await pilot.press(".")
        assert feed.sought[-1] == 520 * NS
        await pilot.press(",")
        assert feed.sought[-1] == 425 * NS
        await pilot.press("5")
        assert feed.sought[-1] == 1800 * NS
        await pilot.press("home")
        assert feed.sought[-1] == 0
        await pilot.press("end")
        assert feed.sought[-1] == 3600 * NS
        await pilot.press("]", "]")
        assert feed.speed == 4.0
        await until(pilot, lambda: "4x" in lines_of(app)[0])
        await pilot.press("[")
        assert feed.speed == 2.0
        await pilot.press("space")
        await until(pilot, lambda: "PLAYING" in lines_of(app)[0])
        await pilot.press("q")
    assert app.return_value is ScreenExit.DONE
    assert feed.asked == []


async def test_marks_made_in_replay_are_shown_as_late():
    feed = FakeReplay(tick_s=0.0)
    async with on_session(feed) as (app, pilot):
        await pilot.press("n")
        await type_in(pilot, "see here")
        await until(pilot, lambda: "note, noted late" in text_of_screen(app))
        await pilot.press("enter")
        await until(pilot, lambda: any("note: see here" in line and "late" in line for line in lines_of(app)))


async def test_a_saved_session_cannot_be_polled_and_live_ones_not_moved():
    replay, live = FakeReplay(), FakeFeed()
    async with on_session(replay) as (app, pilot):
        await pilot.press("p")
        assert "cannot be polled" in notice(app)
    async with on_session(live) as (app, pilot):
        await pilot.press("space", "left", "right", "[", "]", ",", ".", "3", "home", "end")
    assert replay.asked == []


# ---- faults


async def test_a_picture_that_cannot_be_made_is_told_and_marks_go_on():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        feed.fault = RuntimeError("torn [bold]row\x1b[31m")
        await until(pilot, lambda: "no picture could be made (torn [bold]row)" in text_of_screen(app))
        await pilot.press("x")
        assert len(feed.marks) == 1
        feed.fault = None
        await until(pilot, lambda: "pictures come again" in text_of_screen(app))


async def test_a_mark_that_cannot_be_written_is_told_and_the_screen_lives_on():
    feed = FakeFeed()
    async with on_session(feed) as (app, pilot):
        feed.write_fault = StorageError("the disk is full")
        await pilot.press("a")
        assert question(app) is None
        assert "antenna was not marked: the disk is full" in notice(app)
        feed.write_fault = None
        await pilot.press("a")
        await type_in(pilot, "loop")
        feed.write_fault = StorageError("the disk is full")
        await pilot.press("enter")
        await until(pilot, lambda: "! not written: the disk is full" in text_of_screen(app))
        assert app.session.query_one(AnswerInput).value == "loop"
        feed.write_fault = None
        await pilot.press("enter")
        assert feed.marks[-1].value == "loop"


async def test_notes_of_strangers_are_shown_literally_and_cleaned():
    feed = FakeReplay(tick_s=0.0)
    feed.marks = []
    feed.facts = type(feed.facts)(
        **{f: getattr(feed.facts, f) for f in feed.facts.__dataclass_fields__}
        | {"name": "[red]hut\x1b]0;x\x07"}
    )
    async with on_session(feed) as (app, pilot):
        feed.add_note("[bold]x\x1b[31m")
        feed.notices.append("[link=http://x]notice\x9b2J")
        await until(pilot, lambda: "note: [bold]x " in text_of_screen(app))
        await until(pilot, lambda: "[link=http://x]notice " in text_of_screen(app))
        assert "[red]hut " in lines_of(app)[0]
        assert "\x1b" not in "".join(str(run) for p in app.session.query("Panel") for run in p.rows)


# ---- the screen itself


async def test_help_opens_and_closes():
    feed = FakeFeed()
    async with on_session(feed, size=(80, 24)) as (app, pilot):
        await pilot.press("?")
        await until(pilot, lambda: "withdraw a mark, redo it" in text_of_screen(app))
        assert isinstance(app.screen, HelpScreen)
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_commands_are_found_by_their_words_and_done():
    feed = FakeFeed()
    async with on_session(feed, size=(80, 24)) as (app, pilot):
        await pilot.press("ctrl+p")
        await until(pilot, lambda: "antenna or dummy load" in text_of_screen(app))
        await type_in(pilot, "plain")
        await until(pilot, lambda: "antenna or dummy load" not in text_of_screen(app))
        await pilot.press("enter")
        await until(pilot, lambda: [mark.kind for mark in feed.marks] == [MarkKind.PLAIN])
        await pilot.press("ctrl+p", "down", "down", "enter")
        await until(pilot, lambda: feed.marks[-1].factor == "rf gain")
        await pilot.press("escape", "ctrl+p", *"zzzz", "enter", "escape")
        await until(pilot, lambda: app.screen is app.session)


async def test_palettes_change_live_and_by_name():
    feed = FakeFeed()
    async with on_session(feed, theme="day") as (app, pilot):
        assert "#f6f3ea" in app.export_screenshot()
        await pilot.press("t")
        await until(pilot, lambda: app.palette.name == "night" and "#f6f3ea" not in app.export_screenshot())
        seen = set()
        for _ in range(len(palette_files())):
            seen.add(app.palette.name)
            await pilot.press("t")
        assert {"night", "day", "red-lamp", "sixteen", "plain"} <= seen


async def test_without_colour_the_palette_stays_and_nothing_is_coloured():
    feed = FakeFeed()
    app = TelltickApp(feed, Settings(theme="day"), ascii_only=False, environ={"NO_COLOR": "1"})
    async with app.run_test(size=SIZE) as pilot:
        await ready(pilot)
        await pilot.press("t")
        assert app.palette.name == "plain"
        assert "NO_COLOR" in notice(app)


async def test_keys_of_the_operators_own_work_in_place_of_the_shipped_ones():
    feed = FakeFeed()
    async with on_session(feed, keys={"antenna": "j", "mark": "a", "mark_before": ";"}) as (app, pilot):
        await pilot.press("a")
        assert feed.marks[-1].kind is MarkKind.PLAIN
        await pilot.press("j")
        assert feed.marks[-1].factor == "antenna"
        assert "j antenna" in lines_of(app)[-1] or question(app) is not None
