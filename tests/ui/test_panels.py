"""Header, setup, journal and health, drawn from fixed snapshots."""

from dataclasses import replace

import pytest
from rich.cells import cell_len

from telltick.model.clock import NS
from telltick.model.marks import Mark, MarkKind
from telltick.model.snapshot import InputHealth, Phase, PollingState, Snapshot
from telltick.ui.entries import entries
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.keymap import Keymap
from telltick.ui.rows import Role, Room, text_of, width_of
from telltick.ui.widgets.header import RecentAnswers, draw_header
from telltick.ui.widgets.health import draw_health
from telltick.ui.widgets.journal import draw_journal
from telltick.ui.widgets.notice import draw_notice
from telltick.ui.widgets.setup import draw_setup
from tests.ui.fake_feed import HOUR_NS, facts, scripted_marks

POLLING = PollingState(True, True, 0.2, 9600, "8N1", 500, 500, reply_ms=18.0)
HOSTILE = "[bold]x\x1b[31m\x1b]0;title\x07\u202edeyortsed[/bold]\n\r\tend"


def header(width=120, phase=Phase.RECORDING, polling=POLLING, name="Larkfell hut", **more) -> str:
    answers = RecentAnswers()
    answers.add(polling)
    snapshot = Snapshot(phase, now_ns=714 * NS, duration_ns=HOUR_NS, polling=polling, **more)
    return text_of(draw_header(snapshot, facts(name=name), answers, Room(width, 1, UNICODE)))


# ---- header


def test_the_top_line_tells_recording_times_and_polling():
    assert header() == (
        " ● RECORDING  Larkfell hut  0:11:54  19:14:54 local                   "
        "● polling 0.2 s 9600 8N1 100 % answered in 18 ms  "
    )


def test_at_eighty_columns_nothing_of_it_is_cut_but_a_long_name():
    line = header(80)
    assert len(line) == 80
    assert "● RECORDING  Larkfell hut 0:11:54      ● polling 0.2 s 9600 8N1 100 % answered" in line
    assert "Larkfell hut on.." in header(80, name="Larkfell hut on the hill")


@pytest.mark.parametrize("width", [80, 100, 120, 200])
@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("speed", [0.5, 64.0])
def test_the_top_line_always_fits(width, phase, speed):
    hour = replace(POLLING, interval_s=0.123, baud=115200, framing="8N1", reply_ms=1234.0)
    line = header(width, phase, hour, name="日本語の無線局" * 5, speed=speed)
    assert cell_len(line) == width
    assert phase.value.upper() in line
    assert "polling" in line
    assert "0:11:54" in line


def test_replay_shows_playhead_length_and_speed():
    line = header(phase=Phase.PAUSED, speed=0.5)
    assert "○ PAUSED" in line
    assert "0:11:54 of 1:00:00  0.5x" in line


def test_a_radio_that_does_not_answer_is_told():
    assert "NO ANSWER" in header(polling=replace(POLLING, replies=0, timeouts=500))
    assert "○ not polling" in header(polling=replace(POLLING, on=False))
    assert "no poller" in header(polling=PollingState())


def test_answers_are_counted_over_the_last_polls_and_anew_after_a_jump_back():
    answers = RecentAnswers(polls=20)
    for polls in range(1, 501):
        answers.add(replace(POLLING, polls=polls, replies=min(polls, 480)))
    assert answers.share == (0, 20)
    answers.add(replace(POLLING, polls=100, replies=100))
    assert answers.share == (100, 100)


# ---- setup


def at(seconds: float, marks=(), **more) -> Snapshot:
    setup = {"antenna": "beam", "cable": "B", "rf gain": "full", "polling": "on", **more.pop("setup", {})}
    return Snapshot(Phase.RECORDING, now_ns=int(seconds * NS), marks=tuple(marks), setup=setup, **more)


def setup_rows(snapshot, width=40, height=8, glyphs=ASCII) -> list[str]:
    rows = draw_setup(snapshot, Room(width, height, glyphs), Keymap().for_factor)
    assert len(rows) <= height
    assert max(width_of(line) for line in rows) <= width
    return [text_of(line).rstrip() for line in rows]


