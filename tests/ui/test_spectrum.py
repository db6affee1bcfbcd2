import itertools
from dataclasses import replace

import numpy as np
import pytest

from telltick.model.characteristics import CharacterRate
from telltick.model.framing import Framing
from telltick.model.marks import Mark, MarkKind
from telltick.model.readings import Band, Spectrum
from telltick.model.snapshot import InputHealth, Phase, Snapshot
from telltick.ui.columns import LEAST_RISE_DB, Columns, pooled_db
from telltick.ui.glyphs import ASCII, UNICODE
from telltick.ui.rows import Role, Room, text_of, width_of
from telltick.ui.scales import LevelScale
from telltick.ui.widgets.spectrum import missing_words
from telltick.ui.widgets.spectrum_picture import MARGIN, Sight, SpectrumPicture, draw_spectrum, teeth_hz
from tests.ui.fake_feed import spectrum

FREQ = np.arange(0, 24_000, 46.875)
BAND = Band()
SCALE = LevelScale(-110, -80)


def flat(quiet_db: float, active_db: float) -> Spectrum:
    full = np.full(len(FREQ), 1.0)
    return Spectrum(FREQ, quiet_db * full, active_db * full, quiet_db * full, np.zeros(len(FREQ), bool))


def drawn(shown: Spectrum | None, glyphs=ASCII, width=46, height=13, scale=SCALE) -> list[str]:
    columns = None if shown is None else Columns.of(shown, width - MARGIN)
    return [text_of(line) for line in draw_spectrum(columns, scale, BAND, Room(width, height, glyphs))]


def test_a_rise_of_nine_db_stands_solid_on_the_floor():
    # Ten rows of three dB: the floor at -101 lies three rows up, the rise ends three rows higher.
    rows = drawn(flat(-101.0, -92.0))
    assert [line[:MARGIN] for line in rows[1:11]] == [
        " -80 +", "     |", "     |", " -90 +", "     |", "     |", "-100 +", "     |", "     |", "-110 +",
    ]  # fmt: skip
    assert [line[MARGIN:] for line in rows[1:11]] == [" " * 40] * 4 + ["#" * 40] * 3 + [":" * 40] * 3


def test_without_a_rise_the_floor_is_a_line_and_nothing_is_solid():
    rows = drawn(flat(-101.0, -101.0 + LEAST_RISE_DB / 2))
    assert "#" not in "".join(rows[1:])
    assert [line[MARGIN:] for line in rows[7:9]] == ["_" * 40, ":" * 40]


def test_in_unicode_the_top_of_a_rise_is_drawn_to_an_eighth_of_a_row():
    tops = [drawn(flat(-101.0, level), UNICODE)[5][MARGIN] for level in (-94.6, -94.25, -93.5, -92.75, -92.0)]
    assert tops == ["▁", "▂", "▄", "▆", "█"]


def test_rise_differs_from_quiet_in_glyph_and_in_colour():
    columns = Columns.of(flat(-101.0, -92.0), 40)
    rows = draw_spectrum(columns, SCALE, BAND, Room(46, 13, UNICODE))
    runs = {run.text[0]: run.role for line in rows[1:11] for run in line if run.text.strip()}
    assert runs[UNICODE.full] is Role.RISE
    assert runs[UNICODE.quiet] is Role.QUIET
    assert runs[UNICODE.surface] is Role.FLOOR_IN_RISE


def test_the_axis_is_heavy_where_it_is_measured_and_labelled_in_hertz():
    rows = drawn(flat(-101.0, -92.0), width=86)
    assert rows[-2].startswith("dBFS  ")
    heavy = [x for x, char in enumerate(rows[-2]) if char == "="]
    assert heavy[0] - MARGIN == pytest.approx(300 / 3400 * 80, abs=1)
    assert heavy[-1] - MARGIN == pytest.approx(2700 / 3400 * 80, abs=1)
    assert rows[-1].split() == ["500", "Hz", "1000", "1500", "2000", "2500", "3000"]


def test_steady_tones_are_marked_on_the_axis():
    shown = spectrum(6.2)
    rows = drawn(shown, width=86)
    marked = [x - MARGIN for x, char in enumerate(rows[-2]) if char == "x"]
    assert any(abs((x + 0.5) * 3400 / 80 - 1450) < 60 for x in marked)


