"""Pulse rate and rhythm of whole readings, against the beats that were simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.ear.confidence import widening_mmhg
from tapfall.model import Flag, Rhythm, Status
from tapfall.synth import Simulation, load_builtin, simulate

#: A counted pulse is off by so much at most where one beat of the deflation is taken for none.
NEAR_PER_MIN = 3.0


def true_per_min(simulation: Simulation) -> float:
    """Beats a minute over the whole recording."""
    time_s = np.array([beat.time_s for beat in simulation.truth.beats])
    return 60.0 * (time_s.size - 1) / float(time_s[-1] - time_s[0])


@pytest.mark.parametrize("seed", [101, 103, 104])
def test_bigeminy_is_irregular_and_every_beat_of_it_counts(seed: int) -> None:
    simulation = simulate(replace(load_builtin("bigeminy"), seed=seed))
    reading = take_reading(simulation.recording)
    assert reading.rhythm is Rhythm.IRREGULAR
    assert Flag.IRREGULAR_RHYTHM in reading.flags
    assert reading.pulse_per_min == pytest.approx(true_per_min(simulation), abs=NEAR_PER_MIN)


@pytest.mark.parametrize("seed", [7, 8])
def test_fibrillation_is_counted_by_its_mean(seed: int) -> None:
    simulation = simulate(replace(load_builtin("irregular_rhythm"), seed=seed))
    reading = take_reading(simulation.recording)
    assert reading.rhythm is Rhythm.IRREGULAR
    # Twenty seconds of a minute: their own mean differs.
    assert reading.pulse_per_min == pytest.approx(true_per_min(simulation), rel=0.1)


@pytest.mark.parametrize(("per_min", "rhythm"), [(0.0, Rhythm.REGULAR), (9.0, Rhythm.IRREGULAR)])
def test_many_early_beats_make_a_rhythm_irregular(per_min: float, rhythm: Rhythm) -> None:
    normal = load_builtin("normal")
    person = replace(normal.person, rhythm="ectopics", ectopics_per_min=per_min)
    right = 0
    for seed in range(5, 15):
        simulation = simulate(replace(normal, seed=seed, person=person))
        reading = take_reading(simulation.recording)
        right += reading.rhythm is rhythm
        assert reading.pulse_per_min == pytest.approx(true_per_min(simulation), abs=NEAR_PER_MIN)
    assert right >= 9


def test_an_uneven_rhythm_without_pulses_on_the_log_is_never_sure() -> None:
    """Silent beats of a fibrillating heart show nowhere: a third of such values is wrong.

    (100 simulated recordings of real series.)
    """
    uneven = load_builtin("irregular_rhythm")
    cuff = replace(uneven.cuff, log_rate_hz=1.0, rounding_mmhg=2.0)
    found = [
        take_reading(simulate(replace(uneven, seed=seed, cuff=cuff)).recording)
        for seed in range(12)
    ]
    irregular = [one for one in found if one.rhythm is Rhythm.IRREGULAR]
    assert len(irregular) >= 8
    for one in irregular:
        assert one.status is not Status.OK
        assert max(one.systolic.confidence or 0.0, one.diastolic.confidence or 0.0) <= 0.65
    assert sum(one.status is Status.OK for one in found) <= 1


@pytest.mark.parametrize("kind", ["systolic", "diastolic"])
@pytest.mark.parametrize("anchored", [True, False])
def test_a_value_is_wider_the_more_it_is_in_doubt(kind: str, anchored: bool) -> None:
    doubtful_mmhg = widening_mmhg(0.6, kind, anchored=anchored)
    assert doubtful_mmhg > 1.0
    assert doubtful_mmhg == pytest.approx(2 * widening_mmhg(0.79, kind, anchored=anchored))
    assert widening_mmhg(0.99, kind, anchored=anchored) == 0
