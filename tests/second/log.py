"""The log of the cuff: its pulse on the trend, noise, rounding and a clock of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.second.cuff import STEP_S, Cuff
from tests.second.heart import Beats
from tests.second.person import Person
from tests.second.waves import FloatArray

#: Rates of logs in Hz, and steps in mmHg, with the chance of each (our choice).
RATES_HZ = (1, 2, 4, 5, 10, 20, 25, 40, 50, 100)
RATE_CHANCES = (0.03, 0.05, 0.06, 0.1, 0.18, 0.16, 0.12, 0.1, 0.1, 0.1)
STEPS_MMHG = (0.01, 0.1, 0.5, 1.0)
STEP_CHANCES = (0.15, 0.45, 0.25, 0.15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """Rows of a log; ``lag_s`` is log time minus audio time of the same instant."""

    time_s: FloatArray
    pressure_mmhg: FloatArray
    rate_hz: float
    step_mmhg: float
    lag_s: float


def draw_log(rng: np.random.Generator, kind: str, person: Person, cuff: Cuff, beats: Beats) -> Log:
    """Draw how the cuff pressure was logged."""
    lag_s = 0.0
    if kind == "lag":
        lag_s = float(rng.choice([-1, 1]) * rng.uniform(0.3, 1.5))
    if kind == "coarse_log":
        rate_hz, step_mmhg, noise_mmhg = 1.0, 2.0, 0.2
    else:
        rate_hz = float(rng.choice(RATES_HZ, p=RATE_CHANCES))
        step_mmhg = float(rng.choice(STEPS_MMHG, p=STEP_CHANCES))
        noise_mmhg = rng.uniform(0.03, 0.3)
    audio_s = np.arange(rng.uniform(0, 1 / rate_hz), cuff.end_s, 1 / rate_hz)
    pulsing_mmhg = cuff.pressure_mmhg + oscillation_mmhg(person, cuff, beats)
    pressure_mmhg = np.interp(audio_s, cuff.time_s, pulsing_mmhg)
    pressure_mmhg = pressure_mmhg + noise_mmhg * rng.standard_normal(len(audio_s))
    pressure_mmhg = np.round(pressure_mmhg / step_mmhg) * step_mmhg
    time_s = np.round(audio_s + lag_s, 4)
    kept = time_s >= 0
    return Log(
        time_s=time_s[kept],
        pressure_mmhg=pressure_mmhg[kept],
        rate_hz=rate_hz,
        step_mmhg=step_mmhg,
        lag_s=lag_s,
    )


def oscillation_mmhg(person: Person, cuff: Cuff, beats: Beats) -> FloatArray:
    """The pulse on the cuff's grid; each beat has mean zero, so the trend is the smooth one."""
    bell, pulse = person.cuff_pulse, person.pulse
    added = np.zeros(len(cuff.pressure_mmhg))
    usual_mmhg = person.systolic_mmhg - person.diastolic_mmhg
    top_s, length_s = pulse.upstroke_s, pulse.time_s[-1]
    for index, foot_s in enumerate(beats.foot_s):
        interval_s = beats.interval_s[index]
        start = int(np.ceil(foot_s / STEP_S))
        end = min(int(np.ceil((foot_s + interval_s) / STEP_S)), len(added))
        if end - start < 5:
            continue
        since_s = np.arange(start, end) * STEP_S - foot_s
        fall_s = (since_s - top_s) * (length_s - top_s) / max(interval_s - top_s, 0.1)
        since_s = np.where(since_s < top_s, since_s, top_s + fall_s)
        wave = np.interp(since_s, pulse.time_s, pulse.height)
        cuff_mmhg = cuff.pressure_mmhg[start:end]
        off_mmhg = cuff_mmhg - bell.centre_mmhg
        width_mmhg = np.where(off_mmhg > 0, bell.above_mmhg, bell.below_mmhg)
        size = np.exp(-0.5 * (off_mmhg / width_mmhg) ** 2) * np.clip((cuff_mmhg - 5) / 20, 0, 1)
        strength = (beats.systolic_mmhg[index] - beats.diastolic_mmhg[index]) / usual_mmhg
        added[start:end] = bell.peak_mmhg * strength * size * (wave - wave.mean())
    return np.convolve(added, np.ones(3) / 3, "same")