def test_the_setup_lists_factors_with_their_keys_and_points_at_the_newest_change():
    cable = Mark(1, 5 * NS, 9 * NS, MarkKind.CHANGE, "cable", "B")
    assert setup_rows(at(20, [cable]))[1:] == [
        "a antenna       beam",
        "c cable         B <",
        "g rf gain       full",
    ]


def test_a_change_under_way_shows_its_hands_on_time():
    antenna = Mark(1, 5 * NS, None, MarkKind.CHANGE, "antenna")
    assert "a antenna       HANDS ON 00:12" in setup_rows(at(17, [antenna], open_mark=antenna))


def test_more_factors_than_rows_stand_side_by_side():
    more = {
        "supply": "mains",
        "computer": "desk",
        "frequency": "14.100 MHz",
        "choke": "none",
        "monitor level": "5",
    }
    cable = Mark(1, 5 * NS, 9 * NS, MarkKind.CHANGE, "cable", "B")
    rows = setup_rows(at(20, [cable], setup=more), width=30, height=5)
    assert "cable B<" in "\n".join(rows)
    page = "\n".join(rows)
    for factor, value in {**more, "antenna": "beam", "rf gain": "full"}.items():
        assert f"{factor} {value}" in page


def test_what_does_not_fit_even_so_is_counted():
    many = {f"factor number {k}": "some value" for k in range(12)}
    assert setup_rows(at(20, setup=many), width=30, height=5)[-1].endswith("+11")


def test_the_pollers_own_values_stand_in_the_top_line_and_not_here_again():
    snapshot = at(20, setup={"baud": "9600", "poll interval": "0.2"}, polling=POLLING)
    assert "baud" not in "\n".join(setup_rows(snapshot))
    assert "baud" in "\n".join(setup_rows(replace(snapshot, polling=PollingState())))


def test_an_empty_setup_says_so():
    assert "nothing noted yet" in setup_rows(Snapshot(Phase.RECORDING))[1]


# ---- journal


def journal_rows(marks, seconds=720.0, height=8, width=70, glyphs=ASCII, **how) -> list[str]:
    known = entries(marks, facts().setup, glyphs)
    letter = lambda mark: (mark.factor or mark.kind.value)[0]  # noqa: E731
    rows = draw_journal(known, at(seconds, marks), Room(width, height, glyphs), letter, **how)
    assert len(rows) <= height
    assert max(width_of(line) for line in rows) <= width
    return [text_of(line).rstrip() for line in rows]


def test_the_journal_tells_what_changed_from_what_to_what():
    rows = journal_rows(scripted_marks())
    assert rows[1] == " 0:05:01 a antenna: beam -> dummy load" + " " * 19 + "hands on 16 s"
    assert rows[2].startswith(" 0:05:40 n note: hash stays with the load")
    assert rows[3].startswith(" 0:07:05 c cable: A -> B")
    assert rows[4].endswith("program")


def test_the_newest_entries_are_kept_and_older_ones_can_be_looked_up():
    assert journal_rows(scripted_marks(), height=3)[1:][-1].endswith("p mark")
    older = journal_rows(scripted_marks(), height=3, back=4)
    assert "antenna: beam" in older[1]
    assert "newer below" in older[0]


def test_in_replay_the_playhead_stays_in_view_and_what_is_ahead_is_dim():
    known = entries(scripted_marks(), facts().setup, UNICODE)
    rows = draw_journal(known, at(430), Room(70, 4, UNICODE), lambda m: "x", here_ns=430 * NS)
    texts = [text_of(line) for line in rows]
    assert any("cable" in text for text in texts)
    ahead = [run.role for line in rows for run in line if "baud" in run.text]
    assert ahead == [Role.LABEL]


def test_notes_of_strangers_are_shown_as_they_are_written_and_nothing_else_happens():
    rows = journal_rows([Mark(1, NS, NS, MarkKind.NOTE, note=HOSTILE)], glyphs=UNICODE)
    assert rows[1] == " 0:00:01 n note: [bold]xdeyortsed[/bold] end"


def test_a_running_change_shows_its_time_and_a_late_mark_says_late():
    running = Mark(1, 700 * NS, None, MarkKind.CHANGE, "antenna")
    assert journal_rows([running])[1].endswith("running 00:20")
    late = Mark(1, NS, NS, MarkKind.NOTE, note="x", late=True)
    assert journal_rows([late])[1].endswith("late")


