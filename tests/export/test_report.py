"""The report as a page: whole in itself, valid, honest about what is missing, safe with any text.

References: html5lib, an independent implementation of the HTML parsing rules (strict: every parse error is an
error); soundfile for the clips.
"""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace

import html5lib
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from telltick.export.report.page import report_html, story_html
from telltick.export.report.sound import PEAK, common_gain
from telltick.export.report.telling import story_of
from telltick.model.answers import NO_ANSWERS
from telltick.model.clock import AudioClock
from telltick.model.evidence import Clip
from telltick.model.marks import Mark, MarkKind
from telltick.model.measurement import Measurement
from telltick.model.readings import PollingFacts, Reading, Verdict
from tests.export.scene import EVIL, FACTS, RATE, session
from tests.export.story import clips, evidence, full_measurement

ELEMENT = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def page() -> str:
    return report_html(evidence())


def parsed(text: str):
    """The page as a tree; any parse error of the HTML standard fails."""
    return html5lib.HTMLParser(strict=True).parse(text)


def words(text: str) -> str:
    return " ".join(" ".join(parsed(text).itertext()).split())


def test_the_page_keeps_to_the_parsing_rules_of_html(page):
    root = parsed(page)
    assert root.find(f"{ELEMENT}head/{ELEMENT}title").text.startswith("Interference made by serial polling")
    assert root.get("lang") == "en"


def test_it_needs_no_network_and_no_script(page):
    root = parsed(page)
    names = {element.tag for element in root.iter() if isinstance(element.tag, str)}
    assert not names & {f"{ELEMENT}{tag}" for tag in ("script", "link", "iframe", "object", "embed", "form")}
    references = [
        value
        for element in root.iter()
        for name, value in element.attrib.items()
        if str(name).split("}")[-1] in ("src", "href", "srcset", "action", "data")
    ]
    assert {value.split(":")[0].split("#")[0] for value in references} <= {"data", ""}
    assert not re.search(r"url\((?!#)", page)
    assert "@import" not in page


def test_the_answer_stands_before_everything_else(page):
    said = words(page)
    assert said.index("Yes: while bytes flow") < said.index("Findings") < said.index("Steps")
    assert "+14.2 dB (+13.9 to +14.5)" in said
    assert "odds of 20000 to 1 against chance" in said


def test_every_figure_is_named_and_described(page):
    figures = list(parsed(page).iter(f"{SVG}svg"))
    assert len(figures) == 4
    for figure in figures:
        title, description = figure.find(f"{SVG}title"), figure.find(f"{SVG}desc")
        assert len(title.text) > 10
        assert len(description.text) > 30
        assert figure.get("aria-labelledby").split() == [title.get("id"), description.get("id")]


def test_no_two_things_on_the_page_have_the_same_id(page):
    ids = [element.get("id") for element in parsed(page).iter() if element.get("id")]
    assert len(ids) == len(set(ids))


def test_the_clips_play_and_keep_their_loudness_among_each_other(page):
    sounds = [element.get("src") for element in parsed(page).iter(f"{ELEMENT}audio")]
    heard = []
    for uri in sounds:
        kind, data = uri.split(",")
        assert kind == "data:audio/flac;base64"
        samples, rate = soundfile.read(io.BytesIO(base64.b64decode(data)))
        assert rate == RATE
        heard.append(np.std(samples))
    made = [np.std(clip.samples) for clip in clips()]
    np.testing.assert_allclose(np.array(heard) / heard[0], np.array(made) / made[0], rtol=0.01)
    assert "Start with low volume" in words(page)


def test_a_clip_at_a_level_of_its_own_does_not_set_that_of_the_others():
    loud = Clip("alone", "Alone", "", np.array([0.9, -0.9]), RATE, own_level=True)
    soft = Clip("quiet", "Quiet", "", np.array([0.05, -0.05]), RATE)
    assert common_gain([loud, soft]) == pytest.approx(PEAK / 0.05)
    assert common_gain([]) == 1.0


