"""The cuff log: where a measurement lies, where the cuff fell, and how smoothly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.measurement import measurement_bounds
from tapfall.model import Flag
from tests.ear.made import Corner, line, rounded_to, with_pulses

#: Rest, inflation to 170 mmHg, hold, 3 mmHg/s down to 50 mmHg, release, rest.
ORDINARY: tuple[Corner, ...] = ((0, 0), (4, 0), (9, 170), (11, 170), (51, 50), (51.7, 0), (58, 0))
#: The release of that log.
RELEASE_S = 51.0


def truth_mmhg(corners: tuple[Corner, ...], time_s: np.ndarray) -> np.ndarray:
    """The line through the corners at some times."""
    times, pressures = zip(*corners, strict=True)
    return np.interp(time_s, times, pressures)


def found_in(corners: tuple[Corner, ...], rate_hz: float = 50.0) -> Deflation:
    """The deflation of a clean line, which must be there."""
    found = find_deflation(*line(corners, rate_hz))
    assert found is not None
    return found


# --- where a measurement begins and ends -------------------------------------------------


def steps(*parts: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """One row a second: each part is (seconds, mmHg)."""
    pressures = np.concatenate([np.full(int(length), mmhg) for length, mmhg in parts])
    return np.arange(pressures.size, dtype=np.float64), pressures


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        # Nothing leaves rest.
        (((10, 0.0),), []),
        (((4, 0.0), (3, 14.9), (4, 0.0)), []),
        # 15 mmHg is not rest; the row 5 s after the first row of rest completes it.
        (((3, 0.0), (4, 15.0), (9, 0.0)), [(3, 13)]),
        # A rest shorter than 5 s ends nothing.
        (((3, 0.0), (4, 99.0), (5, 0.0), (4, 99.0), (9, 0.0)), [(3, 22)]),
        # One of 5 s does.
        (((3, 0.0), (4, 99.0), (6, 0.0), (4, 99.0), (9, 0.0)), [(3, 13), (13, 23)]),
        # The stream ends before the rest is complete, or without one.
        (((3, 0.0), (4, 99.0), (4, 0.0)), [(3, 11)]),
        (((3, 0.0), (4, 99.0)), [(3, 7)]),
        # The cuff is up from the first row.
        (((4, 99.0), (9, 0.0)), [(0, 10)]),
        # Below zero is rest too.
        (((3, -5.0), (4, 99.0), (9, -5.0)), [(3, 13)]),
        # Two measurements far apart.
        (((3, 0.0), (4, 99.0), (20, 0.0), (4, 80.0), (20, 0.0)), [(3, 13), (27, 37)]),
    ],
)
def test_a_measurement_lasts_until_the_next_rest_of_five_seconds(
    parts: tuple[tuple[float, float], ...], expected: list[tuple[int, int]]
) -> None:
    assert measurement_bounds(*steps(*parts)) == expected


def test_a_hole_in_the_log_counts_by_its_times() -> None:
    time_s = np.array([0.0, 1.0, 2.0, 3.0, 11.0, 12.0])
    pressure_mmhg = np.array([0.0, 90.0, 90.0, 5.0, 5.0, 90.0])
    # The rest began at 3 s; the row at 11 s is the first that completes it.
    assert measurement_bounds(time_s, pressure_mmhg) == [(1, 5), (5, 6)]


def test_an_empty_log_holds_nothing() -> None:
    assert measurement_bounds(np.zeros(0), np.zeros(0)) == []


@settings(max_examples=200, deadline=None)
@given(
    parts=st.lists(
        st.tuples(st.integers(1, 9), st.sampled_from([0.0, 14.9, 15.0, 120.0])), max_size=12
    ),
    shift_quarters=st.integers(-4000, 4000),
)
def test_bounds_are_ordered_hold_every_raised_row_and_move_with_time(
    parts: list[tuple[int, float]], shift_quarters: int
) -> None:
    time_s, pressure_mmhg = steps(*parts) if parts else (np.zeros(0), np.zeros(0))
    bounds = measurement_bounds(time_s, pressure_mmhg)
    inside = np.zeros(time_s.size, bool)
    before = 0
    for begin, stop in bounds:
        assert before <= begin < stop <= time_s.size
        assert pressure_mmhg[begin] >= 15.0
        inside[begin:stop] = True
        before = stop
    assert (pressure_mmhg[~inside] < 15.0).all()
    assert measurement_bounds(time_s + shift_quarters / 4, pressure_mmhg) == bounds


# --- one deflation -----------------------------------------------------------------------


def test_an_ordinary_deflation_is_found_whole() -> None:
    found = found_in(ORDINARY)
    assert found.flags == ()
    assert found.released
    assert found.rate_mmhg_per_s == pytest.approx(3.0, abs=0.05)
    assert found.log_rate_hz == pytest.approx(50.0)
    assert found.start_s == pytest.approx(9.0, abs=1.0)
    assert found.falls_from_s == pytest.approx(11.0, abs=1.0)
    assert found.end_s == pytest.approx(RELEASE_S, abs=0.15)
    inner = (found.time_s > 10.0) & (found.time_s < 50.5)
    truth = truth_mmhg(ORDINARY, found.time_s[inner])
    assert np.abs(found.trend_mmhg[inner] - truth).max() < 0.8


@pytest.mark.parametrize("hold_s", [0.0, 1.0, 5.0, 15.0])
def test_the_hold_at_the_top_belongs_to_the_deflation(hold_s: float) -> None:
    corners = tuple((t + hold_s * (t > 9), p) for t, p in ((0, 0), (4, 0), (9, 170), *FALL))
    time_s, pressure_mmhg = line(corners)
    noise = np.random.default_rng(7).normal(0.0, 0.1, time_s.size)
    found = find_deflation(time_s, pressure_mmhg + noise)
    assert found is not None
    assert found.falls_from_s == pytest.approx(9.0 + hold_s, abs=1.5)
    assert found.end_s == pytest.approx(49.0 + hold_s, abs=0.15)
    assert found.rate_mmhg_per_s == pytest.approx(3.0, abs=0.1)
    # `start_s` is the end of the inflation: beats of the hold count.
    assert found.start_s == pytest.approx(9.0, abs=1.0)
    assert Flag.DEFLATION_PAUSED not in found.flags


#: A fall that starts where the inflation ends: 3 mmHg/s, release at 49 s.
FALL: tuple[Corner, ...] = ((9.001, 170), (49, 50), (49.7, 0), (56, 0))


@pytest.mark.parametrize("release_mmhg_per_s", [20.0, 60.0, 200.0])
@pytest.mark.parametrize("size_mmhg", [0.0, 3.0])
@pytest.mark.parametrize("shift_s", [0.0, 0.3, 0.6])
def test_the_release_is_placed_within_150_ms(
    release_mmhg_per_s: float, size_mmhg: float, shift_s: float
) -> None:
    corners = (*ORDINARY[:5], (RELEASE_S + 50 / release_mmhg_per_s, 0.0), (60.0, 0.0))
    time_s, pressure_mmhg = line(corners)
    foot_s = np.arange(0.1 + shift_s, 60.0, 0.85)
    found = find_deflation(time_s, with_pulses(time_s, pressure_mmhg, foot_s, size_mmhg))
    assert found is not None
    assert found.end_s == pytest.approx(RELEASE_S, abs=0.15)


def test_a_pause_is_flagged_and_bridged() -> None:
    corners = (
        (0, 0),
        (4, 0),
        (9, 170),
        (11, 170),
        (31, 110),
        (37, 110),
        (57, 50),
        (58, 0),
        (64, 0),
    )
    found = found_in(corners)
    assert Flag.DEFLATION_PAUSED in found.flags
    assert found.end_s == pytest.approx(57.0, abs=0.15)
    paused = (found.time_s > 32.5) & (found.time_s < 35.5)
    assert found.trend_mmhg[paused] == pytest.approx(110.0, abs=0.5)
    assert found.rate_mmhg_per_s == pytest.approx(3.0, abs=0.3)


def stairs(step_mmhg: float) -> tuple[Corner, ...]:
    """Corners of a log that falls by 2 mmHg/s in steps, each within half a second."""
    corners: list[Corner] = [(0, 0), (4, 0), (9, 170)]
    for step in range(round(120 / step_mmhg)):
        at_s, mmhg = 10.0 + step_mmhg / 2 * step, 170.0 - step_mmhg * step
        corners += [(at_s, mmhg), (at_s + 0.5, mmhg - step_mmhg)]
    return (*corners, (70, 50), (70.7, 0), (77, 0))


def stepwise() -> Deflation:
    """The deflation of such a log in steps of 6 mmHg."""
    return found_in(stairs(6.0))


def test_steps_are_one_deflation() -> None:
    found = stepwise()
    assert found.start_s == pytest.approx(9.0, abs=1.0)
    assert found.end_s == pytest.approx(70.0, abs=0.15)
    assert found.trend_mmhg[0] == pytest.approx(170.0, abs=3.0)
    assert found.trend_mmhg[-1] == pytest.approx(50.0, abs=3.0)
    assert found.rate_mmhg_per_s == pytest.approx(2.0, abs=0.8)


def test_steps_are_flagged() -> None:
    # The flag's sentence: "The deflation paused or stepped."
    assert Flag.DEFLATION_PAUSED in stepwise().flags
    assert stepwise().stepped


@pytest.mark.parametrize(("step_mmhg", "off_mmhg"), [(6.0, 0.9), (8.0, 0.9), (10.0, 1.0)])
def test_the_trend_goes_down_the_stairs(step_mmhg: float, off_mmhg: float) -> None:
    time_s, pressure_mmhg = line(stairs(step_mmhg))
    found = find_deflation(
        time_s, with_pulses(time_s, pressure_mmhg, np.arange(0.05, 80.0, 0.8), 3.0)
    )
    assert found is not None and found.stepped
    inner = (found.time_s > 11.0) & (found.time_s < 69.0)
    off = found.trend_mmhg[inner] - truth_mmhg(stairs(step_mmhg), found.time_s[inner])
    # A straight line would be off by 0.29 of a step, as a root mean square.
    assert np.sqrt(np.mean(off**2)) < off_mmhg
    assert found.trend_error_mmhg > 0.6


@pytest.mark.parametrize("corners", [ORDINARY, stairs(1.0), stairs(2.0)])
def test_small_steps_are_a_steady_fall(corners: tuple[Corner, ...]) -> None:
    assert not found_in(corners).stepped


def test_after_a_reinflation_the_last_deflation_is_read_and_flagged() -> None:
    corners = (
        *((0, 0), (4, 0), (9, 170), (10, 170), (30, 110)),
        *((32, 150), (33, 150), (66, 51), (66.7, 0), (73, 0)),
    )
    found = found_in(corners)
    assert Flag.REINFLATED in found.flags
    assert found.start_s == pytest.approx(32.0, abs=0.6)
    assert found.end_s == pytest.approx(66.0, abs=0.15)
    assert found.trend_mmhg.max() == pytest.approx(150.0, abs=2.0)


def test_a_palpatory_run_up_is_passed_over() -> None:
    # Inflation and quick release, a rest of 3 s, then the measurement.
    corners = (
        *((0, 0), (4, 0), (8, 120), (8.5, 120), (10.5, 0), (13.5, 0)),
        *((18.5, 170), (19.5, 170), (59.5, 50), (60.2, 0), (66, 0)),
    )
    found = found_in(corners)
    assert Flag.REINFLATED not in found.flags
    assert found.start_s == pytest.approx(18.5, abs=0.6)
    assert found.end_s == pytest.approx(59.5, abs=0.15)


@pytest.mark.parametrize(
    ("corners", "released"),
    [(ORDINARY, True), (ORDINARY[:5], False), ((*ORDINARY[:5], (59, 50)), False)],
)
def test_whether_the_cuff_was_released(corners: tuple[Corner, ...], released: bool) -> None:
    found = found_in(corners)
    assert found.released is released
    assert RELEASE_S - 0.15 <= found.end_s <= max(RELEASE_S + 0.15, corners[-1][0] * (not released))


@pytest.mark.parametrize(
    "corners",
    [
        pytest.param(((0, 0), (20, 0)), id="rest"),
        pytest.param(((0, 0), (4, 0), (9, 170), (20, 170)), id="inflation and hold"),
        pytest.param(((0, 0), (4, 0), (9, 170), (10, 170), (13, 0), (20, 0)), id="quick release"),
        pytest.param(
            ((0, 0), (4, 0), (9, 170), (10, 170), (15, 155), (17, 0), (25, 0)), id="a fall of 15"
        ),
        pytest.param(
            ((0, 0), (4, 0), (9, 170), (10, 170), (20, 50), (21, 0), (28, 0)), id="12 per second"
        ),
        pytest.param(((0, 0), (1, 100), (2, 0)), id="two seconds"),
    ],
)
def test_without_a_slow_fall_of_twenty_there_is_no_deflation(corners: tuple[Corner, ...]) -> None:
    assert find_deflation(*line(corners)) is None


@pytest.mark.parametrize("rows", [0, 1, 2, 3])
def test_a_handful_of_rows_is_no_deflation(rows: int) -> None:
    time_s = np.arange(rows) * 4.0
    assert find_deflation(time_s, 100.0 - 10 * time_s) is None


@pytest.mark.parametrize(
    ("rate", "flags"),
    [
        (1.0, {Flag.DEFLATION_SLOW}),
        (2.0, set()),
        (3.0, set()),
        (6.0, {Flag.DEFLATION_FAST}),
        (8.5, {Flag.DEFLATION_FAST}),
    ],
)
def test_the_rate_is_measured_and_flagged(rate: float, flags: set[Flag]) -> None:
    fall_s = 120 / rate
    corners = ((0, 0), (4, 0), (9, 170), (11, 170), (11 + fall_s, 50), (12 + fall_s, 0))
    found = found_in((*corners, (18 + fall_s, 0)))
    assert found.rate_mmhg_per_s == pytest.approx(rate, rel=0.05)
    assert set(found.flags) & {Flag.DEFLATION_FAST, Flag.DEFLATION_SLOW} == flags


@pytest.mark.parametrize("hole_s", [2.5, 4.0, 8.0])
def test_a_hole_in_the_log_is_flagged_and_bridged(hole_s: float) -> None:
    time_s, pressure_mmhg = line(ORDINARY)
    keep = (time_s < 25.0) | (time_s > 25.0 + hole_s)
    found = find_deflation(time_s[keep], pressure_mmhg[keep])
    assert found is not None
    assert Flag.CUFF_LOG_DROPOUT in found.flags
    assert found.end_s == pytest.approx(RELEASE_S, abs=0.15)
    inner = (found.time_s > 13.0) & (found.time_s < 50.0)
    truth = truth_mmhg(ORDINARY, found.time_s[inner])
    assert np.abs(found.trend_mmhg[inner] - truth).max() < 0.8


# --- the smooth trend --------------------------------------------------------------------


@pytest.mark.parametrize("offset_s", [0.0, 0.25, 0.5, 0.9])
def test_a_log_of_1_hz_in_steps_of_2_mmhg_gives_the_trend_within_1_5(offset_s: float) -> None:
    corners = tuple((t + offset_s, p) for t, p in ORDINARY)
    time_s = np.arange(0.0, corners[-1][0], 1.0)
    log_mmhg = rounded_to(truth_mmhg(((-1, 0), *corners), time_s), 2.0)
    found = find_deflation(time_s, log_mmhg)
    assert found is not None
    inner = (found.time_s > 12.5 + offset_s) & (found.time_s < 50.0 + offset_s)
    assert inner.sum() > 600
    truth = truth_mmhg(corners, found.time_s[inner])
    assert np.abs(found.trend_mmhg[inner] - truth).max() <= 1.5
    assert found.log_rate_hz == pytest.approx(1.0)


@pytest.mark.parametrize("interval_s", [0.55, 0.7, 0.85, 1.0, 1.2])
def test_pulses_of_4_mmhg_are_taken_out_to_within_0_8(interval_s: float) -> None:
    time_s, pressure_mmhg = line(ORDINARY)
    foot_s = np.arange(0.05, 60.0, interval_s)
    found = find_deflation(time_s, with_pulses(time_s, pressure_mmhg, foot_s, 4.0))
    assert found is not None
    inner = (found.time_s > 13.0) & (found.time_s < 50.0)
    truth = truth_mmhg(ORDINARY, found.time_s[inner])
    assert np.abs(found.trend_mmhg[inner] - truth).max() <= 0.8
    assert found.flags == ()


@pytest.mark.parametrize("size_mmhg", [-9.0, -5.0, 5.0, 9.0])
@pytest.mark.parametrize("width_s", [0.3, 0.7])
def test_the_pressure_passes_under_a_movement_of_the_arm(size_mmhg: float, width_s: float) -> None:
    time_s, straight = line(ORDINARY, 50.0)
    moved = size_mmhg * np.exp(-0.5 * ((time_s - 30) / width_s) ** 2)
    found = find_deflation(time_s, straight + moved)
    assert found is not None
    at_s = np.arange(25.0, 35.0, 0.25)
    off = np.abs(found.pressure_mmhg(at_s) - truth_mmhg(ORDINARY, at_s)).max()
    followed = np.abs(found.followed_at(at_s) - truth_mmhg(ORDINARY, at_s)).max()
    assert not found.stepped
    # What a movement leaves must not make a value wrong (4 mmHg).
    assert off < 3.0
    assert off < 0.97 * followed
    if abs(size_mmhg) > 8:
        assert off < 0.5 * followed


def test_a_pause_keeps_its_corners() -> None:
    corners: tuple[Corner, ...] = (
        (0, 0), (4, 0), (9, 170), (10, 170), (30, 110), (36, 110), (56, 50), (56.7, 0), (63, 0)
    )  # fmt: skip
    at_s = np.arange(26.0, 40.0, 0.25)
    off = np.abs(found_in(corners).pressure_mmhg(at_s) - truth_mmhg(corners, at_s))
    # A line over three seconds on either side would be off by 1.6 mmHg.
    assert off.max() < 1.1


def test_the_trend_lies_on_an_even_grid_and_is_held_at_its_ends() -> None:
    found = found_in(ORDINARY)
    assert np.ptp(np.diff(found.time_s)) < 1e-9
    assert found.trend_mmhg.shape == found.time_s.shape
    beyond = found.pressure_mmhg(np.array([found.start_s - 9, found.end_s + 9]))
    assert beyond.tolist() == [found.trend_mmhg[0], found.trend_mmhg[-1]]
    around_mmhg = found.pressure_mmhg(np.array([29.5, 30.5]))
    assert float(around_mmhg[0] - around_mmhg[1]) == pytest.approx(3.0, abs=0.1)


def noisy_log() -> tuple[np.ndarray, np.ndarray]:
    """The ordinary log with pulses, noise and rounding."""
    time_s, pressure_mmhg = line(ORDINARY)
    noise = np.random.default_rng(3).normal(0.0, 0.1, time_s.size)
    pulsing = with_pulses(time_s, pressure_mmhg, np.arange(0.1, 60.0, 0.8), 3.0)
    return time_s, rounded_to(pulsing + noise, 0.1)


@settings(max_examples=30, deadline=None)
@given(shift_mmhg=st.floats(-15.0, 100.0))
def test_more_pressure_moves_the_trend_and_nothing_else(shift_mmhg: float) -> None:
    time_s, pressure_mmhg = noisy_log()
    plain = find_deflation(time_s, pressure_mmhg)
    moved = find_deflation(time_s, pressure_mmhg + shift_mmhg)
    assert plain is not None
    assert moved is not None
    assert moved.time_s == pytest.approx(plain.time_s, abs=1e-9)
    assert moved.trend_mmhg - shift_mmhg == pytest.approx(plain.trend_mmhg, abs=1e-6)
    assert moved.rate_mmhg_per_s == pytest.approx(plain.rate_mmhg_per_s, abs=1e-6)
    assert moved.flags == plain.flags
    assert moved.released == plain.released


@settings(max_examples=30, deadline=None)
@given(shift_s=st.floats(-50.0, 5000.0))
def test_another_clock_moves_the_times_and_nothing_else(shift_s: float) -> None:
    time_s, pressure_mmhg = noisy_log()
    plain = find_deflation(time_s, pressure_mmhg)
    moved = find_deflation(time_s + shift_s, pressure_mmhg)
    assert plain is not None
    assert moved is not None
    assert moved.start_s == pytest.approx(plain.start_s + shift_s, abs=1e-6)
    assert moved.end_s == pytest.approx(plain.end_s + shift_s, abs=0.06)
    at_s = np.arange(13.0, 50.0, 0.5)
    assert moved.pressure_mmhg(at_s + shift_s) == pytest.approx(plain.pressure_mmhg(at_s), abs=0.05)
    assert moved.rate_mmhg_per_s == pytest.approx(plain.rate_mmhg_per_s, abs=0.02)
    assert moved.flags == plain.flags


@pytest.mark.parametrize("rate_hz", [32.0, 50.0, 64.0, 100.0])
def test_a_shift_that_rounds_nothing_changes_nothing(rate_hz: float) -> None:
    time_s, pressure_mmhg = line(ORDINARY, rate_hz)
    time_s = np.round(time_s * 2**20) / 2**20
    noise = np.random.default_rng(3).normal(0.0, 0.1, time_s.size)
    log_mmhg = with_pulses(time_s, pressure_mmhg, np.arange(0.1, 60.0, 0.8), 3.0) + noise
    plain = find_deflation(time_s, log_mmhg)
    moved = find_deflation(time_s + 64.0, log_mmhg)
    assert plain is not None
    assert moved is not None
    assert moved.time_s - 64.0 == pytest.approx(plain.time_s, abs=1e-9)
    assert moved.trend_mmhg == pytest.approx(plain.trend_mmhg, abs=1e-6)


def check_deflation(found: Deflation) -> None:
    """A deflation takes time, and all that is told of it are numbers."""
    assert found.end_s > found.start_s
    assert np.isfinite(found.trend_mmhg).all()
    assert np.isfinite([found.rate_mmhg_per_s, found.trend_error_mmhg]).all()


@settings(max_examples=60, deadline=None)
@given(
    pressures=st.lists(st.floats(-20.0, 400.0), max_size=60),
    step_s=st.sampled_from([0.02, 0.5, 1.0, 5.0]),
)
def test_any_log_is_a_deflation_or_none(pressures: list[float], step_s: float) -> None:
    pressure_mmhg = np.array(pressures, np.float64)
    found = find_deflation(np.arange(pressure_mmhg.size) * step_s, pressure_mmhg)
    if found is not None:
        check_deflation(found)


@settings(max_examples=60, deadline=None)
@given(falls=st.lists(st.floats(0.8, 3.0), min_size=40, max_size=100))
def test_any_unbroken_fall_of_1_6_to_6_mmhg_per_s_is_a_deflation(falls: list[float]) -> None:
    pressure_mmhg = 320.0 - np.cumsum(falls)
    found = find_deflation(np.arange(pressure_mmhg.size) * 0.5, pressure_mmhg)
    assert found is not None
    check_deflation(found)
    assert 1.6 <= found.rate_mmhg_per_s <= 6.0


def test_a_short_hurry_does_not_end_a_quick_fall() -> None:
    # 7 mmHg/s, 12 mmHg/s for a second, 7 again: what run-off and an unsteady valve add up to.
    corners = ((0, 0), (4, 0), (8, 175), (9, 175), (17, 119), (18, 107), (25, 58), (26, 0), (32, 0))
    time_s, pressure_mmhg = line(corners, 50.0)
    found = find_deflation(time_s, pressure_mmhg)
    assert found is not None
    assert found.start_s == pytest.approx(8.3, abs=1.0)
    assert found.end_s == pytest.approx(25.0, abs=0.6)


@pytest.mark.parametrize("wrong_mmhg", [0.0, 200.0, 300.0, 400.0])
@pytest.mark.parametrize("rate_hz", [12.0, 50.0])
def test_wrong_rows_end_no_measurement(rate_hz: float, wrong_mmhg: float) -> None:
    """A third of a second of them, read while the log comes: until 1 to 4 s later."""
    time_s = np.arange(0.0, 60.0, 1 / rate_hz)
    whole = np.interp(time_s, [0, 5, 10, 11, 51, 52, 60], [0, 0, 180, 180, 60, 0, 0])
    for wrong_s in np.arange(7.0, 20.0, 0.75).tolist():
        wrong = (time_s >= wrong_s) & (time_s < wrong_s + 0.35)
        log = np.where(wrong, wrong_mmhg, whole)
        for until_s in (1.0, 1.7, 4.0):
            heard = time_s < wrong_s + until_s
            found = find_deflation(time_s[heard], log[heard])
            assert found is None or np.isfinite(found.trend_mmhg).all()
