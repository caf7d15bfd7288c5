"""Where the cuff stood still: stops, steps, and the heart's pulse taken away before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.pulses import Pulses
from tapfall.technique.stillness import Stillness, Stop, stillness, without_pulse
from tests.technique.made import CORNERS, log_of, pulses_of

#: The ordinary fall, 2.5 mmHg/s from 150 mmHg at 12 s to 50 mmHg at 52 s.
TIME_S = log_of(rate_hz=50.0).time_s
FALL_MMHG = log_of(rate_hz=50.0).pressure_mmhg
BEATS_S = np.arange(12.4, 52.0, 0.8)


def ordinary() -> Deflation:
    fall = find_deflation(TIME_S, FALL_MMHG)
    assert fall is not None
    return fall


def pulses_at(time_s: np.ndarray = BEATS_S, usable: bool = True) -> Pulses:
    return pulses_of(time_s, np.full(time_s.size, 3.0), usable=usable)


def wave(time_s: np.ndarray, size_mmhg: float = 3.0) -> np.ndarray:
    """A pulse with each beat, smooth, so that sixteen values a beat describe it well."""
    turns = (time_s - BEATS_S[0]) / 0.8
    return 0.5 * size_mmhg * (1.0 - np.cos(2.0 * np.pi * turns) + 0.3 * np.sin(4.0 * np.pi * turns))


def inside() -> np.ndarray:
    return (TIME_S > 13.0) & (TIME_S < 51.0)


def test_what_every_beat_brings_is_taken_away() -> None:
    rows = inside()
    time_s, even = TIME_S[rows], FALL_MMHG[rows]
    clean = without_pulse(time_s, even + wave(time_s), ordinary(), pulses_at())
    left = clean - even
    # The pulse swings by 3 mmHg; what is left, but for its mean, by a tenth of that.
    assert np.ptp(left) < 0.3
    assert left.mean() == pytest.approx(1.5, abs=0.1)
    assert clean.shape == time_s.shape


def test_a_pulse_that_grows_and_shrinks_is_taken_away_with_its_neighbours() -> None:
    rows = inside()
    time_s, even = TIME_S[rows], FALL_MMHG[rows]
    size_mmhg = 1.0 + 3.0 * np.exp(-0.5 * ((time_s - 32.0) / 10.0) ** 2)
    clean = without_pulse(time_s, even + size_mmhg * wave(time_s, 1.0), ordinary(), pulses_at())
    swing = [np.ptp((clean - even)[(time_s >= a) & (time_s < a + 0.8)]) for a in BEATS_S[2:-3]]
    assert max(swing) < 0.6


def test_what_comes_once_is_no_pulse() -> None:
    # A step of 5 mmHg in one beat is in none of the others: all of it stays.
    rows = inside()
    time_s, even = TIME_S[rows], FALL_MMHG[rows]
    step = np.where(time_s >= 32.4, -5.0, 0.0)
    clean = without_pulse(time_s, even + step + wave(time_s), ordinary(), pulses_at())
    off = clean - even
    before = off[(time_s > 30.8) & (time_s < 32.4)].mean()
    after = off[(time_s > 32.4) & (time_s < 34.0)].mean()
    assert before - after == pytest.approx(5.0, abs=0.3)


def test_a_beat_without_rows_takes_its_neighbours_pulse() -> None:
    rows = inside() & ~((TIME_S > 30.0) & (TIME_S < 30.8))
    time_s, even = TIME_S[rows], FALL_MMHG[rows]
    clean = without_pulse(time_s, even + wave(time_s), ordinary(), pulses_at())
    assert np.isfinite(clean).all()
    assert np.ptp(clean - even) < 0.3


def test_without_pulses_the_rows_stay_as_they_are() -> None:
    rows = inside()
    time_s, mmhg = TIME_S[rows], FALL_MMHG[rows] + wave(TIME_S[rows])
    fall = ordinary()
    assert without_pulse(time_s, mmhg, fall, pulses_at(usable=False)) is mmhg
    # Nine beats are what the shared pulse is taken over (our choice).
    assert without_pulse(time_s, mmhg, fall, pulses_at(BEATS_S[:8])) is mmhg
    assert without_pulse(time_s, mmhg, fall, pulses_at(BEATS_S[:9])) is not mmhg


def test_a_pulse_makes_no_stops_once_it_is_taken_away() -> None:
    mmhg = FALL_MMHG + np.where((TIME_S > 12.4) & (TIME_S < 51.6), wave(TIME_S), 0.0)
    fall = ordinary()
    found = stillness(TIME_S, mmhg, fall, pulses_at(), 2.5)
    assert found is not None
    # Longer than half a second none is left; with the pulse there are dozens that rise.
    assert found.stops == ()
    assert found.lasts_s == pytest.approx(40.0, abs=1.0)


def test_a_pause_beneath_the_pulse_is_found() -> None:
    corners = [*CORNERS[:4], (32.0, 100.0), (36.0, 100.0), (56.0, 50.0), (57.0, 0.0), (65.0, 0.0)]
    log = log_of(corners, rate_hz=50.0)
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    beats = np.arange(12.4, 56.0, 0.8)
    mmhg = log.pressure_mmhg + np.where(log.time_s < 55.6, wave(log.time_s), 0.0)
    found = stillness(log.time_s, mmhg, fall, pulses_at(beats), 2.5)
    assert found is not None
    (pause,) = found.pauses
    assert pause.begin_s == pytest.approx(32.0, abs=0.5)
    assert pause.end_s == pytest.approx(36.0, abs=0.5)
    assert pause.mmhg == pytest.approx(101.5, abs=1.0)  # the mean of the pulse is 1.5


@pytest.mark.parametrize(("rate_hz", "told"), [(5.2, True), (4.8, False)])
def test_logs_below_5_hz_tell_nothing(rate_hz: float, told: bool) -> None:
    log = log_of(rate_hz=rate_hz)
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    found = stillness(log.time_s, log.pressure_mmhg, fall, pulses_at(usable=False), 2.5)
    assert (found is not None) == told


def test_a_hole_in_the_log_is_neither_still_nor_falling() -> None:
    corners = [*CORNERS[:4], (32.0, 100.0), (36.0, 100.0), (56.0, 50.0), (57.0, 0.0), (65.0, 0.0)]
    log = log_of(corners)
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    still = stillness(log.time_s, log.pressure_mmhg, fall, pulses_at(usable=False), 2.5)
    assert still is not None
    assert len(still.pauses) == 1
    holed = replace(fall, holes_s=((31.0, 37.0),))
    none = stillness(log.time_s, log.pressure_mmhg, holed, pulses_at(usable=False), 2.5)
    assert none is not None
    assert none.stops == ()


def stops(*lasts_s: float) -> tuple[Stop, ...]:
    return tuple(
        Stop(begin_s=10.0 * n, end_s=10.0 * n + lasts_s_, mmhg=100.0)
        for n, lasts_s_ in enumerate(lasts_s)
    )


@pytest.mark.parametrize(
    ("lasts_s", "stepped"),
    [
        # Without the longest: 6.0 of 40 s is 15 %, and not more.
        ((2.0, 2.0, 2.0, 2.0), False),
        ((2.1, 2.1, 2.1, 2.1), True),
        # One pause and three stops of half a second: 1.5 of 40 s.
        ((9.0, 0.5, 0.5, 0.5), False),
        # Fewer than four stops, however long.
        ((5.0, 5.0, 5.0), False),
        ((1.0,) * 8, True),
        ((1.0,) * 7, False),
        ((), False),
    ],
)
def test_steps_are_many_stops_that_take_their_share(
    lasts_s: tuple[float, ...], stepped: bool
) -> None:
    assert Stillness(stops=stops(*lasts_s), lasts_s=40.0).stepped is stepped


def test_pauses_are_stops_of_two_seconds() -> None:
    found = Stillness(stops=stops(1.9, 2.0, 2.5), lasts_s=40.0)
    assert [round(one.lasts_s, 1) for one in found.pauses] == [2.0, 2.5]


def paused(*pauses: tuple[float, float]) -> tuple[np.ndarray, np.ndarray, Deflation]:
    """A fall of 2.5 mmHg/s with pauses, each at a pressure and for a time."""
    corners = [*CORNERS[:4]]
    at_s, mmhg = 12.0, 150.0
    for pressure_mmhg, lasts_s in (*pauses, (50.0, 0.0)):
        at_s, mmhg = at_s + (mmhg - pressure_mmhg) / 2.5, pressure_mmhg
        corners.append((at_s, mmhg))
        at_s += lasts_s
        corners.append((at_s + (0.001 if not lasts_s else 0.0), mmhg))
    corners += [(at_s + 1.0, 0.0), (at_s + 9.0, 0.0)]
    log = log_of(corners, rate_hz=50.0)
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    return log.time_s, log.pressure_mmhg, fall


@pytest.mark.parametrize("lasts_s", [0.7, 1.0, 4.0])
def test_a_stop_is_told_with_its_times_and_pressure(lasts_s: float) -> None:
    found = stillness(*paused((100.0, lasts_s)), pulses_at(usable=False), 2.5)
    assert found is not None
    (stop,) = found.stops
    # From 150 to 100 mmHg at 2.5 mmHg/s from 12 s on: at 32 s.
    assert stop.begin_s == pytest.approx(32.0, abs=0.11)
    assert stop.end_s == pytest.approx(32.0 + lasts_s, abs=0.11)
    assert stop.lasts_s == pytest.approx(lasts_s, abs=0.16)
    assert stop.mmhg == pytest.approx(100.0, abs=0.05)
    assert found.lasts_s == pytest.approx(40.0 + lasts_s, abs=0.8)


def test_a_stop_of_less_than_half_a_second_is_none() -> None:
    found = stillness(*paused((100.0, 0.4)), pulses_at(usable=False), 2.5)
    assert found is not None
    assert found.stops == ()


def test_a_hole_hides_no_stop_beside_it() -> None:
    time_s, mmhg, fall = paused((125.0, 3.0), (75.0, 4.0))
    # At 22 to 25 s and, 20 s of fall later, at 45 to 49 s.
    whole = stillness(time_s, mmhg, fall, pulses_at(usable=False), 2.5)
    assert whole is not None
    assert [round(one.mmhg) for one in whole.stops] == [125, 75]
    for hole_s, left in (((21.0, 26.0), [75]), ((44.0, 50.0), [125]), ((30.0, 40.0), [125, 75])):
        holed = replace(fall, holes_s=(hole_s,))
        found = stillness(time_s, mmhg, holed, pulses_at(usable=False), 2.5)
        assert found is not None
        assert [round(one.mmhg) for one in found.stops] == left
