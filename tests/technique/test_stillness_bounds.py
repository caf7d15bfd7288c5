"""How the shared pulse is taken, beat by beat, and how short a stop may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear.cuff import find_deflation
from tapfall.technique.stillness import stillness, without_pulse
from tests.technique.made import CORNERS, log_of
from tests.technique.test_stillness import BEATS_S, ordinary, paused, pulses_at, wave

#: Beats of the ordinary fall, a whole number of them, 0.8 s each.
COUNT = BEATS_S.size - 1


def rows_at(rate_hz: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times of rows within the beats, which beat each is in, and how far through it."""
    time_s = np.arange(BEATS_S[0] + 0.003, BEATS_S[-1], 1.0 / rate_hz)
    turns = (time_s - BEATS_S[0]) / 0.8
    return time_s, turns.astype(int), turns % 1.0


def left_of(time_s: np.ndarray, added_mmhg: np.ndarray) -> np.ndarray:
    """What is left of what was added to the ordinary fall."""
    fall = ordinary()
    even = fall.pressure_mmhg(time_s)
    return without_pulse(time_s, even + added_mmhg, fall, pulses_at()) - even


def swings(beat: np.ndarray, left_mmhg: np.ndarray) -> np.ndarray:
    """How far each beat still swings."""
    return np.array([np.ptp(left_mmhg[beat == one]) for one in range(COUNT)])


@pytest.mark.parametrize("rate_hz", [5.3, 7.1, 10.7])
def test_a_slow_log_shows_the_pulse_by_many_beats_together(rate_hz: float) -> None:
    # Four to nine rows a beat: most of its sixteenths are seen in other beats alone.
    time_s, _, _ = rows_at(rate_hz)
    left = left_of(time_s, wave(time_s))
    assert np.std(left) < 0.15 * np.std(wave(time_s))


def test_the_end_of_a_beat_is_taken_away_like_its_begin() -> None:
    time_s, beat, share = rows_at(50.0)
    for middle in (0.05, 0.5, 0.94):
        away = np.abs((share - middle + 0.5) % 1.0 - 0.5)
        left = left_of(time_s, 3.0 * np.exp(-0.5 * (away / 0.07) ** 2))
        assert swings(beat, left)[1:-1].max() < 0.7


@pytest.mark.parametrize("change", [5, 20, COUNT - 5])
def test_a_pulse_that_changes_at_once_is_taken_from_the_beats_on_its_side(change: int) -> None:
    # Of nine beats around each, five lie on its own side.
    time_s, beat, _ = rows_at(50.0)
    added = np.where(beat < change, 1.0, 3.0) * wave(time_s, 1.0)
    assert swings(beat, left_of(time_s, added)).max() < 0.4


@pytest.mark.parametrize("first", [0, 20, COUNT - 3])
def test_what_three_of_nine_beats_bring_is_no_pulse(first: int) -> None:
    time_s, beat, share = rows_at(50.0)
    odd = (beat >= first) & (beat < first + 3)
    bump = np.where(odd, 4.0 * np.exp(-0.5 * ((share - 0.5) / 0.1) ** 2), 0.0)
    left = swings(beat, left_of(time_s, wave(time_s) + bump))
    assert left[first : first + 3].min() > 3.5
    assert np.delete(left, [first, first + 1, first + 2]).max() < 0.4


@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
def test_a_pulse_is_taken_away_alike_wherever_it_is_steepest(phase: float) -> None:
    # 3 mmHg high; its sixteenths are joined by lines also from one beat to the next.
    time_s, beat, share = rows_at(50.0)
    left = left_of(time_s, 1.5 * (1.0 - np.cos(2.0 * np.pi * (share - phase))))
    assert swings(beat, left).max() < 0.12


@pytest.mark.parametrize(("lasts_s", "told"), [(0.45, False), (0.5, True)])
def test_stops_count_from_half_a_second_on(lasts_s: float, told: bool) -> None:
    found = stillness(*paused((100.0, lasts_s)), pulses_at(usable=False), 2.5)
    assert found is not None
    assert (len(found.stops) == 1) == told


@pytest.mark.parametrize(("share", "told"), [(0.0, True), (0.27, True), (0.33, False)])
def test_a_cuff_stands_still_that_falls_at_less_than_three_tenths_of_the_mean_rate(
    share: float, told: bool
) -> None:
    # From 100 mmHg at 32 s on it creeps for four seconds; the mean rate is 2.5 mmHg/s.
    creeps = 4.0 * share * 2.5
    ends_s = 36.0 + (50.0 - creeps) / 2.5
    corners = [*CORNERS[:4], (32.0, 100.0), (36.0, 100.0 - creeps), (ends_s, 50.0),
               (ends_s + 1.0, 0.0), (ends_s + 9.0, 0.0)]  # fmt: skip
    log = log_of(corners, rate_hz=50.0)
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    found = stillness(log.time_s, log.pressure_mmhg, fall, pulses_at(usable=False), 2.5)
    assert found is not None
    # Its pressure is the mean of the stretch.
    wanted = [pytest.approx(100.0 - creeps / 2.0, abs=0.02)] if told else []
    assert [stop.mmhg for stop in found.stops] == wanted


@pytest.mark.parametrize(("rows", "told"), [(9, False), (10, True)])
def test_fewer_than_ten_rows_of_a_fall_tell_nothing(rows: int, told: bool) -> None:
    time_s, mmhg, fall = paused((100.0, 4.0))
    few = np.flatnonzero((time_s >= fall.falls_from_s) & (time_s <= fall.end_s))[::200][:rows]
    assert few.size == rows
    found = stillness(time_s[few], mmhg[few], fall, pulses_at(usable=False), 2.5)
    assert (found is not None) == told


@pytest.mark.parametrize(("lasts_s", "told"), [(0.73, False), (0.78, True)])
def test_a_fall_of_less_than_eight_tenths_of_a_second_tells_nothing(
    lasts_s: float, told: bool
) -> None:
    # Pressure is evened out over 0.4 s, and its slope taken over as much (ours).
    time_s, mmhg, fall = paused((100.0, 4.0))
    short = replace(fall, falls_from_s=fall.end_s - lasts_s)
    found = stillness(time_s, mmhg, short, pulses_at(usable=False), 2.5)
    assert (found is not None) == told
