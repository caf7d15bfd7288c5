"""Whether the stethoscope was put on, or lifted, where the sounds begin or end.

What is heard between the beats has nothing to do with the cuff's pressure.  Where it changes from
one beat to the next, in a band at least, just where sounds begin or end that are loud at once, it
is the ear that has changed and not the artery: it was put on late, or lifted for a while, and
nobody heard what sounded beyond.
"""

from __future__ import annotations

import itertools

import numpy as np

from tapfall.ear.record import Record
from tapfall.ear.told import Told
from tapfall.model import FloatArray

#: Between two beats no sound is expected from this share of the interval on, and up to that one
#: (murmurs last up to 0.15 s, second heart sounds come 0.3 s after the first ones: from memory).
FROM, TO = 0.45, 0.92
#: Bands, in Hz: what the skin brings, and what comes through the air (our choice).
BANDS_HZ = ((30.0, 80.0), (80.0, 160.0), (160.0, 320.0), (320.0, 700.0))
#: The level is the median of frames of this length: a heart sound in between is short, and 30 Hz
#: swings twice in one (our choice).
FRAME_S = 0.064
#: So many beats on either side are compared, so many of them at least.
BESIDE, LEAST_BESIDE = 4, 3
#: A change: all levels on one side lie so far above all on the other, nats (tuned on calibration
#: recordings: of 840 of fourteen kinds 11 change so at an end that is loud at once, with the ear
#: lifted over one 74 in 100 by 30 dB and a knock, 38 by 15 dB, and 68 where it was put on late).
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
    quiet = _between(record, told.onset_s)
    # It moves before a beat at the edge or after it; the knock of lifting passes for a last sound.
    at_first = any(_changes(quiet, at) for at in (first - 1, first))
    at_last = any(_changes(quiet, at) for at in (last - 1, last, last + 1))
    return bool(loud[0] and at_first), bool(loud[1] and at_last)


def _between(record: Record, onset_s: FloatArray) -> FloatArray:
    """Levels after each beat but the last and before the next, nats, shape ``(n - 1, bands)``."""
    levels = np.full((max(onset_s.size - 1, 0), len(BANDS_HZ)), np.nan)
    size = round(FRAME_S * record.rate_hz)
    step, window = size // 2, np.hanning(size)
    edges = np.searchsorted(np.fft.rfftfreq(size, 1 / record.rate_hz), np.array(BANDS_HZ))
    for i, (begin_s, end_s) in enumerate(itertools.pairwise(onset_s.tolist())):
        length_s = end_s - begin_s
        sound, _ = record.between(begin_s + FROM * length_s, begin_s + TO * length_s)
        if sound.size < size + step:
            continue
        frames = np.lib.stride_tricks.sliding_window_view(sound, size)[::step]
        power = np.median(np.abs(np.fft.rfft(frames * window, axis=1)) ** 2, axis=0)
        levels[i] = np.log([power[low:high].mean() + 1e-20 for low, high in edges])
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
