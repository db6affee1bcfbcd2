"""Sessions side by side as a report: what a few differ in, or a table of many."""

from __future__ import annotations

from telltick.export.comparison_figures import basis_words, deciding, figure_name
from telltick.export.report.story import Column, Section, Story, Table
from telltick.export.report.words import (
    NONE,
    at_least,
    count,
    difference,
    joined,
    lasting,
    level,
    numbers,
    said,
    setup_words,
)
from telltick.model.answers import ChangeVerdict
from telltick.model.comparison import Levels, MatchedSetup, SessionComparison, SessionLine, SessionPair
from telltick.model.readings import Verdict

QUESTION = "Did the interference change from one session to the other?"
QUESTION_OF_MANY = "What do the sessions show, side by side?"


def comparison_story(compared: SessionComparison) -> Story:
    """Question, answer and sections."""
    sections = [sessions_section(compared)]
    sections += [pair_section(compared, pair) for pair in compared.pairs]
    sections.append(_reading_section(compared))
    many = not compared.pairs
    return Story(
        title="Sessions side by side",
        subtitle=f"{count(len(compared.sessions), 'session')}",
        question=QUESTION_OF_MANY if many else QUESTION,
        answer=(_of_many(compared),) if many else tuple(_of_pair(compared, one) for one in compared.pairs),
        sections=tuple(section for section in sections if not section.empty),
    )


def _of_many(compared: SessionComparison) -> str:
    good = [one for one in compared.sessions if not one.problem]
    tied = sum(one.whole.verdict is Verdict.TIED for one in good)
    words = f"{tied} of {count(len(good), 'session')} {'is' if tied == 1 else 'are'} tied to polling."
    bad = len(compared.sessions) - len(good)
    return f"{words} {count(bad, 'session')} could not be measured." if bad else words


def _of_pair(compared: SessionComparison, pair: SessionPair) -> str:
    before, after = (said(compared.sessions[index].name, 80) for index in (pair.before, pair.after))
    if not pair.setups:
        return f"{after} cannot be compared with {before}: no setup matches."
    verdicts: dict[str, list[str]] = {}
    for one in pair.setups:
        verdicts.setdefault(_verdict_words(one), []).append(_setup_words(one))
    parts = [f"{word} with {joined(setups)}" for word, setups in verdicts.items()]
    return f"From {before} to {after}: {'; '.join(parts)}."


def _verdict_words(one: MatchedSetup) -> str:
    """The verdict, and by how much where it changed."""
    if one.change is None:
        return "not comparable"
    by = deciding(one.change)
    if one.change.verdict is not ChangeVerdict.CHANGED or by is None:
        return one.change.words
    return f"{basis_words(one.change)} changed by {difference(by)}"


def _setup_words(one: MatchedSetup) -> str:
    return setup_words(one.setup) or "the one setup that both have"


def sessions_section(compared: SessionComparison) -> Section:
    """One row a session; sessions that could not be measured below it, with the reason."""
    columns = (
        Column("Session"),
        Column("Recorded", "short", spare=True),
        Column("Audio", "number", spare=True),
        Column("Steps", "number", spare=True),
        Column("Polls", "number"),
        Column("N, dBFS", "number"),
        Column("Highest excess, dB (95 %)", "number"),
        Column("in setup"),
        Column("Verdict", "verdict"),
    )
    good = [one for one in compared.sessions if not one.problem]
    bad = [one for one in compared.sessions if one.problem]
    tables = (Table("One row a session", columns, tuple(map(_line, good))),) if good else ()
    items = tuple(f"{said(one.name, 80)} could not be measured: {said(one.problem)}" for one in bad)
    return Section("sessions", "Sessions", tables=tables, items=items)


def _line(one: SessionLine) -> tuple[str, ...]:
    when = (one.started_utc or NONE)[:16].replace("T", " ")
    top = difference(one.top.excess_db, "") if one.top else "none found"
    setup = setup_words(one.top_setup) or ("as it was to begin with" if one.top else "")
    counts = (str(one.steps), f"{one.whole.polls:,}", level(one.whole.noise_dbfs))
    return (said(one.name, 80), when, lasting(one.seconds), *counts, top, setup, str(one.whole.verdict))


def pair_section(compared: SessionComparison, pair: SessionPair) -> Section:
    """One session against the first."""
    before, after = (said(compared.sessions[index].name, 80) for index in (pair.before, pair.after))
    facts = tuple(
        (f"Differs throughout: {said(factor, 60)}", f"{said(a, 80)} to {said(b, 80)}")
        for factor, (a, b) in pair.differing.items()
    )
    columns = (
        Column("Setup"),
        Column("Steps", "short"),
        Column("Excess, dB", "number"),
        Column("I, dB", "number"),
        Column("N, dB", "number"),
        Column("Verdict", "verdict"),
    )
    rows = tuple(_setup_row(one) for one in pair.setups)
    tables = (Table(f"{after} less {before}, setup by setup", columns, rows),) if rows else ()
    left = [
        f"Only in {name}: {'; '.join(setup_words(one) or 'its one setup' for one in unmatched)}."
        for name, unmatched in ((before, pair.only_before), (after, pair.only_after))
        if unmatched
    ]
    key = f"pair-{pair.after + 1}"
    title = f"{before} and {after}"
    drawn = any(deciding(one.change) is not None for one in pair.setups)
    return Section(
        key,
        title,
        facts=facts,
        tables=tables,
        items=(*map(said, pair.notes), *left),
        figures=(figure_name(pair),) if drawn else (),
    )


def _setup_row(one: MatchedSetup) -> tuple[str, ...]:
    steps = f"{numbers(one.before_steps)} / {numbers(one.after_steps)}"
    change = one.change
    if change is None:
        return (_setup_words(one), steps, NONE, NONE, NONE, "not comparable")
    interference = difference(change.interference_db, "")
    if change.interference_db is None and change.interference_at_least_db is not None:
        interference = at_least(change.interference_at_least_db)
    apart = (
        (interference, difference(change.noise_db, ""))
        if one.levels is not Levels.NONE
        else (Levels.NONE,) * 2
    )
    cells = (difference(change.excess_db, ""), *apart)
    more = f" (about {count(change.more_polls, 'more poll')} a side)" if change.more_polls else ""
    return (_setup_words(one), steps, *cells, f"{change.words}{more}")


def _reading_section(compared: SessionComparison) -> Section:
    """How to read the tables."""
    if not compared.pairs:
        return Section("reading", "How to read this", ())
    bound = f"{compared.bound_db:g} dB"
    corrected = f"{count(compared.comparisons, 'comparison')} corrected for (Holm 1979)."
    text = (
        f'"no change within {bound}" means that a difference of {bound} or more is refused by two one-sided '
        f'tests at 5 %, "changed" that "no difference at all" is; {corrected}',
        "N and I are compared at the antenna socket where both sessions are calibrated, and else in dBFS "
        "where the same input recorded both at the same gains. What changed between two sessions besides "
        "what was written down, the recordings cannot tell.",
    )
    return Section("reading", "How to read this", text)
