"""Clocks that no lag sets right: one runs fast or slow, or they lie seconds apart."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Flag, Reading, Status
from tapfall.synth import Simulation, load_builtin, simulate

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


@pytest.mark.parametrize("lag_s", [-4.3, -2.9, 2.9, 4.3])
def test_clocks_further_apart_than_is_searched_are_not_settled(lag_s: float) -> None:
    found = [read_with_clock(seed, 0.0, lag_s) for seed in SEEDS]
    # Six to nine of the ten; none where only lags within the search were looked at.
    assert sum(Flag.LAG_UNCERTAIN in one.flags for one in found) >= 6


def test_a_lag_at_the_end_of_the_search_is_believed() -> None:
    found = [read_with_clock(seed, 0.0, 1.8) for seed in SEEDS]
    assert sum(Flag.LAG_UNCERTAIN in one.flags for one in found) <= 1
    for one, seed in zip(found, SEEDS, strict=True):
        assert one.lag is not None
        true_s = 1.8 + simulated(seed).truth.lag_s
        if one.status is Status.OK:
            assert one.lag.seconds == pytest.approx(true_s, abs=0.2)
