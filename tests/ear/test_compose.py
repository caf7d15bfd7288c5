"""What a whole reading promises: states, statuses, rules, bounds, order, schema."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest

from tapfall.ear import compose, reader, take_reading, values
from tapfall.ear.bell import Bell
from tapfall.ear.character import Character
from tapfall.ear.evidence import MEASURES
from tapfall.ear.muffling import Muffled
from tapfall.ear.thresholds import _low_diastolic_mmhg
from tapfall.files import load, reading_schema, record_of
from tapfall.model import (
    REVIEW_FLAGS,
    CuffLog,
    Flag,
    Phase,
    Reading,
    Reason,
    Recording,
    Rhythm,
    Rule,
    Settings,
    State,
    Status,
    Threshold,
)
from tests.ear.heard import FOLDER, NAMES, fixture, fixture_reading
from tests.ear.made import line, with_pulses

#: The order in which phases come.
K_ORDER = {Phase.K1: 1, Phase.K2: 2, Phase.K3: 3, Phase.K4: 4}


def truth(name: str) -> dict[str, dict[str, dict[str, float | None]]]:
    """The fixture's truth as it stands in its file."""
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, dict[str, float | None]]] = json.loads(text)
    return found


def thresholds(reading: Reading) -> dict[str, Threshold]:
    """All four pressures."""
    names = ("systolic", "diastolic", "first_silence", "muffling")
    return {name: getattr(reading, name) for name in names}


# --- laws of every reading ---------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_record_follows_its_schema(name: str) -> None:
    recording = load(FOLDER / f"{name}.flac", FOLDER / f"{name}.csv")
    record = record_of(take_reading(recording), recording.source, Settings())
    value = json.loads(json.dumps(record, allow_nan=False))
    validator = jsonschema.Draft202012Validator(reading_schema())
    assert [fault.message for fault in validator.iter_errors(value)] == []


@pytest.mark.parametrize("name", NAMES)
def test_states_and_fields_agree(name: str) -> None:
    for which, one in thresholds(fixture_reading(name)).items():
        filled = {
            field
            for field in ("mmhg", "low_mmhg", "high_mmhg", "confidence", "time_s")
            if getattr(one, field) is not None
        }
        if one.state is State.OBSERVED:
            assert filled == {"mmhg", "low_mmhg", "high_mmhg", "confidence", "time_s"}
            assert one.reason is None
        elif one.state is State.NOT_REACHED:
            # "At least" for the systolic, "at most" for the others.
            bound = {"low_mmhg"} if which == "systolic" else {"high_mmhg"}
            assert filled in (bound, set()) if which == "first_silence" else filled == bound
            assert one.reason is not None
        else:
            assert filled == set()
            assert one.reason is not None


@pytest.mark.parametrize("name", NAMES)
def test_intervals_hold_their_values_and_confidence_is_a_probability(name: str) -> None:
    reading = fixture_reading(name)
    for one in thresholds(reading).values():
        if one.mmhg is not None:
            assert one.low_mmhg is not None
            assert one.high_mmhg is not None
            assert one.confidence is not None
            assert one.low_mmhg <= one.mmhg <= one.high_mmhg
            assert 0.0 <= one.confidence <= 1.0
            assert one.high_mmhg - one.low_mmhg > 0.5
    for gap in reading.gaps:
        assert gap.upper_low_mmhg <= gap.upper_mmhg <= gap.upper_high_mmhg
        assert gap.lower_low_mmhg <= gap.lower_mmhg <= gap.lower_high_mmhg
        assert 0.0 <= gap.confidence <= 1.0


def pressures(one: Threshold) -> list[float]:
    """A threshold's value or bound."""
    told = (one.mmhg, one.low_mmhg if one.mmhg is None else None, one.high_mmhg)
    return [v for v in told[: 1 if one.mmhg is not None else 3] if v is not None]


@pytest.mark.parametrize("name", NAMES)
def test_systolic_gap_and_diastolic_stand_in_order(name: str) -> None:
    reading = fixture_reading(name)
    falling = pressures(reading.systolic)
    for gap in sorted(reading.gaps, key=lambda one: -one.upper_mmhg):
        falling += [gap.upper_mmhg, gap.lower_mmhg]
    falling += pressures(reading.diastolic)
    if reading.diastolic.rule is Rule.LAST_SOUND:
        falling += pressures(reading.first_silence)
    assert falling == sorted(falling, reverse=True)
    for gap in reading.gaps:
        assert gap.upper_mmhg - gap.lower_mmhg >= 4.0


