"""The arterial pressure wave, beat by beat, and where it crosses the cuff."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray
from tapfall.synth.rhythm import Beats, Breath
from tapfall.synth.scenario import Person
from tapfall.synth.streams import stream

#: Fall of the diastolic per second of longer interval, mmHg/s, and its limit (our choice).
RUN_OFF_MMHG_PER_S = 12.0
RUN_OFF_LIMIT_MMHG = 8.0

_GRID = np.linspace(0.0, 1.0, 257)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures:
    """Systolic and diastolic of each beat in mmHg, shape ``(n,)``."""

    systolic_mmhg: FloatArray
    diastolic_mmhg: FloatArray


def pressures_of(person: Person, beats: Beats, breath: Breath, seed: int) -> Pressures:
    """Return each beat's own pressures: breath, slow swing, filling, alternation, scatter."""
    rng = stream(seed, "pressures")
    n = beats.foot_s.size
    scatter = rng.standard_normal(n)
    slow_phase = float(rng.uniform(0, 2 * np.pi))
    slow_hz = float(rng.uniform(0.07, 0.12))
    odd = int(rng.integers(0, 2))
    swing = 0.5 * person.breath_swing_mmhg * breath.at(beats.foot_s)
    swing += 0.5 * person.slow_swing_mmhg * np.sin(2 * np.pi * slow_hz * beats.foot_s + slow_phase)
    filling = beats.before_s / beats.median_s - 1
    strength = 1 + person.filling_gain * np.where(filling < 0, filling, 0.3 * filling)
    strength = np.clip(strength, 0.15, 1.3)
    run_off = -RUN_OFF_MMHG_PER_S * (beats.before_s - beats.median_s)
    run_off = np.clip(run_off, -RUN_OFF_LIMIT_MMHG, RUN_OFF_LIMIT_MMHG)
    diastolic = person.diastolic_mmhg + 0.5 * swing + run_off
    diastolic += 0.5 * person.beat_sd_mmhg * rng.standard_normal(n)
    pulse = person.systolic_mmhg - person.diastolic_mmhg
    alternation = person.alternans_mmhg * np.where(np.arange(n) % 2 == odd, 0.0, -1.0)
    systolic = person.diastolic_mmhg + pulse * strength + swing + alternation
    systolic += person.beat_sd_mmhg * scatter
    return Pressures(systolic_mmhg=np.maximum(systolic, diastolic + 4.0), diastolic_mmhg=diastolic)


def upstroke(share: FloatArray, shape: float) -> FloatArray:
    """Height of the upstroke (0 foot, 1 top) after a share of its time."""
    x = np.clip(share, 0.0, 1.0)
    height: FloatArray = (1 - shape) * x + shape * (3 * x**2 - 2 * x**3)
    return height


def crossing_s(height: FloatArray, person: Person) -> FloatArray:
    """Time after the foot at which the upstroke reaches a height.

    Parameters
    ----------
    height
        (cuff - diastolic) / (systolic - diastolic), shape ``(n,)``; below 0
        gives the foot, above 1 the top.
    person
        Upstroke time and shape.

    Returns
    -------
    ndarray
        Seconds, shape ``(n,)``.

    Examples
    --------
    A straight upstroke of 120 ms over 40 mmHg is crossed 3 ms later for each
    mmHg of cuff pressure:

    >>> person = Person(upstroke_s=0.12, upstroke_shape=0.0)
    >>> times_s = crossing_s(np.array([10.0, 11.0]) / 40, person)
    >>> round(float(np.diff(times_s)[0]) * 1000, 6)
    3.0
    """
    heights = upstroke(_GRID, person.upstroke_shape)
    return person.upstroke_s * np.interp(np.clip(height, 0, 1), heights, _GRID)


def pulse_shape(after_s: FloatArray, interval_s: FloatArray, person: Person) -> FloatArray:
    """Pressure-like wave of one beat: 0 at the foot, 1 at the top, notch, run-off to 0.

    Parameters
    ----------
    after_s
        Seconds after the foot, any shape; 0 before it.
    interval_s
        Seconds to the next foot, same shape.
    person
        Upstroke time and shape, depth of the dicrotic notch.

    Returns
    -------
    ndarray
        Height, same shape.
    """
    rise = upstroke(after_s / person.upstroke_s, person.upstroke_shape)
    late_s = np.maximum(after_s - person.upstroke_s, 0.0)
    rest_s = np.maximum(interval_s - person.upstroke_s, 0.05)
    fall = np.exp(-late_s / (0.55 * rest_s)) * np.clip(1 - late_s / rest_s, 0, 1)
    notch_s = 0.16 + 0.4 * person.upstroke_s
    notch = person.notch_share * np.exp(-0.5 * ((late_s - notch_s) / 0.025) ** 2)
    bounce = 0.6 * person.notch_share * np.exp(-0.5 * ((late_s - notch_s - 0.07) / 0.04) ** 2)
    tail = np.maximum(fall - notch * fall + bounce * fall, 0.0)
    return np.where(after_s <= 0, 0.0, np.where(late_s > 0, tail, rise))


def pulse_train(time_s: FloatArray, foot_s: FloatArray, person: Person) -> FloatArray:
    """Return the pressure-like wave of all beats at times in seconds, shape of ``time_s``."""
    index = np.clip(np.searchsorted(foot_s, time_s, side="right") - 1, 0, foot_s.size - 2)
    interval_s = np.diff(foot_s)[index]
    return pulse_shape(time_s - foot_s[index], interval_s, person)
