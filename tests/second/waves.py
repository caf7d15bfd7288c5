"""Signals on the simulator's grid of 4 kHz: colours, slow curves, bands and levels."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

RATE_HZ = 4000

#: Band that levels are measured in (main energy below 200 Hz, peak 30-60 Hz: engineering
#: papers, from memory; audible from about 40 Hz: Babbs 2015).
BAND = signal.butter(4, [25, 250], "bandpass", fs=RATE_HZ, output="sos")

#: Length of the window that the level of one sound is measured in (K1 lasts about 20-80 ms,
#: from memory).
WINDOW_S = 0.06


def ratio(level_db: Any) -> Any:
    """A level in dB, a number or an array, as a ratio of amplitudes."""
    return 10 ** (level_db / 20)


def slow_curve(
    rng: np.random.Generator, count: int, knot_s: float, step_s: float = 1 / RATE_HZ
) -> FloatArray:
    """Smooth random curve of about unit variance with a knot every ``knot_s``."""
    knots = rng.standard_normal(int(count * step_s / knot_s) + 5)
    place = np.arange(count) * step_s / knot_s + rng.uniform(0, 1)
    before = place.astype(int)
    share = place - before
    share = share * share * (3 - 2 * share)
    return knots[before] * (1 - share) + knots[before + 1] * share


def coloured(
    rng: np.random.Generator,
    count: int,
    exponent: float,
    low_hz: float = 15.0,
    high_hz: float = 2000.0,
) -> FloatArray:
    """Noise of unit variance whose power falls as frequency to the ``exponent``."""
    size = 1 << int(np.ceil(np.log2(count)))
    frequency_hz = np.fft.rfftfreq(size, 1 / RATE_HZ)
    gain = (
        np.maximum(frequency_hz, low_hz) ** (-exponent / 2)
        / np.sqrt(1 + (frequency_hz / high_hz) ** 8)
        * np.where(frequency_hz < low_hz, (frequency_hz / low_hz) ** 2, 1)
    )
    bins = frequency_hz.size
    spectrum = gain * (rng.standard_normal(bins) + 1j * rng.standard_normal(bins))
    noise = np.fft.irfft(spectrum, size)[:count]
    return noise / (noise.std() + 1e-12)


def peaking(centre_hz: float, gain_db: float, quality: float) -> FloatArray:
    """One section, as scipy's ``sos``, that lifts a band by ``gain_db``."""
    amplitude, angle = 10 ** (gain_db / 40), 2 * np.pi * centre_hz / RATE_HZ
    alpha = np.sin(angle) / (2 * quality)
    above = np.array([1 + alpha * amplitude, -2 * np.cos(angle), 1 - alpha * amplitude])
    below = np.array([1 + alpha / amplitude, -2 * np.cos(angle), 1 - alpha / amplitude])
    return np.concatenate([above, below])[None] / below[0]


def add_at(track: FloatArray, start_s: float, wave: FloatArray, gain: float = 1.0) -> None:
    """Add a wave to a track in place, its start rounded to a sample."""
    start = round(start_s * RATE_HZ)
    first, last = max(start, 0), min(start + len(wave), len(track))
    if last > first:
        track[first:last] += gain * wave[first - start : last - start]


def in_band(samples: FloatArray) -> FloatArray:
    """What of the samples lies in 25-250 Hz, without delay."""
    return signal.sosfiltfilt(BAND, samples)


def band_rms(samples: FloatArray) -> float:
    """Root mean square in 25-250 Hz."""
    return float(np.sqrt(np.mean(in_band(samples) ** 2)))


def _energy(samples: FloatArray) -> FloatArray:
    return np.concatenate([[0], np.cumsum(in_band(samples) ** 2)])


def loudest_near(samples: FloatArray, time_s: FloatArray) -> FloatArray:
    """Loudest 60 ms (rms, 25-250 Hz) that start 10 ms before to 50 ms after each time."""
    energy = _energy(samples)
    width = int(WINDOW_S * RATE_HZ)
    found = np.zeros(len(time_s))
    for index, at_s in enumerate(time_s):
        start = np.arange(int((at_s - 0.01) * RATE_HZ), int((at_s + 0.05) * RATE_HZ), 8)
        start = start[(start >= 0) & (start + width < len(energy))]
        if start.size:
            most = np.max(energy[start + width] - energy[start])
            found[index] = np.sqrt(max(0, most) / width)
    return found


def level_around(samples: FloatArray, time_s: FloatArray) -> FloatArray:
    """Level (rms, 25-250 Hz) over 0.4 s to either side of each time."""
    energy = _energy(samples)
    first = np.clip(((time_s - 0.4) * RATE_HZ).astype(int), 0, len(samples) - 1)
    last = np.clip(((time_s + 0.4) * RATE_HZ).astype(int), 1, len(samples))
    return np.sqrt((energy[last] - energy[first]) / np.maximum(last - first, 1))