@pytest.mark.parametrize("name", NAMES)
def test_the_status_follows_from_states_and_flags(name: str) -> None:
    reading = fixture_reading(name)
    states = {reading.systolic.state, reading.diastolic.state}
    if states == {State.UNDETERMINED}:
        assert reading.status is Status.UNREADABLE
        assert reading.reasons
    elif states == {State.OBSERVED} and not REVIEW_FLAGS & set(reading.flags):
        assert reading.status is Status.OK
    else:
        assert reading.status is Status.REVIEW


@pytest.mark.parametrize("name", NAMES)
def test_flags_and_reasons_are_told_once_and_follow_from_the_values(name: str) -> None:
    reading = fixture_reading(name)
    assert list(reading.flags) == [flag for flag in Flag if flag in reading.flags]
    assert len(set(reading.reasons)) == len(reading.reasons)
    for one in (reading.systolic, reading.diastolic):
        assert one.reason is None or one.reason in reading.reasons
    for flag, holds in (
        (Flag.SYSTOLIC_NOT_REACHED, reading.systolic.state is State.NOT_REACHED),
        (Flag.DIASTOLIC_NOT_REACHED, reading.diastolic.state is State.NOT_REACHED),
        (Flag.SILENT_GAP, bool(reading.gaps)),
    ):
        assert (flag in reading.flags) == holds


@pytest.mark.parametrize("name", NAMES)
def test_beats_are_ordered_within_the_deflation_and_their_phases_never_go_back(name: str) -> None:
    reading, recording = fixture_reading(name), fixture(name)
    times = [beat.time_s for beat in reading.beats]
    assert times == sorted(times)
    highest = float(recording.cuff.pressure_mmhg.max())
    order = [K_ORDER[beat.phase] for beat in reading.beats if beat.phase in K_ORDER]
    assert order == sorted(order)
    for beat in reading.beats:
        assert 0.0 <= beat.heard <= 1.0
        assert 0.0 < beat.cuff_mmhg <= highest + 1.0
        if beat.phase is Phase.GAP:
            # Pressures are rounded to 0.01 mmHg.
            assert any(
                gap.lower_mmhg - 0.011 < beat.cuff_mmhg < gap.upper_mmhg + 0.011
                for gap in reading.gaps
            )


def test_values_are_pressures_of_beats_at_their_times() -> None:
    # Never extrapolated, and between beats only where one of those around may sound or not.
    between = 0
    for name in NAMES:
        reading = fixture_reading(name)
        beats = {beat.time_s: beat.cuff_mmhg for beat in reading.beats}
        for one in thresholds(reading).values():
            if one.mmhg is None or one.time_s is None:
                continue
            away_mmhg = abs(beats[one.time_s] - one.mmhg)
            if away_mmhg > 0.011:
                between += 1
                assert away_mmhg <= 4.0
                near = [beat for beat in reading.beats if abs(beat.cuff_mmhg - one.mmhg) <= 4.0]
                assert any(0.01 < beat.heard < 0.99 for beat in near)
    assert between <= 1


@pytest.mark.parametrize("name", NAMES)
def test_no_value_stands_at_a_beat_that_is_all_but_surely_silent(name: str) -> None:
    # The value holds the most stories within 4 mmHg, so its beat may be a doubtful one.
    reading = fixture_reading(name)
    heard = {beat.time_s: beat.heard for beat in reading.beats}
    for one in (reading.systolic, reading.diastolic, reading.muffling):
        if one.time_s is not None:
            assert heard[one.time_s] >= 0.1


@pytest.mark.parametrize("name", ["silent_gap", "silent_gap_small"])
def test_the_edges_of_a_gap_are_beats_that_sound(name: str) -> None:
    # The last sound above the silence, the first sound below it.
    reading = fixture_reading(name)
    assert len(reading.gaps) == 1
    heard = {beat.cuff_mmhg: beat.heard for beat in reading.beats}
    assert heard[reading.gaps[0].upper_mmhg] >= 0.5
    assert heard[reading.gaps[0].lower_mmhg] >= 0.5


