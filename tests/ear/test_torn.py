"""Sound that was lost or put in without a word: two lags explain it better than one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.onsets import NOTHING, STEP_S
from tapfall.ear.paths import follow, score_from
from tapfall.ear.torn import ADDED_NATS, LEAST_APART_S, LONGEST_S, SHORTEST_S, TORN_NATS, torn_nats
from tapfall.model import Flag, Recording, Settings, Status
from tests.ear.heard import fixture

DELAY_S = -2.2 + STEP_S * np.arange(round(4.6 / STEP_S))
BEATS_S = np.cumsum(0.8 + 0.06 * np.sin(1.7 * np.arange(36)))
FALL_MMHG = np.full(36, 2.0)


def charted(sound_s: np.ndarray) -> DelayMap:
    """What a recording with these sounds shows of the beats at every delay."""
    odds = np.full((BEATS_S.size, DELAY_S.size), NOTHING)
    for row, beat_s in enumerate(BEATS_S):
        for at_s in sound_s - beat_s:
            if DELAY_S[0] <= at_s <= DELAY_S[-1]:
                odds[row, np.abs(DELAY_S - at_s).argmin()] = 4.0
    return DelayMap(log_odds=odds, delay_s=DELAY_S)


def nats(sound_s: np.ndarray) -> float:
    chart = charted(sound_s)
    paths = follow(chart.gains(), STEP_S, FALL_MMHG, 0.003)
    return torn_nats(paths, BEATS_S, FALL_MMHG, 0.003)


SOUND_S = BEATS_S[8:28] + 0.1 - 0.0035 * np.arange(20)


def test_whole_sound_is_not_torn() -> None:
    assert nats(SOUND_S) < 3


def test_a_silent_gap_tears_nothing() -> None:
    assert nats(np.delete(SOUND_S, np.arange(8, 12))) < 3


@pytest.mark.parametrize("lost_s", [0.15, 0.3, 0.6, 1.0, 2.0])
def test_lost_sound_is_found(lost_s: float) -> None:
    at_s = float(SOUND_S[9]) + 0.05
    kept = SOUND_S[(at_s > SOUND_S) | (at_s + lost_s < SOUND_S)]
    assert nats(np.where(kept > at_s, kept - lost_s, kept)) > TORN_NATS


@pytest.mark.parametrize("added_s", [0.2, 0.5])
def test_sound_that_was_put_in_is_found(added_s: float) -> None:
    at_s = float(SOUND_S[9]) + 0.05
    assert nats(np.where(at_s < SOUND_S, SOUND_S + added_s, SOUND_S)) > TORN_NATS


@pytest.mark.parametrize("seed", range(2))
def test_the_pair_of_paths_is_the_best_there_is(seed: int) -> None:
    # Against every pair of ends and beginnings, one by one.
    rng = np.random.default_rng(seed)
    beats_s = np.cumsum(rng.uniform(0.4, 1.1, 9))
    fall_mmhg = rng.uniform(0, 4, 9)
    delay_s = STEP_S * np.arange(300)
    odds = np.where(rng.random((9, 300)) < 0.05, 4.0, NOTHING)
    chart = DelayMap(log_odds=odds, delay_s=delay_s)
    gains = chart.gains()
    paths = follow(gains, STEP_S, fall_mmhg, 0.003)
    best = float(paths.score.max())
    for later in range(1, 9):
        rest = follow_from(gains, later, fall_mmhg)
        for sooner in range(later):
            ends = paths.totals[sooner]
            apart_s = beats_s[later] - beats_s[sooner] - LEAST_APART_S
            for end in range(300):
                # Columns that lie so much earlier, or at the next beat so much later.
                lost = (end - np.arange(300)) * STEP_S
                within = (lost >= SHORTEST_S - 1e-9) & (
                    lost <= min(apart_s, LONGEST_S) + STEP_S / 2
                )
                if within.any():
                    best = max(best, float(ends[end] + rest[within].max()))
                more = (-lost >= SHORTEST_S - STEP_S / 2) & (sooner == later - 1)
                if more.any():
                    best = max(best, float(ends[end] - ADDED_NATS + rest[more].max()))
    found = torn_nats(paths, beats_s, fall_mmhg, 0.003)
    assert found == pytest.approx(best - float(paths.score.max()), abs=1e-6)


def follow_from(gains: np.ndarray, row: int, fall_mmhg: np.ndarray) -> np.ndarray:
    """The best that a path gains which begins in each cell of a row."""
    out = np.empty(gains.shape[1])
    for column in range(gains.shape[1]):
        begin = np.full(gains.shape, -1e9)
        begin[row, column] = 0.0
        out[column] = score_from(gains, STEP_S, fall_mmhg, 0.003, begin).max()
    return out


def cut(recording: Recording, from_s: float, length_s: float) -> Recording:
    first = round(from_s * recording.rate_hz)
    last = first + round(length_s * recording.rate_hz)
    samples = np.concatenate([recording.samples[:first], recording.samples[last:]])
    return replace(recording, samples=samples)


@pytest.mark.parametrize("lost_s", [0.15, 0.35, 1.2])
def test_a_reading_of_torn_sound_asks_for_a_person(lost_s: float) -> None:
    recording = fixture("ordinary")
    plain = take_reading(recording)
    assert plain.status is Status.OK
    middle_s = 0.5 * (plain.systolic.time_s + plain.diastolic.time_s)
    reading = take_reading(cut(recording, middle_s, lost_s))
    assert reading.status is not Status.OK
    assert Flag.LAG_UNCERTAIN in reading.flags
    assert (reading.systolic.confidence or 0.0) <= 0.7


def test_torn_sound_is_doubted_where_the_lag_is_given() -> None:
    recording, in_step = fixture("ordinary"), Settings(lag_s=0.0)
    plain = take_reading(recording, in_step)
    assert plain.status is Status.OK
    middle_s = 0.5 * (plain.systolic.time_s + plain.diastolic.time_s)
    reading = take_reading(cut(recording, middle_s, 0.6), in_step)
    assert reading.status is not Status.OK
    assert Flag.LAG_UNCERTAIN in reading.flags
