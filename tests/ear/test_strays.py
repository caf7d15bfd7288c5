"""Sounds like the wanted ones that keep no step with the pulse."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.model import Flag, Reading, Status
from tapfall.synth import Simulation, load_builtin, simulate
from tests.ear.heard import NAMES, fixture_reading
from tests.ear.made import tap

SEEDS = range(60, 66)
STRAY = Flag.STRAY_SOUNDS


@lru_cache(maxsize=8)
def simulated(seed: int) -> Simulation:
    """A healthy person measured well."""
    return simulate(replace(load_builtin("normal"), seed=seed))


def read_with_taps(simulation: Simulation, time_s: np.ndarray) -> Reading:
    """The reading with taps added that are half as high as the highest sound."""
    recording = simulation.recording
    samples = np.asarray(recording.samples, np.float64).copy()
    at_s = np.arange(samples.size) / recording.rate_hz
    height = 0.5 * float(np.abs(samples).max())
    for one_s in time_s.tolist():
        near = slice(*np.searchsorted(at_s, (one_s - 0.1, one_s + 0.1)))
        samples[near] += height * tap(at_s[near], one_s)
    return take_reading(replace(recording, samples=samples.astype(np.float32)))


def sound_s(simulation: Simulation) -> np.ndarray:
    return np.array([beat.time_s for beat in simulation.truth.beats if beat.audible_in_quiet])


@pytest.mark.parametrize("interval_s", [0.47, 0.7, 1.1])
def test_fingers_that_tap_at_their_own_pace_ask_for_a_person(interval_s: float) -> None:
    for seed in SEEDS:
        simulation = simulated(seed)
        assert STRAY not in take_reading(simulation.recording).flags
        end_s = simulation.recording.samples.size / simulation.recording.rate_hz
        found = read_with_taps(simulation, np.arange(0.3, end_s - 0.2, interval_s))
        assert STRAY in found.flags
        assert found.status is Status.REVIEW
        sure = [one.confidence for one in (found.systolic, found.diastolic)]
        assert all(one is None or one <= 0.7 for one in sure)


def test_what_comes_with_every_beat_is_no_stray() -> None:
    # A heart sound that is conducted along the arm.
    for seed in SEEDS:
        simulation = simulated(seed)
        after_s = np.array([beat.time_s for beat in simulation.truth.beats]) + 0.33
        assert STRAY not in read_with_taps(simulation, after_s).flags


def test_one_knock_or_two_are_no_rhythm() -> None:
    for seed in SEEDS:
        simulation = simulated(seed)
        first_s = float(sound_s(simulation)[0])
        assert STRAY not in read_with_taps(simulation, first_s - np.array([2.3, 4.1])).flags


def test_no_fixture_has_strays() -> None:
    assert [name for name in NAMES if STRAY in fixture_reading(name).flags] == []
