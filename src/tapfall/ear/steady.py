"""Sounds that come with every beat whatever the cuff does, such as heart sounds."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.beats import RATE_PRIOR, chain_of, fill_in, typical_interval_s
from tapfall.ear.delaymap import always_there
from tapfall.ear.pulses import local_maxima
from tapfall.model import FloatArray

#: Least level, nats over what every delay brings, of a sound in every beat, and how far it may
#: jitter about an even clock (tuned).
LEAST_NATS, JITTER_S = 0.8, 0.06
#: Level from which an instant may be a beat (tuned).
LEAST_PEAK_NATS = 0.5


def steady_sound(bands: Bands, start_s: float, end_s: float) -> bool:
    """Whether some sound keeps step from the top of the deflation to its end.

    Parameters
    ----------
    bands
        Levels over audio time.
    start_s, end_s
        Audio times of the deflation.

    Returns
    -------
    bool
        True where it is there in most of the first and of the last beats.
    """
    first = max(0, round((start_s - bands.start_s) / HOP_S))
    last = round((end_s - bands.start_s) / HOP_S)
    level: FloatArray = np.log(np.mean(np.exp(bands.level[first:last]), axis=1))
    if level.size * HOP_S < 4.0:
        return False
    level = np.maximum(np.convolve(level, np.ones(5) / 5, "same"), 0.0)
    interval_s = typical_interval_s(level, HOP_S, RATE_PRIOR)
    peaks = local_maxima(level, round(0.12 / HOP_S))
    peaks = peaks[level[peaks] > LEAST_PEAK_NATS]
    if interval_s is None or peaks.size < 6:
        return False
    chain = peaks[chain_of(peaks * HOP_S, level[peaks], interval_s)]
    if chain.size < 6:
        return False
    beat_s = fill_in(chain * HOP_S, 0.0, level.size * HOP_S).time_s
    # Jumps from one sound to another are smoothed away; the beat goes on.
    even_s = np.arange(beat_s.size) * interval_s
    beat_s = even_s + ndimage.median_filter(beat_s - even_s, 9, mode="nearest")
    offset_s = np.arange(-0.45 * interval_s, 0.45 * interval_s, HOP_S)
    index = np.rint((beat_s[:, None] + offset_s[None, :]) / HOP_S).astype(np.intp)
    inside = (index >= 0) & (index < level.size)
    around = np.where(inside, level[np.clip(index, 0, level.size - 1)], 0.0)
    width = 2 * round(JITTER_S / HOP_S) + 1
    base = always_there(ndimage.maximum_filter1d(around, width, axis=1))
    # Noise reaches up at every delay alike.
    return float(base.max() - np.median(base)) >= LEAST_NATS