def test_the_title_names_the_highest_rise_where_there_is_room():
    assert "9.0 dB at" in drawn(flat(-101.0, -92.0), width=80)[0]
    assert "none to be seen" in drawn(flat(-101.0, -101.0), width=80)[0]
    assert "rise" in drawn(flat(-101.0, -92.0), width=46)[0]


def test_before_the_first_audio_the_panel_says_so():
    assert "waiting for audio" in "\n".join(drawn(None))


def test_a_missing_spectrum_is_put_down_to_audio_only_where_there_is_none():
    mark = Mark(1, 0, None, MarkKind.CHANGE, "antenna")
    heard = Snapshot(Phase.RECORDING, health=InputHealth(-30.0, -12.0))
    assert missing_words(Snapshot(Phase.RECORDING)) == "waiting for audio"
    assert missing_words(heard) == "audio comes in, a few seconds more"
    assert "Enter when it is done" in missing_words(replace(heard, open_mark=mark))
    rows = draw_spectrum(None, SCALE, BAND, Room(46, 13, ASCII), Sight(missing=missing_words(heard)))
    assert any("a few seconds more" in text_of(line) for line in rows)


@pytest.mark.parametrize("glyphs", [ASCII, UNICODE], ids=["ascii", "unicode"])
@pytest.mark.parametrize(("width", "height"), [(46, 10), (49, 8), (79, 20), (141, 33)])
def test_rows_fill_the_room_exactly(width, height, glyphs):
    columns = Columns.of(spectrum(6.2), width - MARGIN)
    rows = draw_spectrum(columns, SCALE, BAND, Room(width, height, glyphs))
    assert len(rows) == height
    assert {width_of(line) for line in rows} == {width}


def test_unknown_levels_leave_their_columns_empty():
    nan = np.full(len(FREQ), np.nan)
    rows = drawn(Spectrum(FREQ, nan, nan, nan, np.zeros(len(FREQ), bool)))
    assert all(not line[MARGIN:].strip() for line in rows[1:11])


def test_pooling_keeps_the_mean_power():
    # Parseval: the energy between two edges is the same however it is cut into columns.
    rng = np.random.default_rng(3)
    level = rng.normal(-90, 4, len(FREQ))
    edges = np.linspace(0, 3400, 75)
    pooled = np.sum(10 ** (pooled_db(FREQ, level, edges) / 10) * np.diff(edges))
    inside = np.clip(np.minimum(FREQ + 23.4375, 3400) - np.maximum(FREQ - 23.4375, 0), 0, None)
    assert pooled == pytest.approx(np.sum(10 ** (level / 10) * inside), rel=1e-9)


def test_pooling_leaves_unknown_bins_out():
    level = np.full(len(FREQ), -90.0)
    level[::2] = np.nan
    assert pooled_db(FREQ, level, np.linspace(0, 3400, 20)) == pytest.approx(np.full(19, -90.0))


def test_blanks_beside_a_rise_keep_the_ground_of_the_screen():
    # Where the floor's line runs through a rise, the cell's ground is the rise's colour.
    half = np.where(FREQ < 1700, -101.0, np.nan)
    shown = Spectrum(FREQ, half, half + 9, half, np.zeros(len(FREQ), bool))
    rows = draw_spectrum(Columns.of(shown, 80), SCALE, BAND, Room(86, 14, UNICODE))
    through = [run.text for line in rows for run in line if run.role is Role.FLOOR_IN_RISE]
    assert through
    assert set("".join(through)) == {UNICODE.surface}


def test_what_lies_below_the_axis_is_not_drawn_on_its_edge():
    rows = drawn(flat(-130.0, -120.0), UNICODE)
    assert all(not line[MARGIN:].strip() for line in rows[1:11])


# ---- cursor, zoom, hold, comb

COMB = CharacterRate(9600, Framing(), 0.8, 0.2)


def test_the_cursor_reads_quiet_polls_and_rise_in_its_column():
    columns = Columns.of(flat(-101.0, -92.0), 80)
    hz = float(columns.centre_hz[30])
    rows = [text_of(r) for r in draw_spectrum(columns, SCALE, BAND, Room(86, 14, ASCII), Sight(cursor_hz=hz))]
    assert f"{hz:4.0f} Hz  quiet -101.0  while bytes flow  -92.0  rise   9.0 dB" in rows[0]
    assert rows[1][MARGIN + 30] == ":"
    assert rows[-2][MARGIN + 30] == "A"


