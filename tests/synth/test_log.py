"""What the hand does, and what the log shows of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from tapfall.synth import Cuff, Scenario, Sensor, simulate
from tapfall.synth.hand import trend_of

SENSOR = Sensor(rate_hz=1000.0)
STILL = Cuff(pulse_mmhg=0.0, noise_sd_mmhg=0.0, rounding_mmhg=0.0, wobble_share=0.0)


def log(cuff: Cuff, seed: int = 1):  # type: ignore[no-untyped-def]
    return simulate(Scenario(seed=seed, cuff=cuff, sensor=SENSOR)).recording.cuff


@pytest.mark.parametrize("rate", [1.2, 2.5, 6.0])
@pytest.mark.parametrize("curve", [0.0, 0.5])
def test_deflation_has_its_mean_rate(rate: float, curve: float) -> None:
    cuff = Cuff(deflation_mmhg_per_s=rate, deflation_curve=curve, wobble_share=0.0)
    trend = trend_of(cuff, 1)
    found = (cuff.top_mmhg - cuff.end_mmhg) / (trend.release_s - trend.fall_s)
    assert found == pytest.approx(rate, rel=0.05)


def test_wobble_is_as_large_as_set() -> None:
    trend = trend_of(Cuff(top_mmhg=250.0, end_mmhg=10.0, wobble_share=0.3), 5)
    time_s = np.arange(trend.fall_s + 2, trend.release_s - 2, 0.25)
    rate = -np.diff(trend.at(time_s)) / 0.25
    assert rate.std() / rate.mean() == pytest.approx(0.3, abs=0.12)
    assert rate.min() >= 0


def test_a_pause_stands_still() -> None:
    cuff = replace(STILL, pause_at_mmhg=100.0, pause_s=6.0)
    trend = trend_of(cuff, 1)
    time_s = np.arange(trend.fall_s, trend.release_s, 0.01)
    near = np.abs(trend.at(time_s) - 100.0) < 0.2
    assert near.sum() * 0.01 == pytest.approx(6.1, abs=0.2)


def test_steps_drop_and_stand() -> None:
    trend = trend_of(replace(STILL, step_mmhg=5.0), 1)
    time_s = np.arange(trend.fall_s + 0.5, trend.release_s - 0.5, 0.05)
    rate = -np.diff(trend.at(time_s)) / 0.05
    assert np.mean(rate < 0.1) > 0.6
    assert rate.max() > 4 * 2.5


def test_re_inflation_rises_again() -> None:
    cuff = replace(STILL, reinflate_at_mmhg=100.0, reinflate_by_mmhg=45.0)
    trend = trend_of(cuff, 1)
    assert trend.at(np.array([trend.fall_s]))[0] == pytest.approx(145.0)
    truth = simulate(Scenario(seed=1, cuff=cuff, sensor=SENSOR)).truth
    assert max(beat.cuff_mmhg for beat in truth.beats) <= 145.0
    assert min(beat.time_s for beat in truth.beats) >= trend.hold_s


def test_run_up_comes_first() -> None:
    trend = trend_of(replace(STILL, run_up_mmhg=120.0, run_up_rest_s=7.0), 1)
    pressure = trend.at(np.arange(0, trend.hold_s, 0.1))
    assert np.max(pressure[:100]) == pytest.approx(120.0, abs=1.0)
    rest = np.flatnonzero(pressure == 0)
    assert np.diff(rest).max() > 10, "the run-up parts the rest before from the rest after"
    assert trend.hold_s > 4 + 7


@pytest.mark.parametrize("kind", ["bulb", "pump"])
def test_inflation_reaches_the_top(kind: str) -> None:
    cuff = replace(STILL, inflation=kind)
    trend = trend_of(cuff, 1)
    assert trend.at(np.array([trend.hold_s]))[0] == pytest.approx(cuff.top_mmhg)
    took_s = trend.hold_s - cuff.rest_before_s
    assert took_s == pytest.approx(cuff.top_mmhg / cuff.inflation_mmhg_per_s, rel=0.1)
    assert len(trend.strokes_s) == 1 if kind == "pump" else len(trend.strokes_s) > 5


def test_log_shows_trend_zero_offset_and_gain() -> None:
    cuff = replace(STILL, zero_offset_mmhg=2.0, gain_error_share=0.02)
    found = log(cuff)
    trend = trend_of(cuff, 1)
    assert found.pressure_mmhg == pytest.approx(2.0 + 1.02 * trend.at(found.time_s), abs=1e-5)


def test_truth_is_on_the_manometers_scale() -> None:
    cuff = replace(STILL, zero_offset_mmhg=2.0, gain_error_share=0.02)
    found = simulate(Scenario(seed=1, cuff=cuff, sensor=SENSOR))
    plain = simulate(Scenario(seed=1, cuff=STILL, sensor=SENSOR))
    for a, b in zip(found.truth.beats, plain.truth.beats, strict=True):
        for name in ("cuff_mmhg", "systolic_mmhg", "diastolic_mmhg"):
            assert getattr(a, name) == pytest.approx(2.0 + 1.02 * getattr(b, name), abs=1e-5)
        assert a.audible_in_quiet == b.audible_in_quiet
        shown = np.interp(a.time_s, found.recording.cuff.time_s, found.recording.cuff.pressure_mmhg)
        assert shown == pytest.approx(a.cuff_mmhg, abs=0.1)


@pytest.mark.parametrize("damping_s", [0.2, 0.8])
@pytest.mark.parametrize("log_rate_hz", [5.0, 50.0])
def test_a_damped_manometer_lags_a_fall_by_its_time_constant(
    damping_s: float, log_rate_hz: float
) -> None:
    # A first-order system lags a ramp by slope times time constant (text books of control).
    cuff = replace(STILL, damping_s=damping_s, log_rate_hz=log_rate_hz, deflation_curve=0.0)
    trend, found = trend_of(cuff, 1), log(cuff)
    late = (found.time_s > trend.fall_s + 8 * damping_s) & (found.time_s < trend.release_s)
    behind = found.pressure_mmhg[late] - trend.at(found.time_s[late])
    assert behind == pytest.approx(cuff.deflation_mmhg_per_s * damping_s, rel=0.02)


@pytest.mark.parametrize("damping_s", [0.1, 0.4])
def test_damping_weakens_a_pulse_as_a_first_order_filter_does(damping_s: float) -> None:
    # Against scipy's own first-order filter in continuous time.
    cuff = Cuff(noise_sd_mmhg=0.0, rounding_mmhg=0.0, log_rate_hz=200.0)
    plain, damped = log(cuff), log(replace(cuff, damping_s=damping_s))
    grid_s = np.arange(0.0, plain.time_s[-1], 1 / 200)
    _, wanted, _ = signal.lsim(
        ([1.0], [damping_s, 1.0]), np.interp(grid_s, plain.time_s, plain.pressure_mmhg), grid_s
    )
    shown = np.interp(grid_s, damped.time_s, damped.pressure_mmhg)
    assert shown[200:] == pytest.approx(wanted[200:], abs=0.15)


@pytest.mark.parametrize("lag_s", [-1.3, -0.01, 0.0, 0.4, 1.7])
@pytest.mark.parametrize("drift_ppm", [0.0, 300.0])
def test_lag_and_drift_move_the_logs_clock(lag_s: float, drift_ppm: float) -> None:
    cuff = replace(STILL, lag_s=lag_s, drift_ppm=drift_ppm)
    found = log(cuff)
    trend = trend_of(cuff, 1)
    audio_s = (found.time_s - lag_s) / (1 + drift_ppm * 1e-6)
    assert found.pressure_mmhg == pytest.approx(trend.at(audio_s), abs=1e-4)
    assert found.time_s[0] >= 0
    assert np.all(np.diff(found.time_s) > 0)


@pytest.mark.parametrize("rate_hz", [1.0, 50.0, 200.0])
def test_log_has_its_rate_and_rounding(rate_hz: float) -> None:
    found = log(Cuff(log_rate_hz=rate_hz, rounding_mmhg=2.0))
    assert np.diff(found.time_s) == pytest.approx(1 / rate_hz, abs=2e-6)
    assert np.array_equal(found.pressure_mmhg % 2, np.zeros(found.time_s.size))


def test_sensor_noise_has_its_size() -> None:
    cuff = replace(STILL, noise_sd_mmhg=0.2)
    found = log(cuff)
    rest = found.pressure_mmhg - trend_of(cuff, 1).at(found.time_s)
    assert rest.std() == pytest.approx(0.2, rel=0.05)


def test_dropouts_leave_holes() -> None:
    found = log(replace(STILL, dropouts_per_min=8.0, dropout_s=1.5))
    assert np.diff(found.time_s).max() >= 1.5


def test_bumps_move_the_log_only() -> None:
    still = simulate(Scenario(seed=1, cuff=STILL, sensor=SENSOR))
    moved = simulate(
        Scenario(seed=1, cuff=replace(STILL, bumps_per_min=15.0, bump_mmhg=8.0), sensor=SENSOR)
    )
    assert np.array_equal(still.recording.samples, moved.recording.samples)
    shift = moved.recording.cuff.pressure_mmhg - still.recording.cuff.pressure_mmhg
    assert np.abs(shift).max() > 3
    assert still.truth == moved.truth


def test_pulse_starts_at_the_arterial_foot() -> None:
    cuff = replace(STILL, pulse_mmhg=3.0, log_rate_hz=200.0, pulse_offset_s=0.02)
    found = simulate(Scenario(seed=1, cuff=cuff, sensor=SENSOR))
    rest = found.recording.cuff.pressure_mmhg - trend_of(cuff, 1).at(found.recording.cuff.time_s)
    time_s = found.recording.cuff.time_s
    for beat in found.truth.beats[5:-5]:
        near = (time_s > beat.foot_s - 0.15) & (time_s < beat.foot_s + 0.15)
        lowest = time_s[near][rest[near].argmin()]
        assert lowest == pytest.approx(beat.foot_s + 0.02, abs=0.011)
