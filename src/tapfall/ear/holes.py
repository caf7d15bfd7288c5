"""Stretches of a measurement from which there is no sound: lost on the way, or dead."""

from __future__ import annotations

import numpy as np

from tapfall.ear.record import Record
from tapfall.ear.runs import runs

#: Noise this far below its usual level (80 dB), for so long, is a hole in the sound: a
#: quiet room falls by some 20 dB at most (our choice).
DEAD_SHARE, DEAD_S, BLOCK_S = 1e-4, 0.3, 0.05

Holes = tuple[tuple[float, float], ...]


def sound_holes(record: Record, first_s: float, last_s: float) -> Holes:
    """Find where there is no sound, not even noise, in a recording that has noise.

    Parameters
    ----------
    record
        The measurement.
    first_s, last_s
        Between these audio times.

    Returns
    -------
    tuple of (float, float)
        Begin and end of each stretch in audio time, in order.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(8000)
    >>> noise[4000:5000] = 0.0
    >>> none = np.zeros(0)
    >>> record = Record(sound=noise, clipped=noise > 9, rate_hz=1000.0, start_s=0.0,
    ...                 log_s=none, log_mmhg=none, lost_s=((7.0, 7.5), (9.0, 9.5)))
    >>> sound_holes(record, 0.0, 8.0)
    ((4.0, 5.0), (7.0, 7.5))
    """
    sound, start_s = record.between(first_s, last_s)
    size = round(BLOCK_S * record.rate_hz)
    blocks = sound[: sound.size // size * size].reshape(-1, size)
    rms = np.sqrt(np.mean(blocks**2, axis=1))
    dead = rms < DEAD_SHARE * float(np.median(rms)) if rms.size else np.zeros(0, np.bool_)
    block_s = size / record.rate_hz
    holes = [
        (round(start_s + begin * block_s, 3), round(start_s + end * block_s, 3))
        for begin, end in runs(dead)
        if (end - begin) * BLOCK_S >= DEAD_S
    ]
    holes += [lost for lost in record.lost_s if lost[0] < last_s and lost[1] > first_s]
    return tuple(sorted(holes))