@pytest.mark.parametrize("width", [46, 60, 80, 140])
def test_the_readout_fits_its_panel(width):
    columns = Columns.of(flat(-101.0, -92.0), width - MARGIN)
    rows = draw_spectrum(columns, SCALE, BAND, Room(width, 12, UNICODE), Sight(cursor_hz=1500.0))
    assert "Hz" in text_of(rows[0])
    assert "9.0 dB" in text_of(rows[0])
    assert {width_of(line) for line in rows} == {width}


def test_the_comb_of_a_character_rate_lies_on_multiples_of_baud_over_bits():
    # Start and stop bits repeat with every character: 9600 baud and 10 bits a character give 960 Hz.
    assert teeth_hz(COMB, (0, 3400)).tolist() == [960, 1920, 2880]
    two_stop_bits = CharacterRate(4800, Framing(stop_bits=2), 0.8, 0.2)
    assert teeth_hz(two_stop_bits, (300, 2700))[0] == pytest.approx(4800 / 11)
    shifted = CharacterRate(9600, Framing(), 0.8, 0.2, shift_hz=100.0)
    assert teeth_hz(shifted, (0, 3400)).tolist() == [100, 1060, 2020, 2980]


def test_the_comb_is_marked_and_named_where_it_was_found_and_nowhere_else():
    columns = Columns.of(flat(-101.0, -92.0), 80)
    with_comb, without = (
        [text_of(r) for r in draw_spectrum(columns, SCALE, BAND, Room(86, 14, ASCII), Sight(comb=comb))]
        for comb in (COMB, None)
    )
    at = [x - MARGIN for x, char in enumerate(with_comb[-2]) if char == "^"]
    assert at == [int(hz / 3400 * 80) for hz in (960, 1920, 2880)]
    assert "comb of 9600 baud" in with_comb[0]
    assert "^" not in without[-2]
    assert "comb" not in without[0]


def test_a_comb_too_close_to_be_drawn_is_named_only():
    columns = Columns.of(flat(-101.0, -92.0), 80)
    slow = CharacterRate(300, Framing(), 0.8, 0.2)
    rows = [text_of(r) for r in draw_spectrum(columns, SCALE, BAND, Room(86, 14, ASCII), Sight(comb=slow))]
    assert "^" not in rows[-2]
    assert "comb of 300 baud" in rows[0]


@pytest.mark.parametrize("span", [(0.0, 3400.0), (300.0, 2700.0), (960.0, 1960.0)])
@pytest.mark.parametrize("width", [49, 80, 142])
def test_every_span_has_three_frequency_labels_at_least(span, width):
    columns = Columns.of(flat(-101.0, -92.0), width - MARGIN, span)
    rows = draw_spectrum(columns, SCALE, BAND, Room(width, 14, ASCII), Sight(span_hz=span))
    labels = [int(word) for word in text_of(rows[-1]).split() if word.isdigit()]
    assert len(labels) >= 3
    assert all(span[0] < hz < span[1] for hz in labels)
    assert len({b - a for a, b in itertools.pairwise(labels)}) == 1


def test_a_picture_drawn_on_shows_what_a_new_one_would():
    room = Room(86, 14, UNICODE)
    kept = SpectrumPicture(room, SCALE, BAND)
    assert "waiting" in "".join(text_of(line) for line in kept.draw(None, Sight()))
    for seed, excess_db, sight in [
        (1, 6.0, Sight()),
        (2, 6.0, Sight(cursor_hz=1500.0)),
        (3, 0.0, Sight(comb=COMB)),
        (4, 9.0, Sight((300, 2700), 2699.0, COMB, held="0:01:02")),
    ]:
        columns = Columns.of(spectrum(excess_db, seed), 80, sight.span_hz)
        assert kept.draw(columns, sight) == SpectrumPicture(room, SCALE, BAND).draw(columns, sight)


def test_the_word_that_stands_for_a_missing_spectrum_goes_when_there_is_one_again():
    room = Room(60, 16, UNICODE)
    picture = SpectrumPicture(room, SCALE, BAND)
    columns = Columns.of(spectrum(6.0), room.width - MARGIN)
    first = picture.draw(columns, Sight())
    assert any("waiting for audio" in text_of(line) for line in picture.draw(None, Sight()))
    assert picture.draw(columns, Sight()) == first
