"""Where each finding turns: just inside, at and just outside of every bound, and the words.

Bounds that are ours say so in the code; what they mean is written beside each case here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.errors import SettingError
from tapfall.model import Beat, Flag, Phase, Quality, State, Threshold
from tapfall.technique import Obliteration, Stated, check_technique, find_obliteration, measure_cuff
from tapfall.technique.obliteration import by_pulse
from tapfall.technique.on_log import log_findings
from tests.technique.made import CORNERS, found, log_of, reading_of, recording_of
from tests.technique.test_obliteration import fall_and_pulses, reading

# --- inflation ---------------------------------------------------------------------------


def inflation(systolic_mmhg: float | None, known: Obliteration | None, usable: bool = True) -> str:
    """State and words of the inflation to 150 mmHg, the obliteration given."""
    heard = reading_of(systolic_mmhg)
    work = measure_cuff(log_of(), heard)
    assert work is not None
    work = replace(work, obliteration=known, pulses=replace(work.pulses, usable=usable))
    (one,) = (
        each
        for each in log_findings(work, recording_of(log_of()), heard)
        if each.check == "inflation"
    )
    return f"{one.state}: {one.found}"


def closes(mmhg: float, low_mmhg: float, high_mmhg: float) -> Obliteration:
    return Obliteration(mmhg=mmhg, low_mmhg=low_mmhg, high_mmhg=high_mmhg, basis="pulse")


@pytest.mark.parametrize(
    ("systolic_mmhg", "known", "told"),
    [
        # 20 mmHg above are wanted (ACC/AHA, AHA 2019), 3 of slack are ours: 17 at least.
        (None, closes(120.0, 110.0, 133.0), "ok: 30 (17 to 40), by pulse"),
        # It may be less than that, or not: with a first sound a look, without it unknown.
        (None, closes(120.0, 110.0, 134.0), "unknown: 30 (16 to 40), by pulse"),
        (
            125.0,
            closes(120.0, 110.0, 134.0),
            "look: 25 above the first sound, but 30 (16 to 40) by pulse",
        ),
        # Surely less than 17 a look, surely less than 10 a fault.
        (None, closes(140.0, 134.0, 146.0), "look: 10 (4 to 16), by pulse"),
        (None, closes(140.0, 140.0, 146.0), "look: 10 (4 to 10), by pulse"),
        (None, closes(145.0, 141.0, 149.0), "fault: 5 (1 to 9), by pulse"),
        # Silence enough above the first sound: a gap cannot be excluded, nor proved.
        (
            125.0,
            closes(190.0, 140.0, 240.0),
            "look: 25 above the first sound, but -40 (-90 to 10) by pulse",
        ),
        (
            133.0,
            closes(165.0, 151.0, 179.0),
            "look: 17 above the first sound, but -15 (-29 to -1) by pulse",
        ),
        # By sounds the silence is told already; how little it may be is told without a sign.
        (
            117.0,
            replace(closes(117.0, 116.0, 150.3), basis="sounds"),
            "look: 33 above the first sound, but perhaps only 0 above a hidden one",
        ),
        (
            125.0,
            replace(closes(125.0, 120.0, 138.0), basis="sounds"),
            "look: 25 above the first sound, but perhaps only 12 above a hidden one",
        ),
        (None, closes(120.0, 110.0, 150.3), "unknown: 30 (0 to 40), by pulse"),
        # The first sound alone leaves too little.
        (133.0, closes(120.0, 110.0, 130.0), "ok: 30 (20 to 40), by pulse"),
        (134.0, closes(120.0, 110.0, 130.0), "look: 16 above the first sound"),
        (140.0, closes(120.0, 110.0, 130.0), "look: 10 above the first sound"),
        (141.0, closes(120.0, 110.0, 130.0), "fault: 9 above the first sound"),
        (125.0, None, "unknown: neither sounds nor pulse tell the obliteration"),
    ],
)
def test_inflation_by_what_is_known(
    systolic_mmhg: float | None, known: Obliteration | None, told: str
) -> None:
    assert inflation(systolic_mmhg, known) == told


def test_a_log_without_pulse_says_so() -> None:
    told = "unknown: the log shows too little of the pulse"
    assert inflation(125.0, None, usable=False) == told


# --- the obliteration --------------------------------------------------------------------


def test_a_run_up_between_the_bounds_ends_the_range() -> None:
    fall, pulses = fall_and_pulses(106.5)
    free = find_obliteration(fall, pulses, reading(None))
    assert free is not None
    # Above the range it adds nothing but its name; just below it, it bounds all to one value.
    above = find_obliteration(fall, pulses, reading(None), free.high_mmhg + 20.0)
    assert above == replace(free, basis="pulse and run-up")
    # The hand may stop up to 5 mmHg short of it (ours).
    within = find_obliteration(fall, pulses, reading(None), free.low_mmhg - 4.9)
    assert within is not None
    assert (within.mmhg, within.high_mmhg) == (free.low_mmhg, free.low_mmhg)
    assert find_obliteration(fall, pulses, reading(None), free.low_mmhg - 5.1) == free
    # A run-up below the value moves it down to itself.
    moved = find_obliteration(fall, pulses, reading(None), free.mmhg - 3.0)
    assert moved is not None
    assert moved.mmhg == moved.high_mmhg == free.mmhg - 3.0


def test_a_run_up_moves_nothing_that_sounds_tell_or_that_was_not_reached() -> None:
    heard = find_obliteration(*fall_and_pulses(97.5), reading(125.0), 126.0)
    assert heard is not None
    assert (heard.mmhg, heard.high_mmhg, heard.basis) == (125.0, 128.0, "sounds")
    made = replace(reading(125.0), systolic=Threshold(state=State.NOT_REACHED, low_mmhg=149.0))
    top = find_obliteration(*fall_and_pulses(106.5), made, 140.0)
    assert top is not None
    assert top.basis == "pulse"


def test_half_a_range_by_the_largest_pulse_is_a_quarter_of_the_pulse_pressure_and_6() -> None:
    # The largest pulse at 102, the last sound at 75: a pulse pressure of 27 / 0.45 = 60
    # (Chandrasekhar 2019); half the range 0.25 x 60 + 6 = 21 mmHg (ours).
    fall, pulses = fall_and_pulses(102.0)
    one = by_pulse(fall, pulses, 75.0)
    assert one is not None
    assert one.mmhg == pytest.approx(135.0, abs=2.5)
    pulse_mmhg = one.mmhg - 75.0
    assert one.high_mmhg - one.mmhg == pytest.approx(0.25 * pulse_mmhg + 6.0)
    assert one.mmhg - one.low_mmhg == pytest.approx(0.25 * pulse_mmhg + 6.0)
    two = by_pulse(fall, pulses, None)
    assert two is not None
    assert two.high_mmhg - two.low_mmhg == pytest.approx(50.0)
    # A largest pulse at or below the last sound tells no pulse pressure.
    assert by_pulse(fall, pulses, 120.0) == two


def test_fewest_pulses_and_a_bell_whose_top_is_not_seen() -> None:
    fall, pulses = fall_and_pulses(95.0)
    few = replace(
        pulses,
        time_s=pulses.time_s[20:30],
        size_mmhg=pulses.size_mmhg[20:30],
        seen=pulses.seen[:10],
    )
    assert by_pulse(fall, few, 60.0) is not None
    fewer = replace(few, time_s=few.time_s[1:], size_mmhg=few.size_mmhg[1:], seen=few.seen[1:])
    assert by_pulse(fall, fewer, 60.0) is None
    # Pulses begin at 147.5 mmHg: from 6 mmHg below (ours) the bell's top is seen.
    assert by_pulse(*fall_and_pulses(135.0), 75.0) is not None
    assert by_pulse(*fall_and_pulses(146.0), 75.0) is None


@pytest.mark.parametrize(("share", "basis"), [(0.76, "sounds"), (0.84, "pulse")])
def test_the_pulse_doubts_from_four_fifths_of_half_its_range_on(share: float, basis: str) -> None:
    fall, pulses = fall_and_pulses(106.5)
    alone = by_pulse(fall, pulses, 75.0)
    assert alone is not None
    half_mmhg = alone.high_mmhg - alone.mmhg
    one = find_obliteration(fall, pulses, reading(alone.mmhg - share * half_mmhg))
    assert one is not None
    assert one.basis == basis


def test_a_first_sound_without_range_is_its_own() -> None:
    made = reading(125.0)
    bare = replace(made, systolic=replace(made.systolic, low_mmhg=None, high_mmhg=None))
    one = find_obliteration(*fall_and_pulses(97.5), bare)
    assert one is not None
    assert (one.low_mmhg, one.mmhg, one.high_mmhg) == (125.0, 125.0, 125.0)
    wide = replace(made, systolic=replace(made.systolic, low_mmhg=122.0, high_mmhg=131.0))
    one = find_obliteration(*fall_and_pulses(97.5), wide)
    assert one is not None
    assert (one.low_mmhg, one.mmhg, one.high_mmhg) == (122.0, 125.0, 131.0)


# --- rates, steps, pauses ----------------------------------------------------------------


def test_only_one_threshold_tells_its_own_rate_alone() -> None:
    heard = reading_of(None)
    assert found("deflation near systolic", reading=heard).found == "the systolic was not observed"
    assert found("deflation near diastolic", reading=heard).found == "2.5"


def test_a_threshold_where_nothing_falls_tells_no_rate() -> None:
    # 8 mmHg either side of 47 hold 5 mmHg of the fall, of 20 none; 8 are needed (ours).
    for last_mmhg in (47.0, 20.0):
        one = found("deflation near diastolic", reading=reading_of(diastolic_mmhg=last_mmhg))
        assert (one.state, one.found) == ("unknown", "too little of the fall was seen there")
    assert found("deflation near diastolic", reading=reading_of(diastolic_mmhg=52.0)).found == "2.5"


def test_the_rate_near_a_threshold_is_the_one_there() -> None:
    # 5 mmHg/s above 100 mmHg, 2 below: in reach of 8 mmHg around 125 and 75 each is alone.
    corners = [*CORNERS[:4], (22.0, 100.0), (47.0, 50.0), (48.0, 0.0), (56.0, 0.0)]
    heard = reading_of(beats_s=(17.0, 34.5))
    assert found("deflation near systolic", log_of(corners), heard).found == "5.0"
    assert found("deflation near diastolic", log_of(corners), heard).found == "2.0"
    overall = found("deflation", log_of(corners), heard).found
    assert float(overall) == pytest.approx(100.0 / 35.0, abs=0.1)


def test_a_step_per_beat_says_how_far_it_shifts() -> None:
    # 5 mmHg/s at 60 a minute: 5 mmHg a beat, on average half of it (computed).
    corners = [*CORNERS[:4], (32.0, 50.0), (33.0, 0.0), (41.0, 0.0)]
    heard = reading_of(pulse_per_min=60.0, beats_s=(17.0, 27.0))
    words = {
        "deflation per beat": "systolic reads low, diastolic high by 2.5 mmHg on average, 5.0",
        "deflation per beat near systolic": "systolic reads low by 2.5 mmHg on average, 5.0",
        "deflation per beat near diastolic": "diastolic reads high by 2.5 mmHg on average, 5.0",
    }
    for check, begin in words.items():
        one = found(check, log_of(corners), heard)
        assert one.state == "look"
        assert (one.bias or "").startswith(begin)
    assert found("deflation per beat", reading=reading_of(pulse_per_min=60.0)).bias is None


@pytest.mark.parametrize(
    ("pulse_per_min", "state"),
    [(38.0, "ok"), (37.0, "look"), (25.2, "look"), (24.8, "fault")],
)
def test_steps_of_4_and_6_mmhg_a_beat(pulse_per_min: float, state: str) -> None:
    # 2.5 mmHg/s: 3.95, 4.05, 5.95 and 6.05 mmHg a beat.
    heard = reading_of(pulse_per_min=pulse_per_min)
    assert found("deflation per beat", reading=heard).state == state


@pytest.mark.parametrize(
    ("rate", "state"), [(0.97, "fault"), (1.03, "look"), (4.9, "look"), (5.1, "fault")]
)
def test_rates_that_are_faults(rate: float, state: str) -> None:
    fall_s = 100.0 / rate
    corners = [*CORNERS[:4], (12.0 + fall_s, 50.0), (13.0 + fall_s, 0.0), (21.0 + fall_s, 0.0)]
    at_s = (12.0 + 25.0 / rate, 12.0 + 75.0 / rate)
    assert found("deflation", log_of(corners), reading_of(beats_s=at_s)).state == state


def test_pauses_are_told_one_by_one_and_the_longest_decides() -> None:
    corners = [
        *CORNERS[:4],
        (22.0, 125.0),
        (26.0, 125.0),
        (42.0, 85.0),
        (44.1, 85.0),
        (58.1, 50.0),
        (59.1, 0.0),
        (67.1, 0.0),
    ]
    one = found("pauses", log_of(corners), reading_of(beats_s=(22.5, 48.0)))
    assert (one.state, one.found) == ("fault", "4 s at 125 mmHg, 2 s at 85 mmHg")


def test_steps_tell_how_many_and_how_large() -> None:
    # Nineteen stops between falls of 5 mmHg: 100 mmHg in twenty parts.
    corners = [*CORNERS[:4]]
    for step in range(20):
        corners += [(12.4 + 2 * step, 145.0 - 5 * step), (14.0 + 2 * step, 145.0 - 5 * step)]
    corners += [(53.0, 0.0), (61.0, 0.0)]
    one = found("steps", log_of(corners))
    count = int(one.found.split()[0])
    assert count in (19, 20)
    assert (one.bias or "").endswith("by up to a step of about 5 mmHg")


# --- zero, listening on ------------------------------------------------------------------


def test_a_zero_is_read_where_the_cuff_is_at_rest() -> None:
    # Before: 10 s at most, from 1.5 s before the inflation back.  20 s of rest, the first
    # nine of them at 4 mmHg (drift), the rest at 1: only the last ten seconds count.
    drift = [(0.0, 4.0), (9.0, 4.0), (9.1, 1.0), (25.0, 1.0)]
    log = log_of([*drift, *((t + 20.0, p) for t, p in CORNERS[2:])])
    assert found("zero before", log, reading_of(beats_s=(42.0, 62.0))).found == "+1.0"
    # After: from 1.5 s after the cuff is empty on, 10 s at most.
    late = [*CORNERS[:5], (53.0, 2.0), (62.0, 2.0), (66.0, 2.0), (66.1, 6.0), (90.0, 6.0)]
    assert found("zero after", log_of(late)).found == "+2.0"


def test_a_zero_after_ends_before_the_next_inflation() -> None:
    second = [(t + 56.0, p) for t, p in CORNERS[1:]]
    log = log_of([*CORNERS[:6], *second])
    one = found("zero after", log, reading_of())
    assert (one.state, one.found) == ("ok", "+0.0")


@pytest.mark.parametrize(
    ("mmhg", "told"), [(0.0, "+0.0"), (-0.0, "+0.0"), (1.6, "+1.6"), (-1.6, "-1.6")]
)
def test_a_zero_has_its_sign(mmhg: float, told: str) -> None:
    assert found("zero before", log_of([(t, p + mmhg) for t, p in CORNERS])).found == told


def test_the_lowest_sound_counts_for_listening_on() -> None:
    made = reading_of(diastolic_mmhg=75.0)
    beats = (*made.beats, Beat(time_s=47.2, cuff_mmhg=62.0, heard=1.0, phase=Phase.K4))
    one = found("listening on", reading=replace(made, beats=beats))
    assert (one.state, one.found) == ("ok", "12")
    silent = tuple(replace(beat, phase=Phase.SILENT) for beat in made.beats)
    assert found("listening on", reading=replace(made, beats=silent)).state == "unknown"


@pytest.mark.parametrize(("last_mmhg", "zero"), [(9.8, True), (10.2, False)])
def test_sounds_below_10_mmhg_go_on_to_zero(last_mmhg: float, zero: bool) -> None:
    corners = [*CORNERS[:4], (69.0, 7.5), (70.0, 0.0), (78.0, 0.0)]
    heard = reading_of(diastolic_mmhg=last_mmhg, beats_s=(22.0, 67.0))
    one = found("listening on", log_of(corners), heard)
    assert (one.found == "sounds go on to zero") == zero
    flagged = replace(reading_of(diastolic_mmhg=60.0), flags=(Flag.SOUNDS_TO_ZERO,))
    assert found("listening on", reading=flagged).found == "sounds go on to zero"


# --- what is stated, and the sound -------------------------------------------------------


def test_bounds_of_what_is_stated_are_allowed() -> None:
    for field, values in {
        "arm_cm": (8.0, 80.0),
        "rested_min": (0.0, 1440.0),
        "since_last_s": (0.0, 86_400.0),
        "cuff": ((2.0, 2.0), (80.0, 80.0)),
    }.items():
        for value in values:
            assert getattr(Stated(**{field: value}), field) == value  # type: ignore[arg-type]
    for cuff in ((12.0, 81.0), (12.0,), (12.0, 23.0, 30.0), [12.0, 23.0]):
        with pytest.raises(SettingError):
            Stated(cuff=cuff)  # type: ignore[arg-type]
    with pytest.raises(SettingError, match="arm_cm is '31'; allowed 8 to 80"):
        Stated(arm_cm="31")  # type: ignore[arg-type]


def test_words_of_what_is_stated() -> None:
    for stated, check, word in (
        (Stated(back_supported=True), "back", "supported"),
        (Stated(back_supported=False), "back", "unsupported"),
        (Stated(legs_crossed=True), "legs", "crossed"),
        (Stated(legs_crossed=False), "legs", "uncrossed"),
        (Stated(talking=True), "talking", "yes"),
        (Stated(talking=False), "talking", "no"),
    ):
        assert found(check, stated=stated).found == word
    # Lying and standing are other postures, not faults.
    for posture in ("lying", "standing"):
        assert found("posture", stated=Stated(posture=posture)).state == "look"
    bladder = found("cuff size", stated=Stated(arm_cm=30.0, cuff=(12.0, 24.0)))
    assert bladder.found == "12 x 24 cm on an arm of 30 cm: width 40%, length 80%"


def test_what_is_stated_counts_without_a_log() -> None:
    rest = recording_of(log_of([(0.0, 0.0), (20.0, 0.0)]))
    every = check_technique(rest, reading_of(), Stated(since_last_s=45.0))
    (one,) = (each for each in every if each.check == "wait since the reading before")
    assert (one.state, one.found) == ("look", "45")


@pytest.mark.parametrize(
    ("quality", "check", "state", "told"),
    [
        # Bounds of level: ours, from what 16 bits resolve (measured by the check of devices).
        (Quality(peak_dbfs=-60.0), "sound level", "ok", "-60"),
        (Quality(peak_dbfs=-61.0), "sound level", "look", "-61"),
        (Quality(peak_dbfs=-70.0), "sound level", "look", "-70"),
        (Quality(peak_dbfs=-71.0), "sound level", "fault", "-71"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.012), "clipping", "fault", "1.2"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.0095), "clipping", "look", "0.95"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.00095), "clipping", "ok", "0.095"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.00105), "clipping", "look", "0.1"),
    ],
)
def test_levels(quality: Quality, check: str, state: str, told: str) -> None:
    one = found(check, reading=reading_of(quality=quality))
    assert (one.state, one.found) == (state, told)


def test_noise_says_what_it_hides() -> None:
    loud = found("sounds over noise", reading=reading_of(quality=Quality(signal_to_noise_db=20.0)))
    faint = found("sounds over noise", reading=reading_of(quality=Quality(signal_to_noise_db=5.0)))
    assert loud.bias is None
    assert faint.bias == (
        "systolic reads low, diastolic high, where the first and last sounds are hidden"
    )


def test_clipped_samples_are_counted_one_by_one() -> None:
    nothing = reading_of(quality=Quality())
    for kind, full in (("float64", 1.0), ("int16", 32767), ("int32", 2147483647)):
        for count in (0, 1, 10):
            samples = np.zeros(1000, kind)
            samples[:count] = full
            recording = replace(recording_of(log_of()), samples=samples)
            every = {one.check: one for one in check_technique(recording, nothing)}
            assert every["clipping"].found == f"{count / 10:.2g}", (kind, count)
        # At or beyond 0.99 of full scale a sample is clipped (common practice).
        below = (np.full(1000, 0.98) * full).astype(kind)
        recording = replace(recording_of(log_of()), samples=below)
        every = {one.check: one for one in check_technique(recording, nothing)}
        assert every["clipping"].found == "0", kind


def test_what_is_expected_of_the_sound_is_where_the_findings_turn() -> None:
    assert found("clipping").expected == "less than 0.1"
    assert found("speech").expected == "less than 1.5"


@pytest.mark.parametrize(
    ("share", "told"),
    [(0.0149, ("ok", "1.5")), (0.0150, ("look", "1.5")), (0.5, ("look", "50.0")),
     (None, ("unknown", "the sound is too short, or below 2 kHz"))],
)  # fmt: skip
def test_speech_asks_for_a_look_from_15_in_1000_on(
    share: float | None, told: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Measured: speech 4 dB below the sounds or louder comes to 2 in 100 and more.
    monkeypatch.setattr("tapfall.technique.on_sound.voiced_share", lambda *_: share)
    one = found("speech")
    assert (str(one.state), one.found) == told
