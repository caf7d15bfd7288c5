"""Taps while the cuff is held: even, loud, short, and at a heart's rate."""

from __future__ import annotations

import numpy as np
from scipy import signal

from tapfall.model import FloatArray

#: Step of the envelope, and the shortest and longest interval of beats (32-180 a minute).
STEP_S, SHORTEST_S, LONGEST_S = 0.02, 0.33, 1.9
#: A tap stands out so far from the median level, its neighbours come within so much of it,
#: and the intervals within this share of their median (our choice).
STANDS_OUT_DB, ALIKE_DB, EVEN_SHARE = 10.0, 10.0, 0.25
#: Fewest taps.
LEAST_TAPS = 3
#: Probability that they are Korotkoff sounds: such taps were heard in 11 of 25 simulated
#: holds below the systolic and in one of ten above it, where the heart is heard on the arm;
#: a quarter of cuffs inflated too little is assumed (our choice).
TAPS_ARE_SOUNDS = 0.6


def tapping(sound: FloatArray, rate_hz: float) -> bool:
    """Whether a short stretch of sound holds taps in step with a heart.

    Parameters
    ----------
    sound
        Band-limited sound, shape ``(n,)``.
    rate_hz
        Its rate.

    Returns
    -------
    bool

    Examples
    --------
    >>> noise = np.random.default_rng(0).normal(size=5000) * 0.01
    >>> tapping(noise, 2000.0)
    False
    >>> beats = noise.copy()
    >>> for at in (300, 1700, 3100, 4500):
    ...     beats[at : at + 60] += np.sin(np.arange(60) * 0.3)
    >>> tapping(beats, 2000.0)
    True
    """
    size = round(STEP_S * rate_hz)
    blocks = sound[: sound.size // size * size].reshape(-1, size)
    if blocks.shape[0] < 2 * LEAST_TAPS:
        return False
    level_db = 10 * np.log10(np.mean(blocks**2, axis=1) + 1e-16)
    floor_db = float(np.median(level_db))
    peaks, _ = signal.find_peaks(
        np.pad(level_db, 1, constant_values=-200.0),
        height=floor_db + STANDS_OUT_DB,
        distance=round(SHORTEST_S / STEP_S),
    )
    if peaks.size < LEAST_TAPS:
        return False
    interval_s = np.diff(peaks) * STEP_S
    typical_s = float(np.median(interval_s))
    even = bool((np.abs(interval_s - typical_s) <= EVEN_SHARE * typical_s).all())
    alike = float(np.ptp(level_db[peaks - 1])) <= ALIKE_DB
    return even and alike and SHORTEST_S <= typical_s <= LONGEST_S
