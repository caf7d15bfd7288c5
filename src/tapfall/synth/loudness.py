"""Levels in the band where Korotkoff sounds are heard, and who hears them.

A sound's level is the largest rms over 60 ms in 25-250 Hz.  In quiet it is
audible where it is at most 28 dB below the loudest tenth of the person's
sounds (our choice, in the spirit of Celler 2017: audible limit 4-6 mV beside
loudest sounds of up to 84 mV) and above an absolute floor.  In noise it is
audible where it is also at least as loud as the noise around it: rms, same
band, one second to either side, without the Korotkoff sounds (our choice).
"""

from __future__ import annotations

import numpy as np

from tapfall.model import FloatArray
from tapfall.synth.filters import band

BAND_HZ = (25.0, 250.0)
LEVEL_S = 0.06
AUDIBLE_BELOW_LOUDEST_DB = 28.0
#: About two steps of a 16-bit recording (our choice), dB re full scale.
AUDIBLE_FLOOR_DBFS = -84.0
AROUND_S = 1.0


def in_band(samples: FloatArray, rate_hz: float) -> FloatArray:
    """Band-pass 25-250 Hz along the last axis (Butterworth of order 4, causal)."""
    return band(samples, *BAND_HZ, rate_hz, 4)


def sound_levels(waves: FloatArray, rate_hz: float) -> FloatArray:
    """Largest rms over 60 ms of each row (rows already in band), shape ``(rows,)``."""
    width = max(int(LEVEL_S * rate_hz), 1)
    total = np.cumsum(waves**2, axis=1)
    power = (total[:, width:] - total[:, :-width]) / width
    levels: FloatArray = np.sqrt(np.maximum(power.max(axis=1, initial=0.0), 0.0))
    return levels


def loudest_tenth(levels: FloatArray) -> float:
    """rms over the loudest tenth (at least one) of the sounds' levels.

    Examples
    --------
    >>> loudest_tenth(np.arange(1.0, 11.0))
    10.0
    """
    count = max(round(levels.size / 10), 1)
    top = np.sort(levels)[-count:]
    return float(np.sqrt(np.mean(top**2)))


def noise_around(noise: FloatArray, rate_hz: float, at_s: FloatArray) -> FloatArray:
    """rms of the band-passed noise one second to either side of each time, shape of ``at_s``."""
    total = np.concatenate([[0.0], np.cumsum(noise**2)])
    low = np.clip(((at_s - AROUND_S) * rate_hz).astype(int), 0, noise.size - 1)
    high = np.clip(((at_s + AROUND_S) * rate_hz).astype(int), low + 1, noise.size)
    level: FloatArray = np.sqrt(np.maximum(total[high] - total[low], 0.0) / (high - low))
    return level
