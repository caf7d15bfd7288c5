"""Clocks that no lag sets right: one runs fast or slow, or they lie seconds apart."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Flag, Reading, Status
from tapfall.synth import Simulation, load_builtin, sample, simulate

SEEDS = range(60, 70)


@lru_cache(maxsize=16)
def simulated(seed: int) -> Simulation:
    """A healthy person measured well."""
    return simulate(replace(load_builtin("normal"), seed=seed))


def read_with_clock(seed: int, fast_share: float, lag_s: float = 0.0) -> Reading:
    """Read it with a log whose clock is fast by a share, and late by a lag."""
    recording = simulated(seed).recording
    time_s = recording.cuff.time_s * (1 + fast_share) + lag_s
    log = CuffLog(time_s=time_s, pressure_mmhg=recording.cuff.pressure_mmhg)
    return take_reading(replace(recording, cuff=log))


@pytest.mark.parametrize("fast_share", [0.02, -0.02])
def test_a_lag_that_holds_nowhere_is_not_settled(fast_share: float) -> None:
    found = [read_with_clock(seed, fast_share) for seed in SEEDS]
    assert sum(Flag.LAG_UNCERTAIN in one.flags for one in found) >= 8
    assert sum(one.status is Status.OK for one in found) <= 1


@pytest.mark.parametrize("lag_s", [0.0, 0.9])
@pytest.mark.parametrize("fast_share", [0.0, 1e-4, -1e-4])
def test_clocks_that_keep_step_as_clocks_do_are_believed(fast_share: float, lag_s: float) -> None:
    found = [read_with_clock(seed, fast_share, lag_s) for seed in SEEDS]
    assert not any(Flag.LAG_UNCERTAIN in one.flags for one in found)


def people_with_lag(lag_s: float) -> list[Reading]:
    """Readings of ten people of the population whose log is late."""
    found = []
    for seed in SEEDS:
        recording = simulate(sample(seed)).recording
        log = recording.cuff
        late = CuffLog(time_s=log.time_s + lag_s, pressure_mmhg=log.pressure_mmhg)
        found.append(take_reading(replace(recording, cuff=late)))
    return found


@pytest.mark.parametrize("lag_s", [-4.3, 4.3])
def test_clocks_further_apart_than_is_searched_are_not_settled(lag_s: float) -> None:
    found = people_with_lag(lag_s)
    # None where only lags within the search were looked at.
    assert sum(Flag.LAG_UNCERTAIN in one.flags for one in found) >= 6


@pytest.mark.parametrize("lag_s", [0.0, 1.2])
def test_a_lag_within_the_search_is_believed_where_it_is_found(lag_s: float) -> None:
    found = people_with_lag(lag_s)
    right = [one for one in found if one.lag and abs(one.lag.seconds - lag_s) < 0.2]
    assert len(right) >= 9
    assert sum(Flag.LAG_UNCERTAIN in one.flags for one in right) <= 1
    assert not any(one.status is Status.OK for one in found if one not in right)