# --- reasons -----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["float32", "int16"])
@pytest.mark.parametrize("value", [0.0, 0.2])
def test_silent_or_constant_sound_is_unreadable(kind: str, value: float) -> None:
    recording = fixture("ordinary")
    scale = 32768 if kind == "int16" else 1
    samples = np.full(recording.samples.size, value * scale).astype(kind)
    reading = take_reading(
        Recording(samples=samples, rate_hz=recording.rate_hz, cuff=recording.cuff)
    )
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.SILENT_AUDIO,))
    assert {one.state for one in thresholds(reading).values()} == {State.UNDETERMINED}
    assert {one.reason for one in thresholds(reading).values()} == {Reason.SILENT_AUDIO}
    assert reading.beats == ()


def test_no_sounds_are_unreadable() -> None:
    reading = fixture_reading("no_sounds")
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.NO_SOUNDS,))


def test_a_few_heartbeats_cannot_be_judged() -> None:
    # The sound ends after five of twelve seconds of deflation: four beats of a slow heart.
    log_s, trend_mmhg = line([(0, 0), (3, 0), (9, 160), (21, 88), (22, 0), (30, 0)])
    log_mmhg = with_pulses(log_s, trend_mmhg, np.arange(3.3, 30.0, 1.25), 2.0)
    samples = 0.01 * np.random.default_rng(1).standard_normal(round(14.5 * 2000))
    reading = take_reading(
        Recording(
            samples=samples, rate_hz=2000.0, cuff=CuffLog(time_s=log_s, pressure_mmhg=log_mmhg)
        )
    )
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.TOO_FEW_BEATS,))


def test_a_log_without_a_fall_is_unreadable() -> None:
    recording = fixture("ordinary")
    flat = CuffLog(
        time_s=recording.cuff.time_s,
        pressure_mmhg=np.minimum(recording.cuff.pressure_mmhg, 18.0),
    )
    reading = take_reading(
        Recording(samples=recording.samples, rate_hz=recording.rate_hz, cuff=flat)
    )
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.NO_DEFLATION,))


def test_sounds_from_the_top_bound_the_systolic_from_below() -> None:
    reading = fixture_reading("under_inflated")
    assert reading.systolic.state is State.NOT_REACHED
    assert reading.systolic.reason is Reason.SOUNDS_FROM_TOP
    assert reading.status is Status.REVIEW
    bound = truth("under_inflated")["in_quiet"]["systolic"]["bound_mmHg"]
    assert bound is not None
    assert reading.systolic.low_mmhg == pytest.approx(bound, abs=4.0)


def test_sounds_to_the_end_bound_the_diastolic_from_above() -> None:
    reading = fixture_reading("stopped_early")
    assert reading.diastolic.state is State.NOT_REACHED
    assert reading.diastolic.reason is Reason.SOUNDS_TO_END
    assert reading.status is Status.REVIEW
    bound = truth("stopped_early")["in_quiet"]["diastolic"]["bound_mmHg"]
    assert bound is not None
    assert reading.diastolic.high_mmhg == pytest.approx(bound, abs=4.0)


def test_sounds_to_zero_make_the_diastolic_the_muffling() -> None:
    reading = fixture_reading("sounds_to_zero")
    assert Flag.SOUNDS_TO_ZERO in reading.flags
    assert reading.status is Status.REVIEW
    assert reading.diastolic.rule is Rule.K4
    assert reading.diastolic.k5_mmhg == 0.0
    assert reading.diastolic.mmhg == reading.muffling.mmhg


def test_a_muffling_where_nobodys_diastolic_lies_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def at_the_end(found: Character, sounds: np.ndarray, cuff_mmhg: np.ndarray) -> Muffled:
        last = sounds.size - 1
        assert cuff_mmhg[last] < 20.0
        return Muffled(index=last, low=last - 1, high=last, certainty=0.99)

    monkeypatch.setattr(values, "find_muffling", at_the_end)
    reading = take_reading(fixture("sounds_to_zero"))
    assert Flag.SOUNDS_TO_ZERO in reading.flags
    assert reading.diastolic.state is State.UNDETERMINED
    assert reading.diastolic.reason is Reason.NO_MUFFLING
    assert reading.muffling.mmhg is None
    assert Phase.K4 not in {beat.phase for beat in reading.beats}


