"""The terminal summary: whole texts, and laws that hold for any reading."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.model import (
    FLAG_SENTENCES,
    Diastolic,
    Finding,
    FindingState,
    Flag,
    Gap,
    Lag,
    Reading,
    Reason,
    Rhythm,
    Rule,
    Source,
    State,
    Status,
    Threshold,
)
from tapfall.summary import confidence_word, summary_text, written
from tests.files.made import bare_reading, full_reading, plain_reading

SOURCE = Source(audio_name="arm.wav", audio_sha256="ab", cuff_name="arm.csv", cuff_sha256="cd")

PLAIN = """\
arm.wav with arm.csv

128/82 mmHg   ok

Systolic    128 mmHg   (124 to 131)  confidence high (0.98)
Diastolic   82 mmHg    (80 to 86)    confidence fair (0.87)  last sound (K5)
Also        first silence 79 mmHg
Pulse       72 per minute, regular

Rounded to the nearest mmHg; ranges hold 95 %; confidence, calibrated on
simulated sounds, is the chance of being within 4 mmHg of what an expert hears
with this noise or without it, or between the two.
For education and research; not a medical device and not for diagnosis. Local
protocols and licensed practice decide.
"""

FULL = """\
at least 190 / 71 / 0 mmHg   review: a person should check it

Systolic    at least 190 mmHg
Diastolic   71 mmHg    (68 to 74)    confidence fair (0.88)  muffling (K4)
Silent gap  150 down to 122 mmHg   confidence fair (0.90)
Pulse       72 per minute, irregular
Lag         the log's times are 1.25 s late (found)
Manometer   stated error +-3 mmHg, not part of the ranges

Check:
  - Very high (above 180 or 120 mmHg): repeat after a few minutes and follow the
    local emergency protocol.
  - Sounds were there from the top: the systolic may be higher; inflate further
    next time.
  - Sounds go on to zero, or may do so: the diastolic is the muffling (K4).

Note:
  - Noise is close to the level of the sounds.
  - Silent gap: the sounds vanish and return between systolic and diastolic.

Technique:
  - deflation rate: 5.1 mmHg/s, expected 2 to 3; systolic reads low.

Rounded to the nearest mmHg; ranges hold 95 %; confidence, calibrated on
simulated sounds, is the chance of being within 4 mmHg of what an expert hears
with this noise or without it, or between the two.
For education and research; not a medical device and not for diagnosis. Local
protocols and licensed practice decide.
"""

BARE = """\
Unreadable: no sounds in step with the heart were found while the cuff fell.

