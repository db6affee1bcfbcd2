"""What the numbers on each panel and page mean, how they are worked out, and where the method comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from telltick.model.cautions import ALL


@dataclass(frozen=True)
class Term:
    """Something on screen.

    Attributes:
        name: as it stands there.
        means: what it says to the reader.
        how: how it is worked out; empty where that goes without saying.
        source: where the method or definition is published; empty for our own conventions.
    """

    name: str
    means: str
    how: str = ""
    source: str = ""


@dataclass(frozen=True)
class Topic:
    """A page of explanations.

    Attributes:
        title: its heading.
        terms: what it explains.
    """

    title: str
    terms: tuple[Term, ...]


_EXCESS = Term(
    "excess",
    "how far the noise rises while bytes flow: 10 log10((I + N) / N), in dB.",
    "The power in 300-2700 Hz while the bytes of a poll flow is held against quiet slots of the same length "
    "beside it. The mean over polls lets wild ones count less (bisquare weights).",
    "Beaton and Tukey, Technometrics 16 (1974)",
)
_INTERVAL = Term(
    "95 %",
    "of 100 such intervals about 95 hold the true value. A wide one asks for more polls.",
    "From the spread between blocks of polls, with Student's t; the method's own error is added.",
    "Student, Biometrika 6 (1908)",
)
_LEVELS = Term(
    "N, I",
    "noise floor, and what is added while bytes flow, in dBFS. Steady tones and hum are left out.",
    "0 dBFS is the r.m.s. of a full-scale sine.",
    "AES17",
)
_VERDICT = Term(
    "verdict",
    "tied to polling: chance alone would say so in less than 1 of 100 sessions. No tie found: nothing "
    "follows the bytes, and I/N lies below the limit shown; it never means that there is no interference.",
    "Each poll is held against the slots beside it; what the search for the latency costs is paid.",
    "e-values: Ramdas et al., Statistical Science 38 (2023)",
)
_HANDS_ON = Term(
    "hands-on time",
    "from a change's key to its Enter. It is left out of every measurement, and so is what you touch in it.",
)

TOPICS: Mapping[str, Topic] = {
    "meter": Topic(
        "meter",
        (
            _EXCESS,
            _INTERVAL,
            _VERDICT,
            _LEVELS,
            Term(
                "I/N",
                "the same as the excess in another form: 10 log10(I / N); 0 dB is as strong as the floor.",
            ),
            Term("I/N at most", "upper end of a one-sided 95 % interval: what may still be there unseen."),
            Term(
                "this step",
                "the reading since the newest change; the large figures are of the last 30 s of it.",
            ),
            Term(
                "latency",
                "how far the sound lags behind the bytes: sound card, radio and computer together.",
                "The lag at which the power of the audio follows the bytes best. A key locks it for this "
                "screen; 'measure --latency-ms' does so for the numbers.",
            ),
        ),
    ),
    "spectrum": Topic(
        "spectrum",
        (
            Term(
                "quiet, rise",
                "mean level per 47 Hz while no bytes flow, and what stands above it while they do.",
            ),
            Term("floor", "the quiet spectrum without steady tones: a running median over frequency."),
            Term("heavy axis", "the band that is measured, 300-2700 Hz."),
            Term("x on the axis", "a steady tone or hum: shown, but left out of the measurement."),
        ),
    ),
    "strip": Topic(
        "polls and sound",
        (
            Term("ask, reply", "bytes to the radio and from it, in session time."),
            Term(
                "sound",
                "level in 300-2700 Hz, moved by the latency, so that what a byte causes stands over it.",
            ),
            Term("marks", "the letter of the key that made the mark; # where there is none."),
        ),
    ),
    "setup": Topic(
        "setup, marks and steps",
        (
            _HANDS_ON,
            Term("step", "a stretch of session with one setup. A change ends one and begins the next."),
            Term("late", "a mark made in replay: kept, told apart, and never cutting steps."),
            Term("undo", "withdraws your newest mark; the journal keeps both the mark and its withdrawal."),
        ),
    ),
    "input": Topic(
        "input",
        (
            Term("bar", "r.m.s. level over the last second; the line across it is the largest sample."),
            Term(
                "clips",
                "samples at full scale in the last ten seconds: turn the audio down until there are none.",
            ),
            Term("gaps", "audio that was lost; the two sides of a gap are never joined."),
        ),
    ),
    "steps": Topic(
        "results: steps",
        (
            _EXCESS,
            _INTERVAL,
            Term(
                "+-0.5 dB",
                "how much longer a step must last until its excess is known to half a dB either way.",
                "The interval shrinks with the root of the number of polls.",
            ),
            Term(
                "heard",
                "how much louder it sounds while polled: clicks tire more than their power tells.",
                "Weighting for the ear and a quasi-peak meter.",
                "Rec. ITU-R BS.468-4",
            ),
            Term(
                "pooled",
                "steps with the same setup, taken together. If they differ by more than chance, the bench "
                "drifted by itself.",
            ),
            _HANDS_ON,
        ),
    ),
    "changes": Topic(
        "results: changes",
        (
            Term(
                "I, N, excess", "after less before, each with its 95 % interval. The one pointed at decides."
            ),
            Term(
                "no change",
                "the whole interval lies within the bound: surely alike to that much. That nothing was "
                "found is not enough.",
                "Two one-sided t tests against the bound.",
                "Schuirmann, J. Pharmacokin. Biopharm. 15 (1987)",
            ),
            Term(
                "changed",
                "chance says it of one bench in twenty at most, watched while the polls grow twentyfold.",
                "Where many pairs are compared, each has to be surer: Holm's method. Every look has a "
                "twelfth of the level: Pocock's boundary.",
                "Holm, Scand. J. Statist. 6 (1979); Pocock, Biometrika 64 (1977)",
            ),
            Term("undecided", "neither is sure; the number of polls that would probably decide it is told."),
            Term(
                "scale", "even up to the bound, then ever tighter, so that 0.5 dB and 20 dB can both be seen."
            ),
            Term("together", "several factors changed at once: no single one can be blamed."),
        ),
    ),
    "findings": Topic(
        "results: findings",
        (
            Term("+ supported", "the steps speak for this way in."),
            Term(
                "- ruled out", "the steps speak against it, by an equivalence test or by a change elsewhere."
            ),
            Term("? undecided", "it was tried, but the intervals are too wide."),
            Term("! contradictory", "steps say different things: test again, one change at a time."),
            Term(". not tested", "no step bears on it."),
            Term(
                "what to test next", "the untested factor that would tell the ways that are left apart best."
            ),
        ),
    ),
    "portrait": Topic(
        "portrait of a poll",
        (
            Term(
                "curve",
                "mean power around a poll, in dB over the floor; solid where even the lower end of the 95 "
                "% band stands above it.",
                "1 ms cells, latency taken out; the band is from the spread between blocks of polls.",
            ),
            Term(
                "carrier",
                "which bytes the interference comes with.",
                "The audio is matched with request, reply, both, the wait, and the whole poll; the best "
                "must lead every other by three standard errors.",
            ),
            Term(
                "heard",
                "level as the ear minds it, without and with polls, in dBqps.",
                "",
                "Rec. ITU-R BS.468-4",
            ),
            Term(
                "character rate",
                "the baud whose bits have the spectrum of the rise: then the data line itself is heard.",
                "Correlation with the spectrum predicted for each rate.",
            ),
        ),
    ),
    "trial": Topic(
        "coin trial",
        (
            Term(
                "odds",
                "by how much a gambler who bets on the drawn slots being louder would have grown his "
                "stake. They hold at every moment: look and stop whenever you like.",
                "Fair bets on each draw, multiplied (an e-process); the chance of ever reaching 1000 to 1 "
                "by luck is at most 1 in 1000.",
                "Ville (1939); Ramdas et al., Statistical Science 38 (2023)",
            ),
            Term(
                "drawn slots louder by", "level in the drawn slots less that in the others, while bytes flow."
            ),
            Term(
                "left out by rule",
                "polls during gaps or hands-on time: rules that cannot know the draw.",
            ),
            Term(
                "seed",
                "the draws repeat from it: slot = SHA-256 of the text seed:leg:cycle modulo the slots.",
                "",
                "FIPS 180-4",
            ),
            Term(
                "until",
                "time to the odds it ends at, if they go on to grow as over the newer half of the polls. "
                "This screen ends it there; without one it goes on, unless telltick ask began it with odds.",
            ),
        ),
    ),
    "cautions": Topic("cautions", tuple(Term(f"{k}", text) for k, text in enumerate(ALL, 1))),
}
PANELS = ("meter", "spectrum", "strip", "setup", "input")