def test_the_first_silence_of_sounds_to_zero_is_bounded_by_the_last_one_heard() -> None:
    silence = fixture_reading("sounds_to_zero").first_silence
    assert silence.state is State.NOT_REACHED
    assert silence.mmhg is None
    assert silence.high_mmhg is not None
    assert 0.0 <= silence.high_mmhg < 20.0


@pytest.mark.parametrize("rule", list(Rule))
def test_sounds_up_to_the_release_are_flagged_whatever_the_rule(rule: Rule) -> None:
    reading = take_reading(fixture("stopped_early"), settings=Settings(diastolic=rule))
    assert Flag.DIASTOLIC_NOT_REACHED in reading.flags
    assert reading.status is Status.REVIEW


def test_breath_is_no_cause_in_a_rhythm_that_is_uneven(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(values, "_breath_dependent", lambda told: [100.0])
    assert Flag.BREATH_DEPENDENT_SOUNDS in take_reading(fixture("ordinary")).flags
    uneven = take_reading(fixture("irregular_rhythm"))
    assert uneven.rhythm is Rhythm.IRREGULAR
    assert Flag.BREATH_DEPENDENT_SOUNDS not in uneven.flags


def test_a_silent_gap_is_told() -> None:
    reading = fixture_reading("silent_gap")
    assert len(reading.gaps) == 1
    assert Flag.SILENT_GAP in reading.flags
    assert any(beat.phase is Phase.GAP for beat in reading.beats)


@pytest.mark.parametrize("share", [0.2, 0.4, 0.5])
def test_sound_that_breaks_off_in_the_deflation_is_flagged_and_never_ok(share: float) -> None:
    recording = fixture("ordinary")
    samples = recording.samples[: round(share * recording.samples.size)]
    reading = take_reading(
        Recording(samples=samples, rate_hz=recording.rate_hz, cuff=recording.cuff)
    )
    assert Flag.AUDIO_PARTIAL in reading.flags
    assert reading.status is not Status.OK
    assert reading.diastolic.mmhg is None


def test_clipped_sound_is_flagged() -> None:
    recording = fixture("ordinary")
    loud = np.clip(recording.samples * 20.0, -1.0, 1.0).astype(np.float32)
    reading = take_reading(Recording(samples=loud, rate_hz=recording.rate_hz, cuff=recording.cuff))
    assert Flag.AUDIO_CLIPPED in reading.flags
    assert 0.0 < reading.quality.clipped_share <= 1.0
    assert fixture_reading("ordinary").quality.clipped_share == 0.0
    assert Flag.AUDIO_CLIPPED not in fixture_reading("ordinary").flags


@pytest.mark.parametrize("name", ["ordinary", "silent_gap", "slow_rounded_log"])
def test_heavily_clipped_sound_asks_for_a_person_and_is_never_sure(name: str) -> None:
    recording = fixture(name)
    gain = 6.0 / float(np.quantile(np.abs(recording.samples), 0.9995))
    loud = np.clip(recording.samples * gain, -1.0, 1.0).astype(np.float32)
    reading = take_reading(Recording(samples=loud, rate_hz=recording.rate_hz, cuff=recording.cuff))
    assert Flag.AUDIO_CLIPPED in reading.flags
    assert reading.status is not Status.OK
    assert reading.quality.clipped_share >= 0.05
    for one in (reading.systolic, reading.diastolic):
        assert one.confidence is None or one.confidence <= 0.75


def test_a_slow_log_is_called_coarse() -> None:
    assert Flag.COARSE_CUFF_LOG in fixture_reading("slow_rounded_log").flags
    assert Flag.COARSE_CUFF_LOG not in fixture_reading("ordinary").flags


# --- what is told at all -----------------------------------------------------------------


@pytest.fixture(scope="module")
def composed() -> tuple[Any, ...]:
    """What the reading of a fixture was composed of."""
    seen: list[Any] = []
    plain = reader.compose
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "compose", lambda *given: seen.append(given) or plain(*given))
        take_reading(fixture("ordinary"))
    return tuple(seen[-1])


