"""What is missing or doubtful in a session as a whole, one sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from telltick.engine.told import untold_s
from telltick.model.marks import Step
from telltick.model.readings import Latency
from telltick.model.session import CUT_SHORT
from telltick.model.text import plain_text
from telltick.store.session import SessionReader


def session_warnings(reader: SessionReader, latency: Latency | None, polls: int) -> list[str]:
    """Why values of the whole session are missing or doubtful."""
    said = []
    if not reader.audio.samples:
        said.append("The session holds no audio.")
    said += [
        f"{plain_text(note.note, 300).capitalize()}." for note in reader.health if note.kind == CUT_SHORT
    ][:1]
    if not polls:
        said.append("No serial traffic falls into the audio: interference cannot be told from noise.")
    elif latency is None:
        said.append("latency_ms: no latency stands out; nothing in the audio follows the bytes.")
    elif latency.modulo_s is not None:
        said.append(
            f"latency_ms: known only modulo the poll period of {1000 * latency.modulo_s:.1f} ms: "
            "the polls are too regular for so weak a tie."
        )
    if reader.ending is None:
        said.append("The session has no ending: it is still being recorded, or its recorder was killed.")
    missing_s = untold_s(reader)
    if missing_s:
        said.append(
            f"The last {missing_s:.0f} s of audio are not measured: another program kept the journal locked, "
            "and what the line said meanwhile is not in it."
        )
    if reader.gaps:
        count = len(reader.gaps)
        said.append(f"Audio is missing in {count} place{'s' if count > 1 else ''}.")
    return said


def standing_baud(steps: Sequence[Step], planned: Any) -> int | None:
    """The character rate, when it was the same throughout."""
    values = {step.setup["baud"] for step in steps if "baud" in step.setup}
    if not values:
        return int(planned) if planned else None
    one = values.pop()
    return int(one) if not values and one.isdigit() else None
