"""Hand-made logs, pulses and sounds that the tests of this folder share.

Nothing here comes from :mod:`tapfall.synth`: a line through corners, a pulse
with a raised-cosine upstroke, a tap with a Gaussian envelope.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tapfall.model import CuffLog, Recording

#: Length of the upstroke of the hand-made pulse; it is steepest halfway.
UPSTROKE_S = 0.12

Corner = tuple[float, float]

#: Rest, inflation, a fall from 160 to 50 mmHg, release.
SLOW_FALL: tuple[Corner, ...] = (
    (0, 0), (3, 0), (9, 160), (10, 160), (54, 50), (55, 0), (60, 0),
)  # fmt: skip


def line(corners: Sequence[Corner], rate_hz: float = 50.0) -> tuple[np.ndarray, np.ndarray]:
    """Times and pressures of straight lines between corners of (time, mmHg)."""
    times, pressures = zip(*corners, strict=True)
    time_s = np.arange(round((times[-1] - times[0]) * rate_hz) + 1) / rate_hz + times[0]
    return time_s, np.interp(time_s, times, pressures)


def pulse_wave(time_s: np.ndarray, foot_s: np.ndarray) -> np.ndarray:
    """Pulses of height 1 with feet at ``foot_s``: upstroke of 120 ms, then a run-off."""
    index = np.searchsorted(foot_s, time_s, side="right") - 1
    after_s = time_s - foot_s[np.clip(index, 0, None)]
    rise = 0.5 - 0.5 * np.cos(np.pi * after_s / UPSTROKE_S)
    fall = np.exp(-(after_s - UPSTROKE_S) / 0.3)
    return np.where(index < 0, 0.0, np.where(after_s < UPSTROKE_S, rise, fall))


def with_pulses(
    time_s: np.ndarray, pressure_mmhg: np.ndarray, foot_s: np.ndarray, size_mmhg: float
) -> np.ndarray:
    """Add pulses of one size wherever the cuff is above rest; their mean is taken off."""
    wave = pulse_wave(time_s, foot_s)
    up = pressure_mmhg > 20.0
    return pressure_mmhg + np.where(up, size_mmhg * (wave - wave[up].mean()), 0.0)


def rounded_to(pressure_mmhg: np.ndarray, step_mmhg: float) -> np.ndarray:
    """A log's rounding; + 0.0 keeps zeros positive."""
    return np.round(pressure_mmhg / step_mmhg) * step_mmhg + 0.0


def tap(
    time_s: np.ndarray, at_s: float, tone_hz: float = 80.0, width_s: float = 0.012
) -> np.ndarray:
    """A burst of a tone whose envelope is highest at ``at_s``."""
    after_s = time_s - at_s
    return np.exp(-0.5 * (after_s / width_s) ** 2) * np.cos(2 * np.pi * tone_hz * after_s)


def slow_fall_mmhg(time_s: np.ndarray) -> np.ndarray:
    """Cuff pressure of :func:`taps_on_a_slow_log`: it falls by 2.5 mmHg/s from 10 to 54 s."""
    return np.interp(time_s, *zip(*SLOW_FALL, strict=True))


def taps_on_a_slow_log(
    sound_s: np.ndarray, loudness: np.ndarray, rng: np.random.Generator, rate_hz: float = 2000.0
) -> Recording:
    """A minute of taps in noise, beside a log of 1 Hz in steps of 2 mmHg."""
    time_s = np.arange(round(60 * rate_hz)) / rate_hz
    samples = 0.008 * rng.standard_normal(time_s.size)
    for at_s, loud in zip(sound_s.tolist(), loudness.tolist(), strict=True):
        near = slice(round((at_s - 0.1) * rate_hz), round((at_s + 0.1) * rate_hz))
        samples[near] += 0.2 * loud * tap(time_s[near], at_s + 0.02)
    slow_s = np.arange(60.0)
    log = CuffLog(time_s=slow_s, pressure_mmhg=rounded_to(slow_fall_mmhg(slow_s), 2.0))
    return Recording(samples=samples, rate_hz=rate_hz, cuff=log)
