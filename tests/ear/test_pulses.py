"""Heartbeats from the cuff's pulse: interval, chain, and times within 20 ms."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from tapfall.ear.beats import typical_interval_s
from tapfall.ear.cuff import find_deflation
from tapfall.ear.pulses import (
    LEAST_PULSES,
    LONGEST_RR_S,
    SHORTEST_RR_S,
    Pulses,
    beat_chances,
    best_chain,
    find_pulses,
)
from tests.ear.made import UPSTROKE_S, Corner, line, pulse_wave, rounded_to, with_pulses

CORNERS = ((0, 0), (4, 0), (9, 170), (11, 170), (51, 50), (51.7, 0), (58, 0))


def feet(interval_s: float, jitter: float = 0.02, seed: int = 5) -> np.ndarray:
    """Feet of pulses over a minute, slightly uneven."""
    rng = np.random.default_rng(seed)
    each = interval_s * (1 + jitter * rng.standard_normal(200))
    return 0.3 + np.cumsum(each)


def found_in(
    foot_s: np.ndarray,
    *,
    rate_hz: float = 50.0,
    size_mmhg: float = 2.0,
    noise_mmhg: float = 0.1,
    step_mmhg: float = 0.1,
    shift_s: float = 0.0,
    noise_seed: int = 11,
    corners: Sequence[Corner] = CORNERS,
    damping_s: float = 0.0,
) -> Pulses:
    """Pulses found on a hand-made log."""
    time_s, pressure_mmhg = line(corners, rate_hz)
    shown_mmhg = with_pulses(time_s, pressure_mmhg, foot_s, size_mmhg)
    if damping_s > 0:
        shown_mmhg = signal.lsim(([1.0], [damping_s, 1.0]), shown_mmhg, time_s)[1]
    noise = np.random.default_rng(noise_seed).normal(0.0, noise_mmhg, time_s.size)
    log_mmhg = rounded_to(shown_mmhg + noise, step_mmhg)
    deflation = find_deflation(time_s + shift_s, log_mmhg)
    assert deflation is not None
    return find_pulses(time_s + shift_s, log_mmhg, deflation)


# --- the interval ------------------------------------------------------------------------


@pytest.mark.parametrize("interval_s", [0.45, 0.6, 0.8, 1.0, 1.3])
@pytest.mark.parametrize("step_s", [0.004, 0.02])
def test_the_interval_of_a_beating_series(interval_s: float, step_s: float) -> None:
    time_s = np.arange(0.0, 40.0, step_s)
    wave = np.maximum(np.gradient(pulse_wave(time_s, feet(interval_s)), step_s), 0.0)
    noise = np.random.default_rng(2).normal(0.0, 0.5, time_s.size)
    assert typical_interval_s(wave + noise, step_s) == pytest.approx(interval_s, rel=0.05)


def test_a_flat_or_short_series_has_no_interval() -> None:
    assert typical_interval_s(np.ones(2000), 0.02) is None
    assert typical_interval_s(np.sin(np.arange(100)), 0.02) is None


# --- the chain ---------------------------------------------------------------------------


def test_the_chain_takes_the_beats_and_leaves_the_others() -> None:
    beats_s = feet(0.8)[:40]
    others_s = beats_s[:-1] + 0.37 * np.diff(beats_s)
    time_s = np.sort(np.concatenate([beats_s, others_s]))
    true = np.isin(time_s, beats_s)
    score = np.where(true, 2.0, 1.0)
    assert best_chain(time_s, score, 0.8).tolist() == np.flatnonzero(true).tolist()


def test_a_weak_beat_among_strong_ones_is_kept() -> None:
    beats_s = feet(0.8)[:30]
    score = np.full(30, 3.0)
    score[12] = 0.1
    assert best_chain(beats_s, score, 0.8).tolist() == list(range(30))


@settings(max_examples=100, deadline=None)
@given(
    steps=st.lists(st.integers(1, 200), min_size=0, max_size=40),
    seed=st.integers(0, 99),
    shift_s=st.integers(-1000, 1000),
)
def test_any_chain_runs_forward_with_possible_intervals(
    steps: list[int], seed: int, shift_s: int
) -> None:
    # Times are whole 1/128 s, so that the shift is exact.
    time_s = np.cumsum(np.array(steps, np.float64)) / 128
    score = np.random.default_rng(seed).uniform(0.0, 3.0, time_s.size)
    chain = best_chain(time_s, score, 0.8)
    assert (np.diff(chain) > 0).all()
    gaps_s = np.diff(time_s[chain])
    assert ((gaps_s >= SHORTEST_RR_S) & (gaps_s <= LONGEST_RR_S)).all()
    assert (chain.size > 0) == (time_s.size > 0)
    assert best_chain(time_s + shift_s, score, 0.8).tolist() == chain.tolist()


# --- pulses on a log ---------------------------------------------------------------------


def steepest_s(foot_s: np.ndarray) -> np.ndarray:
    """Times of steepest rise well inside the deflation."""
    times = foot_s + UPSTROKE_S / 2
    return times[(times > 12.0) & (times < 50.0)]


@pytest.mark.parametrize("interval_s", [0.5, 0.65, 0.85, 1.1, 1.35])
@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 100.0, 200.0])
def test_pulses_are_placed_within_20_ms(rate_hz: float, interval_s: float) -> None:
    # Within 20 ms of one instant of the upstroke, and that instant near the steepest.
    foot_s = feet(interval_s)
    found = found_in(foot_s, rate_hz=rate_hz)
    assert found.usable
    true_s = steepest_s(foot_s)
    nearest = np.abs(found.time_s[None, :] - true_s[:, None]).argmin(axis=1)
    miss_s = found.time_s[nearest] - true_s
    assert np.mean(np.abs(miss_s - np.median(miss_s)) <= 0.020) >= 0.97
    # What all pulses share is taken up by the track of the sounds' delays.
    assert abs(np.median(miss_s)) <= 0.025


@pytest.mark.parametrize("damping_s", [0.25, 0.35, 0.5])
@pytest.mark.parametrize("interval_s", [0.7, 0.85, 1.0])
def test_a_manometer_that_lags_does_not_move_the_pulses(
    damping_s: float, interval_s: float
) -> None:
    # Damped by scipy's first-order filter in continuous time.
    foot_s = feet(interval_s)
    damped = found_in(foot_s, damping_s=damping_s, noise_mmhg=0.05, rate_hz=100.0)
    assert damped.usable and damped.late_s > 0
    true_s = steepest_s(foot_s)
    off_s = damped.time_s - true_s[np.abs(damped.time_s[:, None] - true_s).argmin(axis=1)]
    assert abs(float(np.median(off_s))) < 0.05
    assert float(np.median(off_s)) + damped.late_s > 0.05, "they are shown later than they come"


@pytest.mark.parametrize("interval_s", [0.5, 0.7, 0.85, 1.0, 1.3])
def test_the_pulses_of_a_quick_manometer_stay_where_they_are_marked(interval_s: float) -> None:
    assert found_in(feet(interval_s)).late_s == 0.0


@pytest.mark.parametrize("interval_s", [0.65, 0.85, 1.1])
def test_no_pulse_is_missed_or_made_up(interval_s: float) -> None:
    foot_s = feet(interval_s)
    found = found_in(foot_s)
    inner = found.time_s[(found.time_s > 12.0) & (found.time_s < 50.0)]
    assert inner.size == pytest.approx(steepest_s(foot_s).size, abs=1)
    assert (np.diff(found.time_s) > 0).all()
    assert found.size_mmhg.shape == found.time_s.shape


@pytest.mark.parametrize("interval_s", [0.34, 0.38, 0.45])
@pytest.mark.parametrize("rate_hz", [25.0, 100.0])
def test_a_racing_heart_is_followed(interval_s: float, rate_hz: float) -> None:
    # 133 to 176 beats a minute: none was found above 160 before such hearts were learned from.
    foot_s = feet(interval_s)
    found = found_in(foot_s, rate_hz=rate_hz)
    assert found.usable
    inner = found.time_s[(found.time_s > 12.0) & (found.time_s < 50.0)]
    assert inner.size == pytest.approx(steepest_s(foot_s).size, abs=2)


@pytest.mark.parametrize("early_s", [0.36, 0.42, 0.5])
def test_every_second_beat_may_come_early(early_s: float) -> None:
    # Bigeminy: an early beat after each one.
    after_s = np.where(np.arange(90) % 2, early_s, 1.3 - early_s)
    foot_s = 0.3 + np.cumsum(after_s)
    found = found_in(foot_s)
    assert found.usable
    miss_s = np.array([np.abs(found.time_s - t).min() for t in steepest_s(foot_s)])
    assert np.mean(miss_s <= 0.050) >= 0.95


@pytest.mark.parametrize("size_mmhg", [1.0, 4.0])
@pytest.mark.parametrize("noise_mmhg", [0.05, 0.15])
def test_small_and_large_pulses_are_found(size_mmhg: float, noise_mmhg: float) -> None:
    foot_s = feet(0.85)
    found = found_in(foot_s, size_mmhg=size_mmhg, noise_mmhg=noise_mmhg)
    assert found.usable
    miss_s = np.array([np.abs(found.time_s - t).min() for t in steepest_s(foot_s)])
    assert np.mean(miss_s <= 0.030) >= 0.95


def test_an_irregular_rhythm_is_followed() -> None:
    foot_s = feet(0.8, jitter=0.15)
    foot_s = foot_s[np.concatenate([[True], np.diff(foot_s) > 0.45])]
    found = found_in(foot_s)
    miss_s = np.array([np.abs(found.time_s - t).min() for t in steepest_s(foot_s)])
    assert np.mean(miss_s <= 0.030) >= 0.9


@pytest.mark.parametrize("interval_s", [0.65, 0.85, 1.1])
def test_a_cuff_let_down_in_steps_still_shows_the_pulses(interval_s: float) -> None:
    # Stairs of 3 mmHg, each fallen down in a fifth of a second, as fast as a pulse runs off.
    at_s = 11.0 + 1.2 * np.arange(34)
    tops_mmhg = 170.0 - 3.0 * np.arange(34)
    stairs = [(float(t), float(p)) for t, p in zip(at_s, tops_mmhg, strict=True)]
    edges = [corner for t, p in stairs for corner in ((t, p), (t + 1.0, p))]
    foot_s = feet(interval_s)
    found = found_in(foot_s, corners=[*CORNERS[:3], *edges, (52.0, 0.0), (58.0, 0.0)])
    assert found.usable
    miss_s = np.array([np.abs(found.time_s - t).min() for t in steepest_s(foot_s)])
    assert np.mean(miss_s <= 0.030) >= 0.9


@pytest.mark.parametrize("rate_hz", [8.0, 10.0, 16.0])
def test_a_log_of_some_rows_a_beat_still_shows_the_pulses(rate_hz: float) -> None:
    foot_s = feet(0.85)
    found = found_in(foot_s, rate_hz=rate_hz)
    assert found.usable
    miss_s = np.array([np.abs(found.time_s - t).min() for t in steepest_s(foot_s)])
    assert np.mean(miss_s <= 0.4 / rate_hz) >= 0.95


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 5.0])
def test_a_slow_log_shows_no_pulse(rate_hz: float) -> None:
    found = found_in(feet(0.85), rate_hz=rate_hz)
    assert not found.usable
    assert found.time_s.size == 0


@pytest.mark.parametrize("noise_mmhg", [0.0, 0.1, 0.3])
def test_a_log_without_pulses_is_not_usable(noise_mmhg: float) -> None:
    assert not found_in(feet(0.85), size_mmhg=0.0, noise_mmhg=noise_mmhg).usable


@pytest.mark.parametrize("step_mmhg", [0.1, 0.25, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("rate_hz", [8.0, 10.0, 20.0, 25.0])
@pytest.mark.parametrize("end_s", [48.0, 50.0, 56.0])
def test_the_steps_of_a_rounded_log_are_no_pulses(
    rate_hz: float, step_mmhg: float, end_s: float
) -> None:
    # A straight fall without noise: its rounding repeats every few rows.
    corners = ((0, 0), (5, 0), (10, 160), (end_s, 60), (end_s + 1, 0), (60, 0))
    assert not found_in(
        feet(0.85),
        size_mmhg=0.0,
        noise_mmhg=0.0,
        rate_hz=rate_hz,
        step_mmhg=step_mmhg,
        corners=corners,
    ).usable


@pytest.mark.parametrize("size_mmhg", [1.0, 1.5, 3.0])
def test_pulses_of_the_size_of_the_rounding_are_seen(size_mmhg: float) -> None:
    found = found_in(feet(0.85), size_mmhg=size_mmhg, noise_mmhg=0.0, step_mmhg=1.0)
    assert found.usable
    assert found.time_s.size == pytest.approx(40 / 0.85, abs=4)


@pytest.mark.parametrize(("rate_hz", "noise_mmhg", "seed"), [(12.5, 0.2, 6), (10.0, 0.1, 27)])
def test_one_or_two_rises_in_noise_are_no_clock(
    rate_hz: float, noise_mmhg: float, seed: int
) -> None:
    # Steady falls with noise alone, in which a chain of one or two rises is found.
    found = found_in(
        feet(0.85), rate_hz=rate_hz, size_mmhg=0.0, noise_mmhg=noise_mmhg, noise_seed=seed
    )
    assert 0 < found.seen.sum() < LEAST_PULSES
    assert not found.usable


@pytest.mark.parametrize("rate_hz", [32.0, 50.0, 64.0, 100.0])
def test_another_clock_moves_the_pulses_and_nothing_else(rate_hz: float) -> None:
    plain = found_in(feet(0.85), rate_hz=rate_hz)
    moved = found_in(feet(0.85), rate_hz=rate_hz, shift_s=512.0)
    assert moved.usable == plain.usable
    assert moved.time_s - 512.0 == pytest.approx(plain.time_s, abs=1e-3)


def test_a_pulse_that_is_not_seen_is_likely_in_an_even_rhythm_alone() -> None:
    odds = np.full(40, 5.0)
    odds[20] = -1.0
    even, uneven = (beat_chances(feet(0.8, j)[:40], odds, odds > 0) for j in (0.02, 0.3))
    assert even[20] > 0.9
    assert uneven[20] < 0.8
    for found in (even, uneven):
        assert (np.delete(found, 20) == 1.0).all()


def test_of_two_pulses_that_are_not_seen_the_fainter_is_less_likely() -> None:
    odds = np.full(40, 5.0)
    odds[12], odds[20] = -0.5, -3.0
    found = beat_chances(feet(0.8, 0.0)[:40], odds, odds > 0)
    assert found[20] < found[12] < 1.0
