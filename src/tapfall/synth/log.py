"""The cuff-pressure log: pulses, movement, manometer, clock."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from tapfall.model import CuffLog, FloatArray
from tapfall.synth.artery import Pressures, pulse_train
from tapfall.synth.hand import Trend
from tapfall.synth.rhythm import Beats
from tapfall.synth.scenario import Cuff, Person
from tapfall.synth.streams import stream

#: A manometer that lags is followed in steps of this, and of a twentieth of its time constant.
FINEST_STEP_S, STEPS_OF_DAMPING = 0.01, 20


def shown_mmhg(cuff: Cuff, pressure_mmhg: FloatArray) -> FloatArray:
    """What the manometer shows for a pressure: its gain error and zero offset."""
    return cuff.zero_offset_mmhg + (1 + cuff.gain_error_share) * pressure_mmhg


def bell(cuff: Cuff, from_centre_mmhg: FloatArray) -> FloatArray:
    """Height of the pulse on the cuff (largest 1) over distance from its centre.

    A generalised Gaussian through the two published widths, at 50 % and 30 %
    height (Liu 2014: 57 and 89 mmHg on deflation).

    Examples
    --------
    >>> bell(Cuff(), np.array([0.0, 28.5, 44.5])).round(3).tolist()
    [1.0, 0.5, 0.3]
    """
    half, third = cuff.pulse_width_50_mmhg / 2, cuff.pulse_width_30_mmhg / 2
    power = np.log(np.log(0.3) / np.log(0.5)) / np.log(third / half)
    height: FloatArray = np.exp(np.log(0.5) * (np.abs(from_centre_mmhg) / half) ** power)
    return height


def _pulses(
    time_s: FloatArray,
    trend_mmhg: FloatArray,
    beats: Beats,
    pressures: Pressures,
    person: Person,
    cuff: Cuff,
) -> FloatArray:
    share = cuff.pulse_centre_share
    centre = share * person.systolic_mmhg + (1 - share) * person.diastolic_mmhg
    size = np.maximum(bell(cuff, trend_mmhg - centre), cuff.pulse_floor_share)
    size = size * np.clip(trend_mmhg / 20, 0, 1)
    pulse = pressures.systolic_mmhg - pressures.diastolic_mmhg
    strength = pulse / (person.systolic_mmhg - person.diastolic_mmhg)
    foot_s = beats.foot_s + cuff.pulse_offset_s
    wave = pulse_train(time_s, foot_s, person)
    index = np.clip(np.searchsorted(foot_s, time_s, side="right") - 1, 0, foot_s.size - 1)
    wave = wave * strength[index]
    return cuff.pulse_mmhg * size * (wave - float(wave.mean()))


def _bumps(time_s: FloatArray, cuff: Cuff, rng: np.random.Generator) -> FloatArray:
    """Movement: smooth bumps of half a second to two seconds."""
    out = np.zeros_like(time_s)
    for _ in range(int(rng.poisson(cuff.bumps_per_min * (time_s[-1] - time_s[0]) / 60))):
        centre = rng.uniform(time_s[0], time_s[-1])
        width = rng.uniform(0.2, 0.8)
        size = cuff.bump_mmhg * rng.normal()
        out += size * np.exp(-0.5 * ((time_s - centre) / width) ** 2)
    return out


def _damped(
    pressure_at: Callable[[FloatArray], FloatArray], time_s: FloatArray, damping_s: float
) -> FloatArray:
    """What a first-order manometer has come to at each time; it starts at rest.

    Exact for a pressure that runs straight between the steps.
    """
    step_s = min(FINEST_STEP_S, damping_s / STEPS_OF_DAMPING)
    grid_s = np.arange(0.0, time_s[-1] + step_s, step_s)
    mmhg = pressure_at(grid_s)
    kept = np.exp(-step_s / damping_s)
    older = (1 - kept) * damping_s / step_s
    weights = [1 - older, older - kept]
    behind, _ = signal.lfilter(weights, [1, -kept], mmhg, zi=[(1 - weights[0]) * mmhg[0]])
    shown: FloatArray = np.interp(time_s, grid_s, behind)
    return shown


def log_of(
    person: Person, cuff: Cuff, beats: Beats, pressures: Pressures, trend: Trend, seed: int
) -> CuffLog:
    """Return the cuff log in its own clock.

    Log time is ``audio time * (1 + drift) + lag``; rows before log time 0 are
    not kept.

    Returns
    -------
    CuffLog
        Times in seconds and pressures in mmHg, shape ``(n,)``.
    """
    rng = stream(seed, "log")
    n = int(trend.end_s * cuff.log_rate_hz)
    speed = 1 + cuff.drift_ppm * 1e-6
    first = np.ceil(max(cuff.lag_s, 0.0) * cuff.log_rate_hz)
    log_s = (first + np.arange(n)) / cuff.log_rate_hz
    if cuff.lag_s < 0:
        log_s = log_s[log_s <= trend.end_s + cuff.lag_s]
    time_s = (log_s - cuff.lag_s) / speed

    def pressure_at(at_s: FloatArray) -> FloatArray:
        quiet_mmhg = trend.at(at_s)
        mmhg = quiet_mmhg + _pulses(at_s, quiet_mmhg, beats, pressures, person, cuff)
        bumps_mmhg = _bumps(at_s, cuff, stream(seed, "bumps"))
        return mmhg + bumps_mmhg * np.clip(quiet_mmhg / 20, 0, 1)

    if cuff.damping_s > 0:
        mmhg = _damped(pressure_at, time_s, cuff.damping_s)
    else:
        mmhg = pressure_at(time_s)
    mmhg = shown_mmhg(cuff, mmhg)
    mmhg = mmhg + cuff.noise_sd_mmhg * rng.standard_normal(time_s.size)
    if cuff.rounding_mmhg > 0:
        mmhg = np.round(mmhg / cuff.rounding_mmhg) * cuff.rounding_mmhg
        mmhg = np.round(mmhg, 6)
    keep = np.ones(time_s.size, dtype=bool)
    holes = stream(seed, "dropouts")
    for _ in range(int(holes.poisson(cuff.dropouts_per_min * trend.end_s / 60))):
        start = holes.uniform(0, trend.end_s)
        keep &= (time_s < start) | (time_s > start + cuff.dropout_s)
    return CuffLog(time_s=np.round(log_s[keep], 6), pressure_mmhg=mmhg[keep] + 0.0)
