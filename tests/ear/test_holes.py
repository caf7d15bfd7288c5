"""Holes in the sound: what was not heard there bounds the values beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.ear.holes import sound_holes
from tapfall.ear.record import Record
from tapfall.model import CuffLog, Flag, Recording, Status
from tests.ear.heard import fixture

#: The thresholds of the fixture by its truth, mmHg.
SYSTOLIC_MMHG, DIASTOLIC_MMHG = 116.4, 76.3


def without(begin_s: float, end_s: float) -> Recording:
    """The ordinary fixture without its sound between two times."""
    whole = fixture("ordinary")
    samples = np.array(whole.samples)
    samples[round(begin_s * whole.rate_hz) : round(end_s * whole.rate_hz)] = 0
    return Recording(samples=samples, rate_hz=whole.rate_hz, cuff=whole.cuff)


@pytest.mark.parametrize("span_s", [(22.0, 26.0), (23.0, 24.5), (22.9, 24.0)])
def test_a_hole_that_swallows_the_first_sounds_bounds_the_systolic(
    span_s: tuple[float, float],
) -> None:
    reading = take_reading(without(*span_s))
    assert Flag.AUDIO_DROPOUT in reading.flags
    assert reading.status is Status.REVIEW
    value = reading.systolic
    assert value.low_mmhg is not None
    assert value.high_mmhg is not None
    assert value.low_mmhg <= SYSTOLIC_MMHG <= value.high_mmhg
    assert (value.confidence or 0.0) <= 0.7


def test_a_hole_that_swallows_the_last_sounds_bounds_the_diastolic() -> None:
    value = take_reading(without(38.0, 44.0)).diastolic
    assert value.low_mmhg is not None
    assert value.high_mmhg is not None
    assert value.low_mmhg <= DIASTOLIC_MMHG <= value.high_mmhg
    assert (value.confidence or 0.0) <= 0.7


def test_a_hole_far_from_the_thresholds_leaves_them_alone() -> None:
    whole, holed = take_reading(fixture("ordinary")), take_reading(without(10.0, 12.0))
    assert Flag.AUDIO_DROPOUT in holed.flags
    for one, other in ((whole.systolic, holed.systolic), (whole.diastolic, holed.diastolic)):
        assert other.mmhg == pytest.approx(one.mmhg, abs=0.2)
        assert (other.confidence or 0.0) > 0.95


@pytest.mark.parametrize(("at_s", "flagged"), [(8.6, True), (50.4, False)])
def test_a_hole_lies_in_the_deflation_as_the_clocks_have_it(at_s: float, flagged: bool) -> None:
    # The fixture deflates from 8.4 to 50.0 s of its sound; here the log is 1.5 s late.
    whole, holed = fixture("ordinary"), without(at_s, at_s + 0.8)
    cuff = CuffLog(time_s=whole.cuff.time_s + 1.5, pressure_mmhg=whole.cuff.pressure_mmhg)
    reading = take_reading(replace(holed, cuff=cuff))
    assert reading.lag is not None and reading.lag.seconds == pytest.approx(1.5, abs=0.1)
    assert (Flag.AUDIO_DROPOUT in reading.flags) is flagged


def test_short_silences_are_no_holes() -> None:
    sound = np.random.default_rng(2).standard_normal(8000)
    for begin in range(500, 8000, 1000):
        sound[begin : begin + 250] = 0.0
    none = np.zeros(0)
    record = Record(
        sound=sound,
        clipped=np.zeros(8000, bool),
        rate_hz=1000.0,
        start_s=3.0,
        log_s=none,
        log_mmhg=none,
    )
    assert sound_holes(record, 3.0, 11.0) == ()
    sound[2000:2400] = 0.0
    assert sound_holes(record, 3.0, 11.0) == ((5.0, 5.4),)