def test_an_empty_journal_tells_what_to_do():
    assert "press a key when something changes" in journal_rows(())[1]


# ---- health


def health_rows(health: InputHealth, phase=Phase.RECORDING, width=30, height=4) -> list[str]:
    rows = draw_health(Snapshot(phase, health=health), Room(width, height, ASCII))
    assert len(rows) <= height
    assert max(width_of(line) for line in rows) <= width
    return [text_of(line).rstrip() for line in rows]


def test_a_healthy_input_is_told_in_three_lines():
    assert health_rows(InputHealth(-30.0, -12.0)) == [
        "- input --- * recorder alive -",
        "-30.0 dBFS ##########....|....",
        "no clipping  no gaps",
    ]


def test_trouble_is_told_in_words():
    assert "CLIPS 12" in health_rows(InputHealth(-3.0, 0.0, clipped=12))[2]
    assert "2 gaps" in health_rows(InputHealth(-30.0, -12.0, gaps=2, last_gap="overflow"))[2]
    assert "last gap: overflow" in health_rows(InputHealth(-30.0, -12.0, gaps=2, last_gap="overflow"))[3]
    assert "NO SOUND 7 s" in health_rows(InputHealth(-30.0, -12.0, audio_age_s=7.2))[0]
    assert "recorder gone" in health_rows(InputHealth(), Phase.STOPPED)[0]
    assert "saved session" in health_rows(InputHealth(-30.0, -12.0), Phase.PAUSED)[0]


ANSWERING = PollingState(available=True, on=True, polls=1234, replies=1234, reply_ms=12.4)
TROUBLED = replace(ANSWERING, replies=1180, timeouts=41, errors=1, late=12, garbage=5)


def answer_rows(state: PollingState, health: InputHealth, width: int, height: int) -> list[str]:
    rows = draw_health(Snapshot(Phase.RECORDING, health=health, polling=state), Room(width, height, ASCII))
    assert len(rows) <= height
    assert max(width_of(line) for line in rows) <= width
    return [text_of(line).rstrip() for line in rows][2:]


def test_replies_timeouts_and_what_came_late_or_as_garbage_are_counted_on_screen():
    at_home = (InputHealth(-30.0, -12.0), 40, 5)
    assert answer_rows(ANSWERING, *at_home)[1:] == ["1234 replies  no timeouts, none late"]
    assert answer_rows(TROUBLED, *at_home)[1:] == [
        "1180 replies  41 timeouts  5 garbage",
        "12 late  1 failed",
    ]
    assert answer_rows(PollingState(), *at_home)[1:] == []


def test_the_smallest_panel_tells_how_the_radio_answers_beside_how_the_sound_is():
    fine, bad = InputHealth(-30.0, -12.0), InputHealth(-3.0, 0.0, clipped=7, gaps=1)
    assert answer_rows(ANSWERING, fine, 30, 3) == ["no clipping  no gaps  in 12 ms"]
    assert answer_rows(replace(ANSWERING, reply_ms=312.0), fine, 30, 3) == ["no clipping  no gaps  312 ms"]
    assert answer_rows(TROUBLED, fine, 30, 3) == ["41 timeouts  5 garbage"]
    assert answer_rows(replace(ANSWERING, late=3), fine, 30, 3) == ["3 late  no clipping  no gaps"]
    assert answer_rows(replace(ANSWERING, late=3), bad, 30, 3) == ["CLIPS 7  1 gap  3 late  12 ms"]


ADVICE = "the input clips: lower the audio level until it stops"


def test_advice_is_given_in_full_where_there_is_room():
    page = " ".join(health_rows(InputHealth(-3.0, 0.0, clipped=5, advice=ADVICE), height=5))
    assert ADVICE in " ".join(page.split())
    assert "CLIPS 5" in page


def test_in_the_smallest_panel_advice_takes_the_place_of_the_counts():
    rows = health_rows(InputHealth(-3.0, 0.0, clipped=5, advice=ADVICE), height=3)
    assert rows[2] == "the input clips: lower the a.."


def test_warnings_are_not_told_by_colour_alone():
    assert text_of(draw_notice("stopped", Role.BAD, 40)).startswith(" ! stopped")
    assert text_of(draw_notice("marked", Role.MARK, 40)).startswith("   marked")
