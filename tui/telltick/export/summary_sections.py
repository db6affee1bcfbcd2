"""Sections of the summary: what it is like, levels on the air, changes, findings, what to test next.

Each takes the object that ``measure --json`` prints and returns lines of at most a hundred columns; none
where there is nothing to say.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from telltick.export.values import bits_words

WIDTH = 100
_LEAD = 2
_ORDER = ("supported", "contradictory", "ruled out", "undecided")
Document = dict[str, Any]


def sound_lines(document: Document) -> list[str]:
    """What the interference is like where it stands out most."""
    period = document.get("period")
    said = [] if period is None else [period["verdict"]]
    said += [*_carrier(document.get("portrait")), *_rate(document.get("character_rate"))]
    bits = document.get("bits")
    if bits is not None:
        said.append(f"{bits_words(bits['heard'])}. {bits['because']}")
    said += _heard(document.get("heard"))
    return _section("What it is like, where it stands out most", [wrapped(text) for text in said])


def _carrier(portrait: Document | None) -> list[str]:
    if portrait is None:
        return []
    if portrait["carrier"] == "cannot tell":
        return ["which bytes of a poll carry it cannot be told"]
    return [f"{portrait['carrier']} (ahead by {portrait['lead']:.0f} standard errors)"]


def _rate(rate: Document | None) -> list[str]:
    if rate is None:
        return []
    framing = f" {rate['framing']}" if rate["framing"] else ""
    shifted = f", its spectrum shifted by {rate['shift_hz']:.0f} Hz" if rate["shift_hz"] else ""
    return [f"its spectrum is that of {rate['baud']} baud{framing}{shifted}"]


def _heard(heard: Document | None) -> list[str]:
    if heard is None or heard["floor_db"] is None:
        return []
    if heard["polled_db"] is None:
        return [f"to the ear {heard['floor_db']:.1f} dBqps (ITU-R BS.468-4)"]
    more_db = heard["polled_db"] - heard["floor_db"]
    levels = f"{heard['polled_db']:.1f} dBqps while polled, {heard['floor_db']:.1f} without"
    return [f"to the ear {more_db:+.1f} dB: {levels} (ITU-R BS.468-4)"]


def air_lines(document: Document) -> list[str]:
    """Levels at the antenna socket, step by step."""
    steps = [step for step in document["steps"] if step.get("on_air")]
    if not steps:
        return []
    rows = [f"{'step':<6}{'N dBm':>8}  {'':<10}{'I dBm':>8}  {'':<10}{'expected':>9}  would it matter?"]
    for step in steps:
        air = step["on_air"]
        over_db = air["over_expected_db"]
        by = "" if over_db is None else f" by {abs(over_db):.0f} dB"
        by = "" if air["verdict"].startswith("about") else by
        rows.append(
            f"{step['index'] + 1:<6}{_level(air['noise_dbm'])}  {air['noise_s']:<10}"
            f"{_level(air['interference_dbm'])}  {air['interference_s'] or '':<10}"
            f"{_level(air['expected']['dbm'], 9)}  {air['verdict']}{by}"
        )
    air = steps[0]["on_air"]
    where = f"{air['environment']} place at {air['frequency_hz'] / 1e6:.3f} MHz"
    title = f"On the air (median band noise of a {where}, ITU-R P.372)"
    return _section(title, [[" " * _LEAD + row] for row in rows])


def _level(value: float | None, width: int = 8) -> str:
    return f"{'-':>{width}}" if value is None else f"{value:>{width}.0f}"


def change_lines(document: Document) -> list[str]:
    """What each change did."""
    changes = document["changes"]
    count = document.get("comparisons") or 0
    corrected = f" ({count} comparisons, corrected for that: Holm 1979)" if count > 1 else ""
    said = [_beside(change["verdict"], _because_of(change), 25) for change in changes]
    return _section(f"Changes{corrected}", said)


def _because_of(change: Document) -> str:
    more = change.get("more_polls")
    because = str(change.get("because") or change["factor"])
    if change["verdict"] != "undecided" or not more:
        return because
    return f"{because} About {more} more polls a side would decide it."


def finding_lines(document: Document) -> list[str]:
    """What the steps say of each way in; those not tested in one line."""
    findings = document["findings"]
    said = [
        _beside(one["verdict"], f"{one.get('question') or one['path']} {one['because']}", 15)
        for verdict in _ORDER
        for one in findings
        if one["verdict"] == verdict
    ]
    untested = [one["path"] for one in findings if one["verdict"] == "not tested"]
    if untested:
        said.append(_beside("not tested", ", ".join(untested), 15))
    return _section("Ways in", said)


def next_lines(document: Document) -> list[str]:
    """What to test next, the three best."""
    said = []
    for one in (document.get("next_tests") or [])[:3]:
        caution = f" Caution: {one['caution']}" if one["caution"] else ""
        said.append(_beside(f"{one['factor']}: {one['value']}", f"{one['because']}{caution}", 25))
    return _section("What to test next", said)


def wrapped(text: str, lead: int = _LEAD) -> list[str]:
    """A sentence in lines of a hundred columns."""
    return textwrap.wrap(text, WIDTH, initial_indent=" " * lead, subsequent_indent=" " * (lead + 2))


def _beside(head: str, text: str, column: int) -> list[str]:
    """A word or two, and a text beside it; below it where the words fill the column."""
    lead, indent = f"{' ' * _LEAD}{head:<{column}}", " " * (_LEAD + column)
    if not text:
        return [lead.rstrip()]
    if len(head) >= column:
        return [lead, *textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)]
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=indent)


def _section(title: str, paragraphs: Sequence[Sequence[str]]) -> list[str]:
    lines = [line for paragraph in paragraphs for line in paragraph]
    return ["", title, *lines] if lines else []