def composed_with(composed: tuple[Any, ...], **changes: Any) -> Reading:
    record, pulses, weighed, chosen, noticed = composed
    return compose.compose(record, pulses, replace(weighed, **changes), chosen, noticed)


def in_noise(composed: tuple[Any, ...], ratio_db: float | None, loud_nats: float) -> dict[str, Any]:
    """What changes at another ratio of signal to noise, and level of the loud sounds."""
    weighed = composed[2]
    evidence = weighed.listening.evidence
    measures = evidence.measures.copy()
    measures[:, MEASURES.index("loud_over_floor")] = loud_nats
    listening = replace(weighed.listening, evidence=replace(evidence, measures=measures))
    return {
        "told": replace(weighed.told, listening=listening, signal_to_noise_db=ratio_db),
        "quality": replace(weighed.quality, signal_to_noise_db=ratio_db),
    }


@pytest.mark.parametrize(
    ("ratio_db", "loud_nats", "promise", "reason"),
    [
        (2.7, 3.9, 0.0, Reason.NOISE_HIDES),
        (2.8, 3.9, 0.0, None),
        # Hum is taken out before anything is heard.
        (2.7, 4.0, 0.0, None),
        # A measurement under way: what will hold is told, though the first sounds are weak.
        (2.7, 3.9, 0.99, None),
        (None, 3.9, 0.0, None),
    ],
)
def test_noise_that_hides_the_weak_sounds_is_refused(
    composed: tuple[Any, ...],
    ratio_db: float | None,
    loud_nats: float,
    promise: float,
    reason: Reason | None,
) -> None:
    reading = composed_with(composed, **in_noise(composed, ratio_db, loud_nats), promise=promise)
    assert reading.reasons == (() if reason is None else (reason,))
    assert (Flag.NOISY in reading.flags) is (ratio_db is not None)
    assert (reading.systolic.mmhg is None) is (reason is not None)


@pytest.mark.parametrize(
    ("ratio_db", "loud_nats", "doubted"),
    [(3.1, 3.9, True), (3.3, 3.9, False), (3.9, 2.4, True), (3.9, 2.6, False), (4.1, 2.4, False)],
)
def test_what_noise_may_hide_asks_for_a_person(
    composed: tuple[Any, ...], ratio_db: float, loud_nats: float, doubted: bool
) -> None:
    changed = in_noise(composed, ratio_db, loud_nats)
    reading = composed_with(composed, **changed)
    if doubted:
        assert Flag.LOW_CONFIDENCE in reading.flags
        assert max(reading.systolic.confidence or 0.0, reading.diastolic.confidence or 0.0) <= 0.6
    else:
        assert Flag.LOW_CONFIDENCE not in reading.flags


@pytest.mark.parametrize(
    ("chance", "flagged", "doubted"),
    [(0.81, True, True), (0.79, True, False), (0.59, False, False)],
)
def test_sounds_that_may_lie_above_leave_the_systolic_in_doubt(
    composed: tuple[Any, ...], chance: float, flagged: bool, doubted: bool
) -> None:
    told = replace(composed[2].told, sounds_above=chance)
    reading = composed_with(composed, told=told)
    assert (Flag.GAP_ABOVE_NOT_EXCLUDED in reading.flags) is flagged
    assert reading.systolic.confidence is not None
    assert (reading.systolic.confidence <= 0.9) is doubted
    assert reading.diastolic.confidence is not None
    assert reading.diastolic.confidence > 0.9


@pytest.mark.parametrize(("chance", "doubted"), [(0.51, True), (0.49, False)])
def test_other_sounds_far_away_leave_both_ends_in_doubt(
    composed: tuple[Any, ...], chance: float, doubted: bool
) -> None:
    reading = composed_with(composed, told=replace(composed[2].told, sounds_far=chance))
    for value in (reading.systolic, reading.diastolic):
        assert value.confidence is not None
        assert (value.confidence <= 0.9) is doubted


