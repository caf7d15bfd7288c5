"""The groups behind the accuracy table: what they hold, and that their splits differ."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tapfall.model import Rhythm, State
from tapfall.synth import Truth, sample, simulate
from tapfall.synth.population import (
    CUFF_RANGES,
    PERSON_RANGES,
    ROOM_RANGES,
    SOUND_RANGES,
    beat_step_mmhg,
)
from tests.accuracy import splits
from tests.accuracy.groups import GROUPS, draw
from tests.accuracy.splits import SPLITS, split_of

SEEDS = range(5)


@cache
def truths(group: str) -> tuple[Truth, ...]:
    made = []
    for seed in SEEDS:
        scenario = draw(group, seed)
        quick = replace(scenario, sensor=replace(scenario.sensor, rate_hz=1000.0))
        made.append(simulate(quick).truth)
    return tuple(made)


@pytest.mark.parametrize("group", GROUPS)
def test_a_group_is_drawn_the_same_again_and_differs_by_seed(group: str) -> None:
    assert draw(group, 7) == draw(group, 7) != draw(group, 8)
    assert draw(group, 7).name == f"{group}-7"
    assert GROUPS[group].description


#: Groups that hold no Korotkoff sounds.
SOUNDLESS = ("no_sounds", "heart_only", "unusual_no_sounds", "plain_no_sounds")


@pytest.mark.parametrize("group", [g for g in GROUPS if g not in (*SOUNDLESS, "pink_0db")])
def test_recordings_of_a_group_can_be_read(group: str) -> None:
    for truth in truths(group):
        assert truth.in_quiet.readable
        assert truth.in_noise.readable
        assert len(truth.beats) > 12


@pytest.mark.parametrize(
    "group",
    ["ordinary", "room_6db", "fast", "coarse_log", "lag", "weak", "gap", "pink_0db", "run_up"],
)
def test_both_pressures_are_reached(group: str) -> None:
    for truth in truths(group):
        assert truth.in_quiet.systolic.state is State.OBSERVED
        assert truth.in_quiet.diastolic.state is State.OBSERVED


def test_groups_hold_what_their_names_say() -> None:
    for group in SOUNDLESS:
        for truth in truths(group):
            assert not truth.in_quiet.readable
            assert truth.signal_to_noise_db is None
    for truth in truths("gap"):
        assert truth.in_quiet.gaps
    for truth in truths("into_gap"):
        assert truth.inflated_into_gap
    for truth in truths("to_zero"):
        assert truth.in_quiet.to_zero
    for truth in truths("systolic_not_reached"):
        assert truth.in_quiet.systolic.state is State.NOT_REACHED
    for truth in truths("diastolic_not_reached"):
        assert truth.in_quiet.diastolic.state is State.NOT_REACHED
    for truth in truths("alternans"):
        assert truth.rhythm is Rhythm.ALTERNATING
    for truth in truths("atrial_fibrillation"):
        assert truth.rhythm is Rhythm.IRREGULAR
    for truth in truths("ectopic_real"):
        assert not all(beat.expected for beat in truth.beats)
    for truth in truths("fast"):
        assert 4.7 < truth.deflation_mmhg_per_s < 7.5
    assert np.ptp([truth.lag_s for truth in truths("lag")]) > 0.5
    for group, level_db in (("room_6db", 6), ("pink_0db", 0), ("heart_8db", 8), ("hum_6db", 6)):
        for truth in truths(group):
            assert truth.signal_to_noise_db == pytest.approx(level_db, abs=1.5)
    for truth in truths("ordinary"):
        assert 10 < (truth.signal_to_noise_db or 0) < 27


def test_gaps_go_from_two_beats_to_tens_of_mmhg() -> None:
    scenarios = [draw("gap", seed).sound for seed in range(60)]
    widths = [one.gap_top_mmhg - one.gap_bottom_mmhg for one in scenarios]
    assert min(widths) < 9
    assert 30 < max(widths) <= 40.001


def test_unusual_people_are_narrow_and_wide_slow_and_racing() -> None:
    scenarios = [draw("unusual", seed) for seed in range(200)]
    people = [one.person for one in scenarios]
    pulses = [one.systolic_mmhg - one.diastolic_mmhg for one in people]
    assert min(pulses) < 14
    assert max(pulses) > 105
    assert min(one.heart_rate_per_min for one in people) < 38
    assert max(one.heart_rate_per_min for one in people) > 165
    assert sum(one.rhythm == "bigeminy" for one in people) > 20
    for one, pulse in zip(scenarios, pulses, strict=True):
        # A pressure between whose two ends hardly a beat lies is let down more slowly.
        assert beat_step_mmhg(one) <= pulse / 5 + 0.01


def test_splits_share_no_file_series_or_delays() -> None:
    for kind in ("speech", "sounds", "chest"):
        names = [name for split in SPLITS for name in getattr(split, kind)]
        assert len(names) == len(set(names))
    for kind in ("sinus", "fibrillation", "ectopic"):
        parts = [getattr(split, kind) for split in SPLITS]
        for i, (name, start_s, stop_s) in enumerate(parts):
            for other, begin_s, end_s in parts[i + 1 :]:
                assert name != other or stop_s <= begin_s or end_s <= start_s
    assert len({split.delay_s for split in SPLITS}) == 3
    assert [split_of(seed).name for seed in (0, 9_999, 10_000, 19_999, 20_000, 29_999)] == [
        "development", "development", "calibration", "calibration", "closing", "closing",
    ]  # fmt: skip
    for first, split in zip((0, 10_000, 20_000), SPLITS, strict=True):
        delays = [draw("ordinary", first + k).sound.delay_s for k in range(60)]
        assert split.delay_s[0] <= min(delays)
        assert max(delays) <= split.delay_s[1]
        assert np.ptp(delays) > 0.7 * (split.delay_s[1] - split.delay_s[0])


@pytest.mark.parametrize(("group", "seed"), [("none", 1), ("ordinary", -1), ("ordinary", 30_000)])
def test_what_there_is_not_is_refused(group: str, seed: int) -> None:
    with pytest.raises(ValueError, match=r"found .* allowed "):
        draw(group, seed)


def test_groups_do_without_their_files(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(splits, "DATA", tmp_path)
    splits.beat_times_s.cache_clear()
    try:
        for group in ("speech_4db", "atrial_fibrillation", "ectopic_real", "no_sounds", "ordinary"):
            scenario = draw(group, 3)
            assert not scenario.person.intervals_s
            assert all(not noise.path for noise in scenario.room.noises)
        assert draw("atrial_fibrillation", 3).person.rhythm == "atrial_fibrillation"
        assert draw("ectopic_real", 3).person.rhythm in ("ectopics", "bigeminy")
    finally:
        splits.beat_times_s.cache_clear()


def test_people_differ_in_whatever_could_be_learnt_by_heart() -> None:
    people = [sample(seed) for seed in range(120)]
    for part, ranges in (
        ("person", PERSON_RANGES),
        ("cuff", CUFF_RANGES),
        ("sound", SOUND_RANGES),
        ("room", ROOM_RANGES),
    ):
        for name, (low, high) in ranges.items():
            values = [getattr(getattr(one, part), name) for one in people]
            assert low <= min(values) < low + 0.1 * (high - low)
            assert high - 0.1 * (high - low) < max(values) <= high
    for name, low, high in (("systolic_mmhg", 90, 200), ("diastolic_mmhg", 50, 110)):
        values = [getattr(one.person, name) for one in people]
        assert low <= min(values)
        assert max(values) <= high
        assert np.std(values) > 10
    above = [one.cuff.top_mmhg - one.person.systolic_mmhg for one in people]
    below = [one.person.diastolic_mmhg - one.cuff.end_mmhg for one in people]
    assert 19.9 < min(above) < 25 < np.median(above) < 45
    assert 11.9 < min(below) < 17 < np.median(below) < 35
