"""Tracks of samples that waves are added to, and how loud one is."""

from __future__ import annotations

import numpy as np

from tapfall.model import FloatArray


def add_at(track: FloatArray, first: int, wave: FloatArray) -> None:
    """Add a wave to a track, in place, from a sample on; what lies beyond its ends is lost.

    Examples
    --------
    >>> track = np.zeros(3)
    >>> add_at(track, -1, np.array([1.0, 2.0, 3.0]))
    >>> track.tolist()
    [2.0, 3.0, 0.0]
    """
    low, high = max(first, 0), min(first + wave.size, track.size)
    if high > low:
        track[low:high] += wave[low - first : high - first]


def rms(samples: FloatArray) -> float:
    """Root of the mean square, 0 of no samples."""
    return float(np.sqrt(np.mean(samples**2))) if samples.size else 0.0
