"""Marks of the sounds, and a clock made of those of an uneven heart."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear import taking
from tapfall.ear.onsets import NOTHING, STEP_S, Marks, Onsets, contrast
from tapfall.model import Reading, Recording
from tests.ear.made import slow_fall_mmhg, taps_on_a_slow_log


def fibrillating(seed: int) -> tuple[Recording, np.ndarray]:
    """Clear taps of a heart that beats at any interval, on a log of 1 Hz; their pressures."""
    rng = np.random.default_rng(seed)
    # Intervals of fibrillation scatter by a fifth to a quarter of their mean (common practice).
    beat_s = 10.3 + np.cumsum(rng.uniform(0.5, 1.15, 70))
    beat_s = beat_s[beat_s < 54.0]
    cuff_mmhg = slow_fall_mmhg(beat_s)
    sounds = (cuff_mmhg < 128) & (cuff_mmhg > 82)
    made = taps_on_a_slow_log(beat_s[sounds], np.ones(sounds.sum()), rng)
    return made, cuff_mmhg[sounds]


def near(reading: Reading, sounds_mmhg: np.ndarray) -> list[bool]:
    """Whether either value is told, and within 4 mmHg."""
    found = (reading.systolic.mmhg, reading.diastolic.mmhg)
    return [
        value is not None and abs(value - true) <= 4.0
        for value, true in zip(found, sounds_mmhg[[0, -1]], strict=True)
    ]


def test_clear_marks_are_those_in_step_of_even_odds() -> None:
    odds = np.full(100, NOTHING)
    odds[[10, 30, 50]] = 2.0, -1.0, 3.0
    around = Onsets(log_odds=odds, start_s=5.0)
    marks = Marks(around=around, chained_s=5.0 + STEP_S * np.array([10.0, 30.0]))
    assert marks.clear_s() == pytest.approx([5.0 + 10 * STEP_S])


def test_where_every_beat_sounds_they_stand_out_from_nothing() -> None:
    beat_s = np.arange(1.0, 17.0)
    odds = np.full(round(20.0 / STEP_S), -6.0)
    odds[np.rint(beat_s / STEP_S).astype(int)] = 2.0
    assert contrast(Onsets(log_odds=odds, start_s=0.0), beat_s, np.ones(16, bool)) == 0.0


def test_an_uneven_heart_is_heard_without_its_pulse() -> None:
    found = [near(*_read(seed)) for seed in range(12)]
    assert np.mean(found) > 0.93


def _read(seed: int) -> tuple[Reading, np.ndarray]:
    made, sounds_mmhg = fibrillating(seed)
    return taking.take_reading(made), sounds_mmhg
