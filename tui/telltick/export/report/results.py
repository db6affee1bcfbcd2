"""The results of a session as sections: steps, sound, changes, findings, what to test next."""

from __future__ import annotations

from collections.abc import Sequence

from telltick.export.report.answer import on_air_answer
from telltick.export.report.story import Column, Section, Table
from telltick.export.report.words import (
    NONE,
    at_least,
    clock,
    count,
    difference,
    known,
    level,
    numbers,
    odds,
    said,
    setup_words,
    step_words,
    warning,
)
from telltick.export.values import audio_s, bits_words, numbered_steps
from telltick.model.answers import Answers, Change, Finding, NextTest, PathVerdict
from telltick.model.characteristics import CharacterRate, CoherentAverage, Heard
from telltick.model.evidence import Evidence
from telltick.model.measurement import Measurement, StepReading
from telltick.model.on_air import OnAir
from telltick.model.readings import Reading, Verdict

SURE_DB = 0.5  # an excess known to within this is known well enough


def steps_section(evidence: Evidence) -> Section:
    """Each step by itself, all together, and setups that came more than once."""
    measurement = evidence.measurement
    rows = [_step_row(evidence, one) for one in measurement.steps]
    rows.append(("all", "", "all steps together", *_reading_cells(measurement.whole)))
    columns = (
        Column("Step", "short"),
        Column("Audio time", "time"),
        Column("Changed"),
        Column("Polls", "number"),
        Column("N, dBFS", "number"),
        Column("I, dBFS", "number"),
        Column("Excess, dB (95 %)", "number"),
        Column("Verdict", "verdict"),
    )
    tables = [Table("Steps", columns, tuple(rows), tuple(_step_notes(measurement)))]
    pooled = _setups_table(measurement.answers)
    figures = ("steps",) if any(known(one.reading.excess_db) for one in measurement.steps) else ()
    return Section("steps", "Steps", tables=(*tables, *pooled), figures=figures)


def _step_row(evidence: Evidence, one: StepReading) -> tuple[str, ...]:
    session, step = evidence.session, one.step
    span = f"{clock(audio_s(session, step.start_ns))} to {clock(audio_s(session, step.end_ns))}"
    return (str(step.index + 1), span, step_words(step), *_reading_cells(one.reading))


def _reading_cells(reading: Reading) -> tuple[str, ...]:
    nothing = "none found" if reading.verdict is Verdict.NO_TIE else NONE
    interference = level(reading.interference_dbfs) if reading.interference_dbfs is not None else nothing
    verdict = str(reading.verdict)
    if reading.verdict is Verdict.NO_TIE and reading.upper_limit_i_over_n_db is not None:
        verdict += f" (I/N below {level(reading.upper_limit_i_over_n_db, 'dB')})"
    return (
        f"{reading.polls:,}",
        level(reading.noise_dbfs),
        interference,
        difference(reading.excess_db, ""),
        verdict,
    )


def _step_notes(measurement: Measurement) -> list[str]:
    notes, alike = [], dict[str, list[int]]()
    for one in measurement.steps:
        if one.more_s:
            notes.append(
                f"Step {one.step.index + 1} needs about {one.more_s:.0f} s more for an excess known to "
                f"within {SURE_DB:g} dB."
            )
        for text in one.reading.warnings:
            alike.setdefault(warning(text), []).append(one.step.index + 1)
    return notes + [f"{numbered_steps(steps).capitalize()}: {text}" for text, steps in alike.items()]


def _setups_table(answers: Answers) -> list[Table]:
    """Setups measured in more than one step, with what drifted between."""
    again = [one for one in answers.setups if len(one.steps) > 1]
    if not again:
        return []
    first = answers.setups[0].setup
    rows = []
    for one in again:
        differs = [factor for factor in one.setup if one.setup[factor] != first.get(factor)]
        words = setup_words(one.setup, differs) or "as it was to begin with"
        drift = difference(one.drift_db, "") + (" (the bench drifted)" if one.drifted else "")
        rows.append((words, numbers(one.steps), *_reading_cells(one.reading)[3:], drift))
    columns = (
        Column("Setup"),
        Column("Steps", "short"),
        Column("Excess, dB (95 %)", "number"),
        Column("Verdict", "verdict"),
        Column("Widest difference between them, dB", "number"),
    )
    return [Table("Setups that were measured more than once, pooled", columns, tuple(rows))]


