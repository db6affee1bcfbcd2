"""Captions, read back with webvtt-py, an independent implementation of W3C WebVTT."""

from __future__ import annotations

import io

import webvtt
from hypothesis import given
from hypothesis import strategies as st

from telltick.export.vtt_out import captions_vtt
from telltick.model.marks import Mark, MarkKind
from tests.export.scene import session


def cues(text: str) -> list[webvtt.Caption]:
    return list(webvtt.from_buffer(io.StringIO(text)))


def test_a_change_is_shown_while_hands_are_on_and_a_note_for_three_seconds():
    read = cues(captions_vtt(session()))
    assert [(cue.start, cue.end) for cue in read] == [
        ("00:00:09.000", "00:00:13.000"),
        ("00:00:19.000", "00:00:22.000"),
        ("00:00:24.000", "00:00:27.000"),
        ("00:00:44.000", "00:01:00.000"),  # 5 s are lost in the gap; hands are still on at the end
    ]
    assert read[0].raw_text == "antenna: dummy load\nscrewed on"
    assert read[3].raw_text == "cable: hands on"


def test_markup_in_a_note_is_escaped():
    raw = cues(captions_vtt(session()))[1].raw_text
    assert raw == "note\n=1+2 &lt;b&gt;&amp;amp; --&gt; red abc - end"


@given(st.text(), st.text(), st.text(), st.integers(0, 10**12))
def test_no_mark_however_written_breaks_the_file(factor, value, note, t_ns):
    mark = Mark(1, t_ns, t_ns, MarkKind.CHANGE, factor, value, note)
    text = captions_vtt(session(marks=(mark,)))
    (cue,) = cues(text)
    assert cue.identifier == "mark-1"
    assert cue.start_in_seconds < cue.end_in_seconds
    assert "<" not in cue.raw_text
    assert text.count("-->") == 1
    assert text.isascii() or text.encode("utf-8")


def test_hours_are_counted_on():
    late = Mark(1, 200_000 * 10**9, 200_000 * 10**9, MarkKind.PLAIN)
    (cue,) = cues(captions_vtt(session(marks=(late,), samples=200_100 * 48_000, clock=_long_clock())))
    assert cue.start == "55:33:20.000"


def _long_clock():
    from telltick.model.clock import Anchor, AudioClock

    return AudioClock(48_000, [Anchor(0, 0, 0, 0)], 200_100 * 48_000)
