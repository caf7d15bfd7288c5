"""Sound as levels in a few bands over time, each above its own surroundings.

Steady noise, hum and the band's shape fall out by subtracting each band's
local median; what is left is free of scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray

#: Step and length of a frame: a sound's main part lasts 20-80 ms (K1; from memory).
HOP_S, FRAME_S = 0.004, 0.032
#: Bands in Hz, from the dull end of a tap to its click and the murmur (our choice).
BANDS_HZ = ((25.0, 55.0), (55.0, 95.0), (95.0, 150.0), (150.0, 240.0), (240.0, 400.0))
#: Levels so far below the loud ones are masked: per band, and below the loudest band.
MASKED_DB, MASKED_BY_LOUDEST_DB = 31.0, 45.0
#: The local median reaches over this much, either way about 1.25 s.
BLOCK_S, BLOCKS = 0.5, 2
#: Levels in nats over the median are kept between these.
LEAST_NATS, MOST_NATS = -2.0, 6.0
#: Frequencies are told apart in so many bins of the rate.
_BINS = 128


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """Level of each band above its local median, nats, shape ``(n, len(BANDS_HZ))``.

    Row ``i`` is the frame that starts ``i * HOP_S`` after ``start_s``.
    """

    level: FloatArray
    start_s: float


def band_levels(sound: FloatArray, rate_hz: float, start_s: float) -> Bands | None:
    """Measure the levels.

    Parameters
    ----------
    sound
        Band-limited sound, shape ``(n,)``.
    rate_hz
        Its rate, 1-2 kHz.
    start_s
        Audio time of its first sample.

    Returns
    -------
    Bands or None
        ``None`` where the sound lasts less than two seconds.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(6000)
    >>> band_levels(noise, 2000.0, 0.0).level.shape
    (742, 5)
    """
    length = round(FRAME_S * rate_hz)
    count = int((sound.size - length) / (HOP_S * rate_hz))
    if count * HOP_S < 2.0:
        return None
    first = np.rint(np.arange(count) * HOP_S * rate_hz).astype(np.intp)
    frames = np.lib.stride_tricks.sliding_window_view(sound.astype(np.float32), length)[first]
    waves, share = _bins(length, rate_hz)
    # The few bins that count, as products with their waves: a tenth of the time of whole spectra.
    parts = frames @ waves
    power = np.square(parts, out=parts) @ share
    loud = np.quantile(power[::3], 0.97, axis=0)
    masked = loud * 10 ** (-MASKED_DB / 10) + loud.max() * 10 ** (-MASKED_BY_LOUDEST_DB / 10)
    level = np.log(power + masked + 1e-20)
    block = round(BLOCK_S / HOP_S)
    medians = _local_medians(level, block)
    centre = (np.arange(medians.shape[0]) + 0.5) * block
    at = np.arange(count)
    floor = np.stack([np.interp(at, centre, column) for column in medians.T], axis=1)
    return Bands(level=np.clip(level - floor, LEAST_NATS, MOST_NATS), start_s=start_s)


@lru_cache(maxsize=8)
def _bins(length: int, rate_hz: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Tapered waves of the bins inside the bands, and each bin's share in a band's mean power.

    Shapes ``(length, 2 * k)``, cosines before sines, and ``(2 * k, len(BANDS_HZ))``.
    """
    frequency_hz = np.arange(_BINS // 2 + 1) * rate_hz / _BINS
    share = np.stack(
        [
            np.clip(
                np.minimum((frequency_hz - low) / 8 + 0.5, (high - frequency_hz) / 8 + 0.5), 0, 1
            )
            for low, high in BANDS_HZ
        ],
        axis=1,
    )
    taper = np.hanning(length + 2)[1:-1]
    used = np.flatnonzero(share.any(axis=1))
    turn = 2 * np.pi / _BINS * np.outer(np.arange(length), used)
    waves = np.concatenate([np.cos(turn), np.sin(turn)], axis=1) * taper[:, None]
    share = share[used] / (share.sum(axis=0) * float(np.sum(taper**2)))
    return waves.astype(np.float32), np.concatenate([share, share]).astype(np.float32)


def _local_medians(level: FloatArray, block: int) -> FloatArray:
    """Median of every second frame of each block and those around it, shape ``(blocks, k)``."""
    blocks = max(1, level.shape[0] // block)
    whole = (2 * BLOCKS + 1) * block
    inner = range(BLOCKS, BLOCKS)
    medians = np.empty((blocks, level.shape[1]))
    if level.shape[0] >= whole:  # all with as many blocks on either side, at once
        windows = np.lib.stride_tricks.sliding_window_view(level, whole, axis=0)[::block, :, ::2]
        inner = range(BLOCKS, BLOCKS + windows.shape[0])
        medians[inner.start : inner.stop] = np.median(windows, axis=-1)
    for b in set(range(blocks)) - set(inner):
        around = level[max(0, b - BLOCKS) * block : (b + BLOCKS + 1) * block : 2]
        medians[b] = np.median(around, axis=0)
    return medians
