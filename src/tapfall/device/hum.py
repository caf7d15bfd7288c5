"""Mains hum in a device's sound: narrow lines that are always there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from tapfall.device.facts import BAND_HZ
from tapfall.model import FloatArray

#: Mains: frequencies, how far they may be off, width of a line, and where its surroundings lie.
MAINS_HZ, OFF_HZ, LINE_HZ, AROUND_HZ = (50.0, 60.0), 0.7, 1.0, (3.0, 9.0)
#: Lines stand so far out of their surroundings (our choice; noise reaches 8 dB at most in
#: the median of seven frames).
LINE_DB = 10.0
#: The hum is told from sounds by its narrow lines: frames of this length, so long at least.
HUM_FRAME_S, LEAST_HUM_S = 2.0, 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """Mains hum: its power re full scale in 25-250 Hz, and the lines that were seen.

    ``told`` is whether it could be looked for.
    """

    mains_hz: float | None
    power: float
    lines_hz: tuple[float, ...]
    told: bool


def find_hum(sound: FloatArray, rate_hz: float) -> Hum:
    """Look for mains hum and its harmonics up to 250 Hz.

    Parameters
    ----------
    sound
        Band-limited sound, shape ``(n,)``.
    rate_hz
        Its rate, 1-2 kHz.

    Returns
    -------
    Hum
        Not told where the sound is shorter than 6 s, or silent most of the time.

    Examples
    --------
    >>> time_s = np.arange(20_000) / 2000.0
    >>> noise = 0.01 * np.random.default_rng(1).standard_normal(time_s.size)
    >>> find_hum(noise + 0.1 * np.sin(2 * np.pi * 50 * time_s), 2000.0).mains_hz
    50.0
    """
    nothing = Hum(mains_hz=None, power=0.0, lines_hz=(), told=False)
    if sound.size < LEAST_HUM_S * rate_hz:
        return nothing
    size = round(HUM_FRAME_S * rate_hz)
    line_hz, _, frames = signal.spectrogram(
        sound, rate_hz, window="hann", nperseg=size, noverlap=size // 2
    )
    # What is always there: sounds come and go.
    density = np.median(frames, axis=1)
    inside = (line_hz >= BAND_HZ[0]) & (line_hz <= BAND_HZ[1])
    if float(density[inside].sum()) <= 0.0:
        return nothing
    best = Hum(mains_hz=None, power=0.0, lines_hz=(), told=True)
    for mains_hz in MAINS_HZ:
        count = int(BAND_HZ[1] // mains_hz)
        lines = {
            mains_hz * k: _line_power(line_hz, density, mains_hz * k) for k in range(1, count + 1)
        }
        seen = tuple(at_hz for at_hz, power in lines.items() if power > 0.0)
        power = sum(lines.values())
        if (mains_hz in seen or len(seen) >= 2) and power > best.power:
            best = Hum(mains_hz=mains_hz, power=power, lines_hz=seen, told=True)
    return best


def without_lines(band: FloatArray, rate_hz: float, hum: Hum) -> FloatArray:
    """The sound with the lines of a hum notched out, shape as ``band``."""
    for at_hz in hum.lines_hz:
        notch, feedback = signal.iirnotch(at_hz, at_hz / (2 * LINE_HZ), fs=rate_hz)
        band = np.asarray(signal.lfilter(notch, feedback, band))
    return band


def _line_power(line_hz: FloatArray, density: FloatArray, at_hz: float) -> float:
    """Power of a narrow line, 0 where none stands out."""
    apart_hz = np.abs(line_hz - at_hz)
    around = (apart_hz >= AROUND_HZ[0]) & (apart_hz <= AROUND_HZ[1])
    base = float(np.median(density[around]))
    near = np.flatnonzero(apart_hz <= OFF_HZ)
    peak = int(near[np.argmax(density[near])])
    if density[peak] < base * 10 ** (LINE_DB / 10) or density[peak] == 0.0:
        return 0.0
    line = np.abs(line_hz - line_hz[peak]) <= LINE_HZ
    return max(float(np.sum(density[line] - base)) * float(line_hz[1]), 0.0)