@pytest.mark.parametrize(("away_mmhg", "doubted"), [(50.0, True), (65.0, False)])
def test_a_systolic_where_the_cuff_shows_no_pulse_asks_for_a_person(
    composed: tuple[Any, ...], away_mmhg: float, doubted: bool
) -> None:
    # The pulse falls evenly from where it is largest, 50 mmHg below systolic, to nothing.
    systolic_mmhg = composed_with(composed).systolic.mmhg or 0.0
    grid = np.arange(systolic_mmhg - 60.0, systolic_mmhg + 40.0)
    largest_mmhg = systolic_mmhg - 50.0
    size = np.maximum(1 - np.abs(grid - largest_mmhg) / away_mmhg, 0.0)
    bell = Bell(cuff_mmhg=grid, size_mmhg=size)
    reading = composed_with(composed, told=replace(composed[2].told, bell=bell))
    assert reading.systolic.confidence is not None and reading.diastolic.confidence is not None
    assert (reading.systolic.confidence <= 0.7) is doubted
    assert (Flag.LOW_CONFIDENCE in reading.flags) is doubted
    assert reading.diastolic.confidence > 0.9


@pytest.mark.parametrize(("error_mmhg", "most"), [(4.0, 0.99), (6.0, 0.9), (9.0, 0.7)])
def test_a_wide_interval_belongs_to_no_sure_value(
    composed: tuple[Any, ...], error_mmhg: float, most: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tapfall.ear.thresholds.confidence", lambda measures, kind: 0.99)
    reading = composed_with(composed, told=replace(composed[2].told, error_mmhg=error_mmhg))
    for value in (reading.systolic, reading.diastolic):
        width_mmhg = (value.high_mmhg or 0.0) - (value.low_mmhg or 0.0)
        # 95 in 100 of a normal error, and up to a beat of 3 mmHg.
        assert width_mmhg == pytest.approx(2 * 1.96 * error_mmhg, abs=3.0)
        assert value.confidence == most


@pytest.mark.parametrize(
    ("present", "promise", "told"),
    [(0.74, 0.0, False), (0.75, 0.0, True), (0.1, 0.74, False), (0.1, 0.75, True)],
)
def test_what_is_not_likely_there_is_told_only_where_it_will_hold(
    composed: tuple[Any, ...], present: float, promise: float, told: bool
) -> None:
    reading = composed_with(composed, present=present, promise=promise)
    assert (reading.systolic.mmhg is not None) is told
    assert bool(reading.beats) is told


@pytest.mark.parametrize(
    ("present", "reason"),
    [
        (compose.LIKELY_PRESENCE - 0.001, Reason.NO_SOUNDS),
        (compose.LIKELY_PRESENCE, Reason.DOUBTFUL_SOUNDS),
        (compose.LEAST_PRESENCE - 0.001, Reason.DOUBTFUL_SOUNDS),
    ],
)
def test_sounds_that_are_likelier_than_none_are_not_called_none(
    composed: tuple[Any, ...], present: float, reason: Reason
) -> None:
    reading = composed_with(composed, present=present)
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (reason,))


def test_three_sounds_are_no_run_unless_they_will_hold(composed: tuple[Any, ...]) -> None:
    told = composed[2].told
    listening = told.listening
    heard = np.zeros_like(listening.story.heard)
    heard[np.flatnonzero(listening.story.heard > 0.5)[:3]] = 0.9
    few = replace(told, listening=replace(listening, story=replace(listening.story, heard=heard)))
    reading = composed_with(composed, told=few)
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.TOO_FEW_SOUNDS,))
    # Where they are not likely Korotkoff sounds either, nothing was heard.
    unlikely = composed_with(composed, told=few, present=0.4)
    assert unlikely.reasons == (Reason.NO_SOUNDS,)
    assert composed_with(composed, told=few, promise=0.99).systolic.mmhg is not None


@pytest.mark.parametrize(
    ("low_mmhg", "to_zero"), [(60.0, False), (20.0, False), (19.9, True), (None, True)]
)
def test_an_end_that_may_lie_below_20_mmhg_goes_on_to_zero(
    composed: tuple[Any, ...], low_mmhg: float | None, to_zero: bool
) -> None:
    last = Threshold(state=State.OBSERVED, mmhg=70.0, low_mmhg=low_mmhg, high_mmhg=80.0)
    none = Threshold(state=State.UNDETERMINED)
    assert values._to_zero(composed[2].told, last, none) is to_zero
    # Where no end was seen, what was heard decides.
    assert not values._to_zero(composed[2].told, Threshold(state=State.NOT_REACHED), none)


