"""Whether the stethoscope was put on, or lifted, where the sounds begin or end.

What is heard between the beats has nothing to do with the cuff's pressure.  Where it changes from
one beat to the next, in a band at least, just where sounds begin or end that are loud at once, it
is the ear that has changed and not the artery: it was put on late, or lifted for a while, and
nobody heard what sounded beyond.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tapfall.ear.record import Record
from tapfall.ear.told import Told
from tapfall.model import FloatArray

#: Between two beats no sound is expected from this share of the interval on, and up to that one
#: (murmurs last up to 0.15 s, second heart sounds come 0.3 s after the first ones: from memory).
FROM, TO = 0.45, 0.92
#: Bands, in Hz: what the skin brings, and what comes through the air (our choice).
BANDS_HZ = ((30.0, 80.0), (80.0, 160.0), (160.0, 320.0), (320.0, 700.0))
#: The level is the median of so many frames of this length: a heart sound in between is short, and
#: 30 Hz swings twice in one (our choice).
FRAME_S, FRAMES = 0.064, 9
#: So many beats on either side are compared, so many of them at least.
BESIDE, LEAST_BESIDE = 4, 3
#: A change: all levels on one side lie so far above all on the other, nats (tuned on calibration
#: recordings: of 840 of fourteen kinds 9 change so at an end that is loud at once, with the ear
#: lifted over one 70 in 100 by 30 dB and a knock, 35 by 15 dB, and 78 where it was put on late).
APART_NATS = 0.4
#: Two sounds at the edge that are loud at once: their mean level against the loudest is more than
#: this, nats (tuned as above).
LOUD_NATS = -3.2
#: Signal-to-noise ratio below which nothing is told: the noise itself comes and goes (of 40
#: recordings with speech at 4 dB five changed so, two of 160 with other noise at 4 to 8 dB).
LEAST_DB = 8.0


def contact_changes(record: Record, told: Told) -> tuple[bool, bool]:
    """Tell whether the ear changed at the first sound, and at the last one.

    Parameters
    ----------
    record
        Sound of the measurement.
    told
        Its beats and which of them sound.

    Returns
    -------
    first, last : bool
    """
    first, last, ratio_db = told.first_sound, told.last_sound, told.signal_to_noise_db
    if first is None or last is None or (ratio_db is not None and ratio_db < LEAST_DB):
        return False, False
    sounds = np.flatnonzero(told.heard >= 0.5)
    sounds = sounds[(sounds >= first) & (sounds <= last)]
    level = told.listening.evidence.measure("own_over_loud")[told.beats][sounds]
    if level.size < 2 * LEAST_BESIDE:
        return False, False
    loud = level[:2].mean() > LOUD_NATS, level[-2:].mean() > LOUD_NATS
    if not any(loud):
        return False, False
    # It moves before a beat at the edge or after it; the knock of lifting passes for a last sound.
    at_first, at_last = (first - 1, first), (last - 1, last, last + 1)
    near = np.zeros(told.onset_s.size - 1, np.bool_)
    for at in (*(at_first if loud[0] else ()), *(at_last if loud[1] else ())):
        near[max(at - BESIDE, 0) : max(at + BESIDE + 1, 0)] = True
    levels = _between(record, told.onset_s, near)
    return (
        bool(loud[0]) and any(_changes(levels, at) for at in at_first),
        bool(loud[1]) and any(_changes(levels, at) for at in at_last),
    )


def _between(record: Record, onset_s: FloatArray, wanted: NDArray[np.bool_]) -> FloatArray:
    """Levels between beats, nats, shape ``(n - 1, bands)``; NaN where none is wanted or known."""
    levels = np.full((onset_s.size - 1, len(BANDS_HZ)), np.nan)
    size = round(FRAME_S * record.rate_hz)
    length_s = np.diff(onset_s)
    begin = (onset_s[:-1] + FROM * length_s - record.start_s) * record.rate_hz
    room = (TO - FROM) * length_s * record.rate_hz - size
    held = wanted & (room >= size / 2) & (begin >= 0) & (begin + room + size < record.sound.size)
    if not held.any():
        return levels
    starts = np.rint(begin[held, None] + room[held, None] * np.linspace(0, 1, FRAMES))
    frames = np.lib.stride_tricks.sliding_window_view(record.sound, size)[starts.astype(np.intp)]
    power = np.median(np.abs(np.fft.rfft(frames * np.hanning(size), axis=-1)) ** 2, axis=1)
    edges = np.searchsorted(np.fft.rfftfreq(size, 1 / record.rate_hz), np.array(BANDS_HZ))
    bands = [power[:, low:high].mean(axis=1) for low, high in edges]
    levels[held] = np.log(np.stack(bands, axis=1) + 1e-20)
    return levels


def _changes(levels: FloatArray, at: int) -> bool:
    """Whether all levels before one lie apart from all after it, in a band."""
    before, after = levels[max(at - BESIDE, 0) : max(at, 0)], levels[at + 1 : at + 1 + BESIDE]
    before, after = (part[np.isfinite(part).any(axis=1)] for part in (before, after))
    if min(len(before), len(after)) < LEAST_BESIDE:
        return False
    apart = np.maximum(
        after.min(axis=0) - before.max(axis=0), before.min(axis=0) - after.max(axis=0)
    )
    return bool((apart > APART_NATS).any())
