"""A log that never rests at zero: all values would be wrong by as much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import Listener, take_reading
from tapfall.ear.cuff import find_deflation
from tapfall.ear.zero import zero_off
from tapfall.model import CuffLog, Flag, Recording, Status
from tapfall.synth import simulate
from tests.accuracy.groups import draw
from tests.ear.made import Corner, line

WHOLE: tuple[Corner, ...] = ((0, 0), (4, 0), (9, 170), (11, 170), (51, 50), (51.7, 0), (60, 0))


def off(corners: tuple[Corner, ...], by_mmhg: float) -> bool:
    time_s, mmhg = line(corners, 20.0)
    fall = find_deflation(time_s, mmhg + by_mmhg)
    assert fall is not None
    return zero_off(time_s, mmhg + by_mmhg, fall)


@pytest.mark.parametrize("by_mmhg", [-12.0, -5.0, 5.0, 9.0, 20.0, 60.0])
def test_a_zero_that_is_far_off_is_told(by_mmhg: float) -> None:
    assert off(WHOLE, by_mmhg)


# A new manometer may be 3 mmHg off (ISO 81060-1, from memory).
@pytest.mark.parametrize("by_mmhg", [-3.0, 0.0, 3.0])
def test_what_a_manometer_may_be_off_is_no_matter(by_mmhg: float) -> None:
    assert not off(WHOLE, by_mmhg)


def test_a_log_that_ends_above_rest_tells_nothing_of_its_zero() -> None:
    assert not off(((0, 90), (4, 170), (44, 50)), 0.0)


def test_pressure_left_in_the_cuff_at_the_end_is_no_zero_where_it_began_at_none() -> None:
    # 20 mmHg stay in a cuff that was empty before; the whole log shows both.
    corners = ((0, 0), (4, 0), (9, 170), (11, 170), (51, 50), (51.7, 20), (70, 20))
    assert not off(corners, 0.0)


def test_what_is_left_in_the_cuff_passes_for_a_zero_where_only_the_end_is_seen() -> None:
    # 10 mmHg at the end of a log that begins in the inflation may be either.
    corners = ((0, 15), (5, 170), (7, 170), (47, 50), (47.7, 10), (60, 10))
    assert off(corners, 0.0)


@pytest.mark.parametrize("before_mmhg", [0.0, 10.0])
def test_the_rest_before_tells_what_was_left_in_the_cuff_from_a_zero(before_mmhg: float) -> None:
    time_s, mmhg = line(((5, 15), (10, 170), (12, 170), (52, 50), (52.7, 10), (65, 10)), 20.0)
    fall = find_deflation(time_s, mmhg)
    assert fall is not None
    rest_s = np.arange(0.0, 4.9, 0.05)
    found = zero_off(time_s, mmhg, fall, (rest_s, np.full(rest_s.size, before_mmhg)))
    assert found is (before_mmhg == 10.0)


@pytest.fixture(scope="module")
def moved() -> Recording:
    """A plain recording whose log reads 25 mmHg too high."""
    plain = simulate(draw("ordinary", 12)).recording
    log = CuffLog(time_s=plain.cuff.time_s, pressure_mmhg=plain.cuff.pressure_mmhg + 25.0)
    return replace(plain, cuff=log)


def test_a_reading_with_its_zero_off_asks_for_a_person(moved: Recording) -> None:
    found = take_reading(moved)
    assert Flag.ZERO_OFF in found.flags
    assert found.status is Status.REVIEW
    log = moved.cuff
    plain = replace(moved, cuff=CuffLog(time_s=log.time_s, pressure_mmhg=log.pressure_mmhg - 25.0))
    before = take_reading(plain)
    assert Flag.ZERO_OFF not in before.flags
    assert found.systolic.mmhg == pytest.approx(np.add(before.systolic.mmhg, 25.0), abs=2.0)


def test_the_listener_tells_the_same(moved: Recording) -> None:
    listener = Listener(rate_hz=moved.rate_hz)
    listener.push_cuff(moved.cuff.time_s, moved.cuff.pressure_mmhg)
    listener.push_audio(moved.samples)
    assert listener.finish() == take_reading(moved)


def test_a_cuff_that_was_empty_before_keeps_what_is_left_in_it_to_itself() -> None:
    plain = simulate(draw("ordinary", 12)).recording
    time_s, mmhg = plain.cuff.time_s, plain.cuff.pressure_mmhg
    end_s = time_s[np.flatnonzero(mmhg > 30)[-1]]
    left = replace(plain, cuff=CuffLog(time_s=time_s, pressure_mmhg=mmhg + 9.0 * (time_s > end_s)))
    begins = np.flatnonzero(mmhg >= 15.0)[0]
    cut = CuffLog(time_s=time_s[begins:], pressure_mmhg=left.cuff.pressure_mmhg[begins:])
    assert Flag.ZERO_OFF not in take_reading(left).flags
    assert Flag.ZERO_OFF in take_reading(replace(left, cuff=cut)).flags
