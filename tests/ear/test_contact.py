"""A stethoscope that is put on late, or lifted, where the sounds begin or end."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.model import Flag, Reading, Status
from tapfall.synth import Simulation, load_builtin, simulate

SEEDS = range(40, 52)
MOVED = Flag.STETHOSCOPE_MOVED


@lru_cache(maxsize=16)
def simulated(seed: int) -> Simulation:
    """A healthy person measured well."""
    return simulate(replace(load_builtin("normal"), seed=seed))


def off_the_skin(simulation: Simulation, first_s: float, last_s: float) -> Reading:
    """Read it with the stethoscope in the air, where it hears the room, between two times."""
    recording = simulation.recording
    samples = np.asarray(recording.samples, np.float64).copy()
    first, last = (max(0, int(at_s * recording.rate_hz)) for at_s in (first_s, last_s))
    part = samples[first:last]
    room = np.random.default_rng(simulation.scenario.seed).standard_normal(part.size)
    samples[first:last] = 0.02 * part + 0.4 * float(np.std(samples[:4000])) * room
    return take_reading(replace(recording, samples=samples.astype(np.float32)))


def sound_s(simulation: Simulation, index: int) -> float:
    """When a beat sounds, counted from the first or the last that does."""
    return [beat.time_s for beat in simulation.truth.beats if beat.audible_in_quiet][index]


def doubted(readings: list[Reading]) -> int:
    """How many say that the stethoscope moved, and ask for a person."""
    assert all(one.status is Status.REVIEW for one in readings if MOVED in one.flags)
    return sum(MOVED in one.flags for one in readings)


def test_who_listens_late_is_not_told_a_sure_systolic() -> None:
    found = [off_the_skin(one, 0.0, sound_s(one, 6) - 0.3) for one in map(simulated, SEEDS)]
    assert doubted(found) >= 8
    for one, simulation in zip(found, map(simulated, SEEDS), strict=True):
        true = simulation.truth.in_quiet.systolic
        if MOVED in one.flags and one.systolic.high_mmhg is not None:
            assert true.mmhg is not None
            assert one.systolic.high_mmhg >= true.mmhg - 4


def test_who_lifts_the_ear_before_the_sounds_end_is_not_told_a_sure_diastolic() -> None:
    found = [off_the_skin(one, sound_s(one, -6) + 0.4, 1e3) for one in map(simulated, SEEDS)]
    assert doubted(found) >= 8
    for one, simulation in zip(found, map(simulated, SEEDS), strict=True):
        true = simulation.truth.in_quiet.diastolic
        if MOVED in one.flags and one.diastolic.low_mmhg is not None:
            assert true.mmhg is not None
            assert one.diastolic.low_mmhg <= true.mmhg + 4


def test_who_lifts_the_ear_in_the_middle_of_the_sounds_is_told_both() -> None:
    for simulation in map(simulated, SEEDS):
        middle_s = 0.5 * (sound_s(simulation, 0) + sound_s(simulation, -1))
        reading = off_the_skin(simulation, middle_s, middle_s + 2.0)
        true = simulation.truth.in_quiet
        assert reading.systolic.mmhg == pytest.approx(true.systolic.mmhg, abs=4)
        assert reading.diastolic.mmhg == pytest.approx(true.diastolic.mmhg, abs=4)


def test_an_ear_that_stays_on_is_believed() -> None:
    assert doubted([take_reading(one.recording) for one in map(simulated, SEEDS)]) == 0