def test_a_report_with_clips_of_five_seconds_stays_below_five_megabytes():
    noise = np.random.default_rng(1).normal(0, 0.1, 5 * RATE)
    three = tuple(Clip(f"{n}", "Noise", "", noise, RATE) for n in range(3))
    assert len(report_html(evidence(clips=three))) < 5_000_000


def test_checksums_versions_cautions_and_limits_are_on_it(page):
    said = words(page)
    for text in ("a" * 64, "journal.sqlite", "numpy 2.3", "Never transmit into a small dummy load", "AES17"):
        assert text in said


def test_what_was_not_tested_and_what_to_test_next_are_told(page):
    said = words(page)
    assert "Through the supply?" in said
    assert "supply: battery. It splits the rest. Caution: Never transmit" in said


def test_a_verdict_that_was_not_reached_is_not_made_up():
    nothing = Measurement(
        PollingFacts(0, None, None, None, "", 0.0), None, Reading(0, 0.0), (), answers=NO_ANSWERS
    )
    empty = session(clock=AudioClock(RATE), samples=0, bursts=(), marks=(), gaps=(), ending=None)
    bare = evidence(session=empty, measurement=nothing, clips=(), timeline=None, files=(), versions={})
    said = words(report_html(bare))
    assert "It cannot be told: no serial traffic is on record" in said
    assert "Which way it comes in was not tested" in said
    assert "not measured" in said
    assert "Yes:" not in said


def test_no_tie_is_told_with_its_limit_and_never_as_no_interference():
    calm = Reading(200, 100.0, -60.0, verdict=Verdict.NO_TIE, upper_limit_i_over_n_db=-14.2)
    told = replace(full_measurement(), steps=(), whole=calm, answers=NO_ANSWERS)
    said = words(report_html(evidence(measurement=told)))
    assert "No tie was found" in said
    assert "-14.2 dB" in said
    assert "no interference" not in said.lower()


def test_markup_in_a_note_stays_text(page):
    assert "<b>" not in page.split("</style>")[1]
    assert "\x1b" not in page
    assert "=1+2 <b>&amp; -->" in words(page)


texts = st.text(max_size=60) | st.sampled_from(
    [EVIL, "</style><script>alert(1)</script>", "{{ 7*7 }}", "']]>\"", "$x^2$ \\frac", "\x00\x1b]0;x\x07"]
)


@settings(
    max_examples=12,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],  # a page takes too long to look for the shortest bad text
    suppress_health_check=[HealthCheck.too_slow],
)
@given(texts, texts, texts)
def test_no_text_from_outside_breaks_the_page(name, value, note):
    marks = (Mark(1, 10 * 10**9, 14 * 10**9, MarkKind.CHANGE, name, value, note),)
    strange = session(facts=replace(FACTS, name=name, setup={name: value}, host=note), marks=marks)
    measured = full_measurement()
    first = measured.steps[1]
    step = replace(first, step=replace(first.step, setup={name: value}, changed=(name,)))
    measured = replace(measured, steps=(step,), warnings=(note,), spectrum=None, portrait=None)
    made = evidence(
        session=strange, measurement=measured, clips=(), timeline=None, versions={name: value}, program=note
    )
    text = report_html(made)
    tags = {element.tag.split("}")[-1] for element in parsed(text).iter() if isinstance(element.tag, str)}
    assert not tags & {"script", "b", "x"}
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", text)


def test_a_thousand_steps_still_make_a_report():
    many = full_measurement()
    step = many.steps[0]
    steps = tuple(replace(step, step=replace(step.step, index=n)) for n in range(1000))
    text = report_html(evidence(measurement=replace(many, steps=steps), clips=()))
    assert len(text) < 3_000_000


def test_the_same_evidence_makes_the_same_page():
    assert report_html(evidence()) == report_html(evidence())


def test_a_story_without_figures_is_a_page_too():
    story = replace(story_of(evidence()), sections=())
    parsed(story_html(story, {}))
