"""Tables of bursts and marks: what is written is read, what is wrong is told with its line."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telltick.model.errors import BadInputError
from telltick.model.marks import Mark, MarkKind
from telltick.model.traffic import Burst, Direction
from telltick.sources.tables import read_bursts_csv, read_marks_csv

BURSTS = "start_s,end_s,direction,bytes_hex\n"
MARKS = "time_s,factor,value,note\n"


@pytest.fixture
def write(tmp_path):
    def write(text: str | bytes) -> Path:
        path = tmp_path / "table.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_bursts_are_read_in_order_of_time(write):
    assert read_bursts_csv(write(BURSTS + "1.25,1.5,rx,52 46 3B\n0.000000001,0.5,TX,\n")) == (
        Burst(1, 500_000_000, Direction.TX, b""),
        Burst(1_250_000_000, 1_500_000_000, Direction.RX, b"RF;"),
    )


def test_marks_become_changes_notes_and_plain_marks(write):
    text = MARKS + '3,,,"a note, with ""quotes"""\n1,antenna,dummy load,tightened\n2,,,\n'
    assert read_marks_csv(write(text)) == (
        Mark(1, 10**9, 10**9, MarkKind.CHANGE, "antenna", "dummy load", "tightened"),
        Mark(2, 2 * 10**9, 2 * 10**9, MarkKind.PLAIN),
        Mark(3, 3 * 10**9, 3 * 10**9, MarkKind.NOTE, note='a note, with "quotes"'),
    )


def test_columns_may_come_in_any_order_and_marks_may_leave_some_out(write):
    assert read_bursts_csv(write("bytes_hex,direction,end_s,start_s\n00,tx,2,1\n"))[0].data == b"\x00"
    assert read_marks_csv(write("time_s,note\n1,hello\n"))[0].note == "hello"


@pytest.mark.parametrize("text", [
    "\ufeff" + BURSTS + "1,2,tx,00\n", BURSTS.replace("\n", "\r\n") + "1,2,tx,00\r\n", BURSTS + "1,2,tx,00",
    BURSTS + "\n1,2,tx,00\n\n , ,,\n",
])  # fmt: skip
def test_files_of_every_editor_are_read(write, text):
    assert len(read_bursts_csv(write(text))) == 1


def test_a_table_with_a_header_alone_is_empty(write):
    assert read_bursts_csv(write(BURSTS)) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", r"line 1: the header must be start_s,end_s,direction,bytes_hex"),
        ("1,2,tx,00\n", r"line 1: the header must be"),
        ("start_s,end_s,direction\n", r"line 1: the header must be"),
        ("start_s,end_s,direction,bytes_hex,start_s\n", r"line 1: the header must be"),
        (BURSTS + "1,2,tx,00\n2,1,tx,00\n", r"line 3: end_s \(1\) must be later than start_s \(2\)"),
        (BURSTS + "2,2,tx,00\n", r"line 2: end_s"),
        (BURSTS + "soon,2,tx,00\n", r"line 2: start_s must be a number of seconds, not 'soon'"),
        (BURSTS + "nan,2,tx,00\n", r"line 2: start_s must be 0 to"),
        (BURSTS + "1,inf,tx,00\n", r"line 2: end_s must be 0 to"),
        (BURSTS + "-1,2,tx,00\n", r"line 2: start_s must be 0 to"),
        (BURSTS + "1,1e300,tx,00\n", r"line 2: end_s must be 0 to"),
        (BURSTS + "1,2,up,00\n", r"line 2: direction must be tx or rx, not 'up'"),
        (BURSTS + "1,2,tx,0g\n", r"line 2: bytes_hex must be hex digits, not '0g'"),
        (BURSTS + "1,2,tx,0\n", r"line 2: bytes_hex must be hex digits"),
        (BURSTS + "1,2,tx,\u0661\u0662\n", r"line 2: bytes_hex must be hex digits"),
        (BURSTS + "1,2,tx," + "00" * 65_537 + "\n", r"line 2: "),
        (BURSTS + "1,2,tx\n", r"line 2: it has 3 cells, but the header has 4"),
        (BURSTS + "1,2,tx,00,9\n", r"line 2: it has 5 cells"),
        (BURSTS + '1,2,tx,"00\n', r"line 2: "),
        (BURSTS.encode() + b"1,2,tx,\xff\n", r"not UTF-8 text"),
        (BURSTS.encode() + b"1,2,tx,\x00\n", r"line 2: "),
    ],
)  # fmt: skip
def test_what_is_wrong_with_bursts_is_told_with_its_line(write, text, said):
    with pytest.raises(BadInputError, match=said) as caught:
        read_bursts_csv(write(text))
    assert "\n" not in str(caught.value)
    assert "table.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (MARKS + "1,antenna,,\n", r"line 2: a change needs a factor and a value; the value is empty"),
        (MARKS + "1,,beam,\n", r"line 2: .* the factor is empty"),
        (MARKS + "1,,," + "x" * 2001 + "\n", r"line 2: note may have 2000 characters at most"),
        (MARKS + "1," + "x" * 201 + ",y,\n", r"line 2: factor may have 200"),
        (MARKS + ",,,hello\n", r"line 2: time_s must be a number"),
        ("note\nhello\n", r"line 1: the header must be time_s,factor,value,note"),
        ("time_s,colour\n", r"line 1: the header must be"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_marks_is_told_with_its_line(write, text, said):
    with pytest.raises(BadInputError, match=said):
        read_marks_csv(write(text))


def test_the_line_told_is_the_line_in_an_editor(write):
    text = MARKS + '1,,,"two\nlines"\n2,,,fine\nbad,,,\n'
    with pytest.raises(BadInputError, match="line 5: time_s"):
        read_marks_csv(write(text))


def test_a_file_that_is_missing_is_told(tmp_path):
    with pytest.raises(BadInputError, match="cannot be read"):
        read_bursts_csv(tmp_path / "nowhere.csv")
    with pytest.raises(BadInputError, match="cannot be read"):
        read_marks_csv(tmp_path)


@given(st.lists(st.tuples(
    st.integers(0, 10**15), st.integers(1, 10**12), st.sampled_from(Direction), st.binary(max_size=40),
), max_size=10))  # fmt: skip
def test_what_the_csv_module_writes_is_read_to_the_nanosecond(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("t") / "bursts.csv"
    bursts = sorted((Burst(start, start + length, way, data) for start, length, way, data in rows), key=str)
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["start_s", "end_s", "direction", "bytes_hex"])
        for one in bursts:
            writer.writerow(
                [f"{one.start_ns / 1e9:.9f}", f"{one.end_ns / 1e9:.9f}", one.direction, one.data.hex()]
            )
    assert sorted(read_bursts_csv(path), key=lambda b: (b.start_ns, b.end_ns, b.data)) == sorted(
        bursts, key=lambda b: (b.start_ns, b.end_ns, b.data)
    )


@given(st.binary(max_size=200))
def test_junk_never_gives_anything_but_a_clear_error(tmp_path_factory, junk):
    path = tmp_path_factory.mktemp("t") / "junk.csv"
    path.write_bytes(BURSTS.encode() + junk)
    try:
        assert isinstance(read_bursts_csv(path), tuple)
    except BadInputError as error:
        assert str(path) in str(error)  # noqa: PT017