def sound_section(evidence: Evidence) -> Section:
    """What it looks and sounds like: spectra, portrait, loudness, character rate, clips."""
    measurement = evidence.measurement
    facts = list(_characteristics(measurement))
    told = [one for one in measurement.steps if one.heard is not None or not one.passed_over]
    rows = [_sound_row(f"{one.step.index + 1}", one.heard, one.character) for one in told]
    heard = any(any(cell != NONE for cell in row[1:]) for row in rows)
    columns = (
        Column("Step", "short"),
        Column("Noise alone, dBqps", "number"),
        Column("With the polls, dBqps", "number"),
        Column("Louder by, dB", "number"),
        Column("Character rate heard"),
    )
    note = "Loudness is the quasi-peak reading of Rec. ITU-R BS.468-4, which rates clicks as an ear does."
    tables = (Table("How it sounds", columns, tuple(rows), (note,)),) if heard else ()
    figures = tuple(
        name
        for name, there in (("spectrum", measurement.spectrum), ("portrait", measurement.portrait))
        if there
    )
    return Section(
        "sound",
        "What it looks and sounds like",
        facts=tuple(facts),
        tables=tables,
        figures=figures,
        clips=bool(evidence.clips),
    )


def _characteristics(measurement: Measurement) -> list[tuple[str, str]]:
    rows = []
    portrait, bits, period = measurement.portrait, measurement.bits, measurement.period
    if portrait is not None:
        rows.append(("Around a poll", f"{portrait.carrier} ({count(portrait.polls, 'poll')} averaged)"))
    if bits is not None:
        because = said(bits.because) or odds(bits.log10_e)
        rows.append(("Waveform predicted from the bytes", f"{bits_words(bits.heard)}. {because}"))
    if measurement.coherent is not None:
        rows.append(("Average of bursts with the same bytes", _coherent_words(measurement.coherent)))
    if period is not None:
        seconds = period.seconds
        between = f"{seconds.low:.5f} to {seconds.high:.5f}"
        rows.append(("Rhythm in the audio alone", f"one beat each {seconds.value:.5f} s ({between})"))
    if measurement.trial is not None:
        rows.append(("Coin trial", _trial_words(measurement)))
    return rows


def _coherent_words(one: CoherentAverage) -> str:
    kind = "replies" if one.reply else "requests"
    share = one.i_over_n_db
    return (
        f"{one.bursts} {kind} share interference of {share.value:+.1f} dB over the noise "
        f"({share.low:+.1f} to {share.high:+.1f}); the average gains {one.gain_db:.1f} dB on it"
    )


def _trial_words(measurement: Measurement) -> str:
    trial = measurement.trial
    if trial is None:
        return NONE
    words = f"{count(trial.cycles, 'cycle')} of {trial.slots} slots, {odds(trial.log10_e)}"
    if known(trial.difference_db):
        words += f"; drawn slots {difference(trial.difference_db)} against the others"
    left = f"; {count(trial.left_out, 'cycle')} left out by rule" if trial.left_out else ""
    return f"{words}{left}"


def _sound_row(name: str, heard: Heard | None, character: CharacterRate | None) -> tuple[str, ...]:
    rate = NONE
    if character is not None:
        rate = f"{character.baud} baud" + (f" {character.framing}" if character.framing else "")
    if heard is None:
        return name, NONE, NONE, NONE, rate
    louder = NONE if heard.more_db is None else f"{heard.more_db:+.1f}"
    return name, level(heard.floor_db), level(heard.polled_db), louder, rate


def on_air_section(evidence: Evidence) -> Section:
    """Would it matter in use?"""
    measurement = evidence.measurement
    rows = [
        _on_air_row(f"{one.step.index + 1}", one.on_air)
        for one in measurement.steps
        if one.on_air is not None
    ]
    if measurement.on_air is not None:
        rows.append(_on_air_row("all", measurement.on_air))
    if not rows:
        return Section("on-air", "Would it matter on the air?")
    columns = (
        Column("Step", "short"),
        Column("Place"),
        Column("N", "number"),
        Column("I", "number"),
        Column("Band noise expected, dBm", "number"),
        Column("I over it, dB", "number"),
        Column("Verdict", "verdict"),
    )
    note = "Band noise: median man-made or galactic noise of Rec. ITU-R P.372, with its decile range."
    table = Table("Levels at the antenna socket", columns, tuple(rows), (note,))
    return Section("on-air", "Would it matter on the air?", on_air_answer(measurement), tables=(table,))