@pytest.mark.parametrize(
    ("sure", "above_mmhg", "to_zero"),
    [(0.9, 13.0, False), (0.9, 29.9, False), (0.9, 30.1, True), (0.97, 30.1, False)],
)
def test_what_may_sound_far_below_the_muffling_is_on_its_way_to_zero(
    composed: tuple[Any, ...],
    sure: float,
    above_mmhg: float,
    to_zero: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # K4 and K5 lie 13 mmHg apart on average (Freedman 2014), 6 to 12 as medians (Johenning 1995).
    monkeypatch.setattr("tapfall.ear.thresholds.confidence", lambda measures, kind: sure)
    lowest_mmhg = composed_with(composed).diastolic.low_mmhg
    assert lowest_mmhg is not None
    muffled_mmhg = lowest_mmhg + above_mmhg
    muffling = Threshold(state=State.OBSERVED, mmhg=muffled_mmhg, low_mmhg=0.0, high_mmhg=300.0)
    monkeypatch.setattr(values, "muffling_of", lambda *known: muffling)
    reading = composed_with(composed)
    assert (Flag.SOUNDS_TO_ZERO in reading.flags) is to_zero
    assert (reading.status is Status.REVIEW) is to_zero
    assert reading.diastolic.rule is (Rule.K4 if to_zero else Rule.LAST_SOUND)
    assert (reading.diastolic.mmhg == muffled_mmhg) is to_zero


@pytest.mark.parametrize("state", [State.NOT_REACHED, State.UNDETERMINED])
def test_sounds_up_to_the_end_of_listening_are_not_called_to_zero(
    composed: tuple[Any, ...], state: State
) -> None:
    told = composed[2].told
    far = Threshold(state=State.OBSERVED, mmhg=told.pressure_of(told.last_sound) + 31.0)
    to_zero = values._to_zero(told, Threshold(state=state), far)
    assert to_zero is (state is State.UNDETERMINED)


@pytest.mark.parametrize(("certainty", "given"), [(0.55, False), (0.56, True)])
def test_a_muffling_that_is_rather_wrong_than_right_is_not_given(
    certainty: float, given: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def doubtful(found: Character, sounds: np.ndarray, cuff_mmhg: np.ndarray) -> Muffled:
        return Muffled(index=4, low=3, high=6, certainty=certainty)

    monkeypatch.setattr(values, "find_muffling", doubtful)
    muffling = take_reading(fixture("ordinary")).muffling
    assert (muffling.mmhg is not None) is given
    assert muffling.reason is (None if given else Reason.TOO_UNCERTAIN)


@pytest.mark.parametrize(("sure", "given"), [(0.49, False), (0.5, True)])
def test_a_value_that_is_rather_wrong_than_right_is_not_given(
    composed: tuple[Any, ...], sure: float, given: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tapfall.ear.thresholds.confidence", lambda measures, kind: sure)
    reading = composed_with(composed)
    for value in (reading.systolic, reading.diastolic, reading.first_silence):
        assert (value.mmhg is not None) is given
        assert value.reason is (None if given else Reason.TOO_UNCERTAIN)
    assert reading.status is (Status.REVIEW if given else Status.UNREADABLE)


@pytest.mark.parametrize(("shift_mmhg", "by_share"), [(0.0, False), (60.0, True)])
def test_a_diastolic_far_below_the_systolic_is_doubted(
    composed: tuple[Any, ...], shift_mmhg: float, by_share: bool
) -> None:
    told = composed[2].told
    moved = replace(told, cuff_mmhg=told.cuff_mmhg + shift_mmhg)
    systolic_mmhg = float(moved.cuff_mmhg[int(np.median(moved.ruled.first))])
    expected = max(40.0, 0.3 * systolic_mmhg)
    assert _low_diastolic_mmhg(moved) == pytest.approx(expected)
    assert (expected > 40.0) is by_share
