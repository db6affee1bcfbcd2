from dataclasses import replace

import pytest

from telltick.model.readings import Estimate, Latency, Reading, Verdict
from telltick.model.snapshot import Phase, Snapshot
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.rows import Role, Room, text_of, width_of
from telltick.ui.widgets.figures import figures, figures_width
from telltick.ui.widgets.meter import draw_meter
from tests.ui.fake_feed import tied, untied

ROOMS = {"compact": (30, 12), "middle": (34, 14), "home": (40, 20), "large": (58, 30)}


def snapshot(window: Reading, step: Reading | None = None, **more) -> Snapshot:
    return Snapshot(Phase.RECORDING, window=window, step=step or window, step_seconds=32.0, **more)


def drawn(reading: Reading, room: str = "compact", glyphs=ASCII, reach_db: float = 12.0, **more) -> list[str]:
    rows = draw_meter(snapshot(reading, **more), Room(*ROOMS[room], glyphs), window_s=30.0, reach_db=reach_db)
    return [text_of(line).rstrip() for line in rows]


def test_figures_are_five_rows_of_blocks():
    rows = [text_of(line) for line in figures("10.4", Role.NUMBER, ASCII)]
    assert rows == [
        "  ##    ######      ##  ##",
        "####    ##  ##      ##  ##",
        "  ##    ##  ##      ######",
        "  ##    ##  ##          ##",
        "######  ######  ##      ##",
    ]
    assert figures_width("10.4") == 26
    assert len(figures("10.4", Role.NUMBER, ASCII, scale=2)) == 10


@pytest.mark.parametrize("room", ROOMS)
def test_a_tied_reading_says_all_that_matters_at_every_size(room):
    page = " ".join("\n".join(drawn(tied(6.2), room)).split())
    for words in ("last 30 s", "5.9 to 6.5 dB", "TIED TO POLLING", "142 polls", "I/N +5.0 dB"):
        assert words in page
    assert "N -62.3 I -57.3 dBFS" in page
    assert "00:32 6.2 +- 0.3 tied" in page


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("glyphs", [ASCII, UNICODE], ids=["ascii", "unicode"])
@pytest.mark.parametrize(
    "reading",
    [tied(0.4), tied(6.2), tied(47.9), untied(), Reading(3, 2.0), replace(untied(), polls=99999)],
    ids=["weak", "middling", "strong", "no tie", "too few", "many polls"],
)
def test_nothing_is_wider_or_higher_than_the_panel(room, glyphs, reading):
    width, height = ROOMS[room]
    picture = snapshot(reading, latency=Latency(Estimate(0.083, 0.0828, 0.0832), modulo_s=0.2))
    rows = draw_meter(picture, Room(width, height, glyphs), window_s=30.0, reach_db=48.0)
    assert len(rows) <= height
    assert max(width_of(line) for line in rows) <= width


def test_figures_stand_still_whatever_the_number():
    ends = {len(drawn(tied(value))[5]) for value in (0.4, 6.2, 11.1, 47.9)}
    assert len(ends) == 1


def test_where_nothing_was_found_the_upper_limit_stands_in_place_of_i_over_n():
    page = "\n".join(drawn(untied(), "home"))
    assert "NO TIE FOUND" in page
    assert "I/N at most -15.9 dB" in page
    assert "I   --.- dBFS" in page
    assert "TIED" not in page


def test_too_few_polls_give_dashes_and_no_number():
    lines = drawn(Reading(3, 2.0))
    assert "NOT ENOUGH DATA" in "\n".join(lines)
    assert "--.- to --.-" in "\n".join(lines)
    assert "3 polls: too few" in lines[-1]
    assert set("".join(lines[1:6])) <= set("# dB")


def test_the_interval_is_drawn_where_it_is():
    bar = drawn(tied(6.2), "home", reach_db=12.0)[10]
    assert bar.startswith("0 -")
    assert bar.endswith(" 12 dB")
    track = bar[2:-6]
    assert track.index("#") == pytest.approx(len(track) / 2, abs=1)
    assert track[track.index("#") - 1] == track[track.index("#") + 1] == "="


def test_an_interval_beyond_the_scale_stays_on_it():
    bar = next(line for line in drawn(tied(20.0), reach_db=12.0) if line.startswith("0 "))
    assert bar.endswith("# 12 dB")


def test_warnings_are_shown_in_full_where_there_is_room_and_cut_short_where_not():
    assert "modulo 200 ms" in " ".join(drawn(untied(), "large"))
    short = drawn(untied(), "middle")
    assert len(short) == 14
    assert short[-1].endswith("..")


def test_a_tied_reading_alone_takes_the_accent():
    for reading, accented in ((tied(), True), (untied(), False), (Reading(3, 2.0), False)):
        rows = draw_meter(snapshot(reading), Room(40, 20, UNICODE), window_s=30.0, reach_db=12.0)
        assert any(run.role is Role.RISE for line in rows for run in line) is accented


def test_the_verdict_is_a_word():
    words = {"TIED TO POLLING", "NO TIE FOUND", "NOT ENOUGH DATA", "CONTROL, NO POLLS"}
    assert {v.value.upper() for v in Verdict} == words