def _on_air_row(name: str, one: OnAir) -> tuple[str, ...]:
    place = f"{one.environment}, {one.frequency_hz / 1e6:.3f} MHz"
    noise = f"{level(one.noise_dbm, 'dBm')} ({one.noise_s})" if one.noise_s else level(one.noise_dbm, "dBm")
    interference = "none found"
    if one.interference_dbm is not None:
        interference = f"{level(one.interference_dbm, 'dBm')} ({one.interference_s})"
    expected = f"{one.expected.dbm:.0f} ({one.expected.low_dbm:.0f} to {one.expected.high_dbm:.0f})"
    over = NONE if one.over_expected_db is None else f"{one.over_expected_db:+.1f}"
    return name, place, noise, interference, expected, over, said(one.verdict)


def changes_section(evidence: Evidence) -> Section:
    """What each change did."""
    answers = evidence.measurement.answers
    if not answers.changes:
        return Section("changes", "Changes", ("No change was made that two measured steps could tell of.",))
    columns = (
        Column("Changed"),
        Column("Steps", "short"),
        Column("Excess, dB", "number"),
        Column("I, dB", "number"),
        Column("N, dB", "number"),
        Column("Verdict", "verdict"),
    )
    notes = (
        [f"{count(answers.comparisons, 'comparison')} corrected for (Holm 1979)."]
        if answers.comparisons
        else []
    )
    rows = tuple(_change_row(one) for one in answers.changes)
    table = Table("Differences, after less before", columns, rows, tuple(notes))
    return Section("changes", "Changes", tables=(table,))


def change_words(change: Change) -> str:
    """``antenna: beam to dummy load``; every factor that differs."""
    parts = []
    for factor in change.factors:
        before, after = (
            said(side.get(factor, "not on record"), 80) for side in (change.before, change.after)
        )
        parts.append(f"{said(factor, 60)}: {before} to {after}")
    return ", ".join(parts)


def _change_row(change: Change) -> tuple[str, ...]:
    what = change_words(change)
    if len(change.factors) > 1:
        what += " (at once: none is blamed alone)"
    steps = f"{numbers(change.before_steps)} to {numbers(change.after_steps)}"
    if change.swaps > 1:
        steps += f" ({change.swaps} swaps combined)"
    more = f" (about {count(change.more_polls, 'more poll')} a side)" if change.more_polls else ""
    interference = difference(change.interference_db, "")
    if change.interference_db is None and change.interference_at_least_db is not None:
        interference = at_least(change.interference_at_least_db)
    deltas = (difference(change.excess_db, ""), interference, difference(change.noise_db, ""))
    return (what, steps, *deltas, f"{change.words}{more}")


def findings_section(evidence: Evidence) -> Section:
    """What the steps say of each way in; what was not tested is told apart."""
    findings = evidence.measurement.answers.findings
    tested = [one for one in findings if one.verdict is not PathVerdict.NOT_TESTED]
    if not tested:
        return Section("findings", "Findings: ways in", ("The session has no findings about the way in.",))
    columns = (
        Column("Question"),
        Column("Verdict", "verdict"),
        Column("Because"),
        Column("Steps", "short"),
        Column("Reasoning", "soft"),
    )
    table = Table("What the steps say of each way in", columns, tuple(map(_finding_row, tested)))
    return Section("findings", "Findings: ways in", tables=(table,))


def _finding_row(one: Finding) -> tuple[str, ...]:
    question = said(one.question) or said(one.path)
    return question, str(one.verdict), said(one.because), numbers(one.steps), said(one.reasoning, 1000)


def not_tested_section(evidence: Evidence) -> Section:
    """The ways in of which the session says nothing."""
    findings = evidence.measurement.answers.findings
    left = [one for one in findings if one.verdict is PathVerdict.NOT_TESTED]
    return Section("not-tested", "What was not tested", items=tuple(map(_untested_words, left)))


def _untested_words(one: Finding) -> str:
    why = said(one.because).removeprefix("Not tested: ")
    return f"{said(one.question) or said(one.path)} {why[:1].upper()}{why[1:]}".rstrip()


def next_section(evidence: Evidence) -> Section:
    """The tests that would say most."""
    return Section("next", "What to test next", items=tuple(map(_next_words, _next(evidence))))


def _next(evidence: Evidence) -> Sequence[NextTest]:
    return evidence.measurement.answers.next_tests


def _next_words(test: NextTest) -> str:
    words = f"{said(test.factor, 60)}: {said(test.value, 80)}. {said(test.because)}"
    return f"{words} Caution: {said(test.caution)}" if test.caution else words
