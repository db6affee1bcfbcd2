"""Marks as WebVTT captions (W3C) on the timeline of the audio."""

from __future__ import annotations

from telltick.export.values import audio_s
from telltick.model.document import SessionDocument
from telltick.model.marks import Mark, MarkKind
from telltick.model.text import plain_text

SHOWN_S = 3.0  # a caption without a length of its own stays this long
_NOTE_LIMIT = 500


def captions_vtt(session: SessionDocument) -> str:
    """One cue for each mark that stands; a change is shown from the start of its hands-on time to its end."""
    blocks = [
        "WEBVTT",
        f"NOTE\n{_escaped(session.facts.name, 200)}: marks of the session, in seconds of audio",
    ]
    for mark in session.marks:
        start_s = audio_s(session, mark.t_ns)
        if start_s is not None:
            end_s = max(_end_s(session, mark), start_s + SHOWN_S)
            blocks.append(f"mark-{mark.number}\n{_stamp(start_s)} --> {_stamp(end_s)}\n{_caption(mark)}")
    return "\n\n".join(blocks) + "\n"


def _end_s(session: SessionDocument, mark: Mark) -> float:
    if mark.hands_on:
        return session.seconds
    return audio_s(session, mark.settled_ns) or 0.0


def _caption(mark: Mark) -> str:
    if mark.kind is MarkKind.CHANGE:
        value = "hands on" if mark.value is None else mark.value
        text = f"{mark.factor or 'change'}: {value}"
    else:
        text = "note" if mark.kind is MarkKind.NOTE else "mark"
    lines = [_escaped(text, 200)]
    if mark.note:
        lines.append(_escaped(mark.note, _NOTE_LIMIT))
    return "\n".join(line for line in lines if line)


def _escaped(text: str, limit: int) -> str:
    """One line of cue text without markup: W3C WebVTT forbids bare ``&``, ``<`` and ``-->``."""
    plain = plain_text(text, limit)
    return plain.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _stamp(seconds: float) -> str:
    """WebVTT timestamp ``HH:MM:SS.mmm``; hours may have more digits."""
    ms = round(max(seconds, 0.0) * 1000)
    hours, ms = divmod(ms, 3_600_000)
    minutes, ms = divmod(ms, 60_000)
    whole, ms = divmod(ms, 1000)
    return f"{hours:02d}:{minutes:02d}:{whole:02d}.{ms:03d}"