For education and research; not a medical device and not for diagnosis. Local
protocols and licensed practice decide.
"""


@pytest.mark.parametrize(
    ("reading", "source", "text"),
    [
        (plain_reading(), SOURCE, PLAIN),
        (full_reading(), None, FULL),
        (bare_reading(), None, BARE),
    ],
)
def test_whole_texts(reading: Reading, source: Source | None, text: str) -> None:
    assert summary_text(reading, source) == text


def test_a_simulated_recording_is_called_so() -> None:
    names, rest = PLAIN.split("\n", 1)
    simulated = f"{names}\nSimulated: no person was measured.\n{rest}"
    assert summary_text(plain_reading(), SOURCE, simulated=True) == simulated


def test_colour_marks_the_headline_alone() -> None:
    coloured = summary_text(plain_reading(), SOURCE, colour=True)
    assert coloured == PLAIN.replace("128/82 mmHg   ok", "\x1b[1m128/82 mmHg   ok\x1b[0m")


@pytest.mark.parametrize(
    ("systolic", "diastolic", "text"),
    [
        (128.5, 81.49, "129/81"),
        (127.5, 80.5, "128/81"),
        (99.9, 59.6, "100/60"),
    ],
)
def test_values_are_rounded_to_the_nearest(systolic: float, diastolic: float, text: str) -> None:
    assert written(plain_reading(systolic, diastolic)) == text


def test_bounds_are_said_in_words() -> None:
    reading = replace(
        plain_reading(),
        status=Status.REVIEW,
        diastolic=Diastolic(state=State.NOT_REACHED, high_mmhg=60.2, reason=Reason.SOUNDS_TO_END),
        flags=(Flag.DIASTOLIC_NOT_REACHED,),
    )
    text = summary_text(reading)
    assert text.startswith("128 / at most 60 mmHg   review: a person should check it\n")
    assert "\nDiastolic   at most 60 mmHg\n" in text


def test_what_is_undetermined_says_why() -> None:
    reading = replace(
        plain_reading(),
        status=Status.REVIEW,
        systolic=Threshold(state=State.UNDETERMINED, reason=Reason.TOO_UNCERTAIN),
    )
    text = summary_text(reading)
    assert text.startswith("? / 82 mmHg   review")
    assert "\nSystolic    not determined\n" in text
    assert "  - Systolic: several values explain the sounds about equally well.\n" in text


@pytest.mark.parametrize(
    ("rule", "also"),
    [
        (Rule.LAST_SOUND, "first silence 79, muffling (K4) 90 mmHg"),
        (Rule.FIRST_SILENCE, "muffling (K4) 90 mmHg"),
        (Rule.K4, "first silence 79 mmHg"),
    ],
)
def test_the_other_rules_stand_below(rule: Rule, also: str) -> None:
    plain = plain_reading()
    reading = replace(
        plain,
        diastolic=replace(plain.diastolic, rule=rule),
        muffling=Threshold(state=State.OBSERVED, mmhg=90.0),
    )
    assert f"\nAlso        {also}\n" in summary_text(reading)


VERY_HIGH = "Very high (above 180 or 120 mmHg): repeat after a few minutes"


@pytest.mark.parametrize(
    ("systolic", "diastolic", "warned"),
    [(180.0, 120.0, False), (180.1, 80.0, True), (150.0, 120.1, True), (119.0, 79.0, False)],
)
def test_very_high_values(systolic: float, diastolic: float, warned: bool) -> None:
    assert (VERY_HIGH in summary_text(plain_reading(systolic, diastolic))) is warned


@pytest.mark.parametrize(("bound", "warned"), [(180.0, False), (190.0, True)])
def test_very_high_bounds(bound: float, warned: bool) -> None:
    reading = replace(plain_reading(), systolic=Threshold(state=State.NOT_REACHED, low_mmhg=bound))
    assert (VERY_HIGH in summary_text(reading)) is warned


@pytest.mark.parametrize(
    ("confidence", "word"),
    [
        (1.0, "high (>0.99)"),
        (0.99, "high (0.99)"),
        (0.95, "high (0.95)"),
        (0.9451, "high (0.95)"),
        (0.9449, "fair (0.94)"),
        (0.8, "fair (0.80)"),
        (0.7949, "low (0.79)"),
        (0.01, "low (0.01)"),
        (0.0, "low (<0.01)"),
    ],
)
def test_words_for_confidence(confidence: float, word: str) -> None:
    plain = plain_reading()
    reading = replace(plain, systolic=replace(plain.systolic, confidence=confidence))
    assert f"confidence {word}\n" in summary_text(reading)
    assert word.startswith(confidence_word(round(confidence, 2)))


def finding(check: str, state: FindingState, bias: str | None = None) -> Finding:
    """A finding of 5.2 mmHg/s."""
    return Finding(
        check=check,
        state=state,
        found="5.2",
        expected="2 to 3",
        unit="mmHg/s",
        source="common practice",
        bias=bias,
    )


def test_technique_tells_what_was_done_otherwise_faults_first() -> None:
    technique = (
        finding("zero before", FindingState.OK),
        finding("rest", FindingState.UNKNOWN),
        finding("inflation", FindingState.LOOK),
        finding("deflation", FindingState.FAULT, "systolic reads low"),
        finding("deflation near systolic", FindingState.FAULT),
    )
    text = summary_text(replace(plain_reading(), technique=technique))
    assert (
        "\n\nTechnique:\n"
        "  - deflation: 5.2 mmHg/s, expected 2 to 3; systolic reads low.\n"
        "  - inflation: 5.2 mmHg/s, expected 2 to 3.\n\n"
    ) in text
    fine = replace(plain_reading(), technique=technique[:2])
    assert summary_text(fine) == summary_text(plain_reading())


@pytest.mark.parametrize(
    ("found", "unit", "told"),
    [
        ("46, by sounds", "mmHg", "46 mmHg, by sounds"),
        ("-18 (-44 to 8), by pulse", "mmHg", "-18 mmHg (-44 to 8), by pulse"),
        ("9 above the first sound", "mmHg", "9 mmHg above the first sound"),
        ("+4.2", "mmHg", "+4.2 mmHg"),
        ("2e-05", "%", "2e-05 %"),
        ("stopped at 106 mmHg with sounds", "mmHg", "stopped at 106 mmHg with sounds"),
        ("2 stops, about 8 mmHg apart", "", "2 stops, about 8 mmHg apart"),
        ("sounds down to the release at 88 mmHg", "mmHg", "sounds down to the release at 88 mmHg"),
        ("2026-03-31", "months", "2026-03-31"),
    ],
)
def test_a_unit_stands_behind_its_number(found: str, unit: str, told: str) -> None:
    one = replace(finding("inflation", FindingState.FAULT), found=found, unit=unit)
    text = summary_text(replace(plain_reading(), technique=(one,)))
    assert f"inflation: {told}, expected" in " ".join(text.split())


@pytest.mark.parametrize("rule", Rule)
def test_the_widest_values_fit(rule: Rule) -> None:
    plain = plain_reading(220.0, 130.0)
    diastolic = replace(
        plain.diastolic, rule=rule, mmhg=130.0, low_mmhg=120.0, high_mmhg=140.0, confidence=1.0
    )
    text = summary_text(replace(plain, diastolic=diastolic))
    (line,) = (line for line in text.split("\n") if line.startswith("Diastolic"))
    assert "130 mmHg   (120 to 140)  confidence high (>0.99)  " in line
    assert len(line) <= 80


def test_an_early_log_and_a_given_lag() -> None:
    lag = Lag(seconds=-0.5, low_s=-0.6, high_s=-0.4, drift_ppm=None, estimated=False)
    text = summary_text(replace(plain_reading(), lag=lag))
    assert "\nLag         the log's times are 0.50 s early (given)\n" in text


def test_one_file_is_named_once_and_long_names_are_cut() -> None:
    one = replace(SOURCE, cuff_name="arm.wav")
    assert summary_text(plain_reading(), one).startswith("arm.wav\n")
    long = replace(SOURCE, audio_name="a" * 100, cuff_name="b" * 100)
    first = summary_text(plain_reading(), long).partition("\n")[0]
    assert first == f"{'a' * 34}... with {'b' * 34}..."


def test_names_cannot_steer_the_terminal() -> None:
    evil = replace(SOURCE, audio_name="a\x1b[2J\n\u202eb.wav")
    assert summary_text(plain_reading(), evil).startswith("a\\x1b[2J\\n\\u202eb.wav with arm.csv\n")


PRESSURES = st.none() | st.floats(-20.0, 400.0)
SHARES = st.floats(0.0, 1.0)
FORM = {
    "state": st.sampled_from(State),
    "mmhg": PRESSURES,
    "low_mmhg": PRESSURES,
    "high_mmhg": PRESSURES,
    "confidence": st.none() | SHARES,
    "time_s": st.none() | st.floats(0.0, 1e4),
    "reason": st.none() | st.sampled_from(Reason),
}
GAPS = st.builds(
    Gap,
    confidence=SHARES,
    **{name: st.floats(-20.0, 400.0) for name in Gap.__dataclass_fields__ if name != "confidence"},
)
READINGS = st.builds(
    Reading,
    status=st.sampled_from(Status),
    systolic=st.builds(Threshold, **FORM),
    diastolic=st.builds(Diastolic, **FORM, rule=st.sampled_from(Rule), k5_mmhg=PRESSURES),
    first_silence=st.builds(Threshold, **FORM),
    muffling=st.builds(Threshold, **FORM),
    reasons=st.lists(st.sampled_from(Reason)).map(tuple),
    gaps=st.lists(GAPS, max_size=3).map(tuple),
    pulse_per_min=st.none() | st.floats(20.0, 300.0),
    rhythm=st.sampled_from(Rhythm),
    beats=st.just(()),
    lag=st.none()
    | st.builds(
        Lag,
        seconds=st.floats(-1e9, 1e9),
        low_s=st.floats(-2.0, 2.0),
        high_s=st.floats(-2.0, 2.0),
        drift_ppm=st.none(),
        estimated=st.booleans(),
    ),
    manometer_mmhg=st.none() | st.floats(0.0, 50.0),
    technique=st.lists(
        st.builds(
            Finding,
            check=st.text(),
            state=st.sampled_from(FindingState),
            found=st.text(),
            expected=st.text(),
            unit=st.text(),
            source=st.text(),
            bias=st.none() | st.text(),
        ),
        max_size=3,
    ).map(tuple),
    flags=st.lists(st.sampled_from(Flag), unique=True).map(tuple),
)
SOURCES = st.builds(
    Source,
    audio_name=st.text(),
    audio_sha256=st.just(""),
    cuff_name=st.text(),
    cuff_sha256=st.just(""),
)


def test_wide_letters_take_two_columns() -> None:
    # East Asian letters fill two columns of a terminal each (Unicode Standard Annex 11).
    long = Source(
        audio_name="\N{CJK UNIFIED IDEOGRAPH-8840}" * 40 + ".wav",
        audio_sha256="",
        cuff_name="a" * 50 + ".csv",
        cuff_sha256="",
    )
    first = summary_text(plain_reading(), long).split("\n")[0]
    assert first == "\N{CJK UNIFIED IDEOGRAPH-8840}" * 17 + "... with " + "a" * 34 + "..."


@settings(deadline=None, max_examples=200)
@given(READINGS, st.none() | SOURCES)
def test_any_reading_fits_the_terminal(reading: Reading, source: Source | None) -> None:
    text = summary_text(reading, source)
    lines = text.split("\n")
    assert lines[-1] == ""
    assert all(len(line) <= 80 and line.isprintable() for line in lines)
    flat = " ".join(text.split())
    for flag in reading.flags:
        assert FLAG_SENTENCES[flag] in flat
