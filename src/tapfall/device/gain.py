"""Automatic gain: does the noise sink after loud events and come back after them?

A gain that follows the loudness turns the noise between the sounds down with them. So the
noise's level in quiet frames is compared between times when much and when little sound came
just before, for several reaches of "just before". The gain is *seen* where the noise is
lower after loud times by 3 dB or more in the whole recording, and by half of that in both
of its halves: a room that falls silent once makes no gain. It is *not seen* where the noise
keeps within 1 dB for every reach for which the loudness does not, two of them at least. All
else is *cannot tell*: nothing loud in the recording, less than 12 s, noise finer than the
samples' steps, noise that comes with the sounds. A gain that acts before the noise arises
(the noise of the converter itself) and one slower than the recording cannot be seen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from tapfall.device.facts import Gain
from tapfall.model import FloatArray

#: Length of a frame: a sound's main part lasts 20-80 ms.
FRAME_S = 0.04
#: A frame is quiet if it lies no more than so much over the noise around it (our choice),
#: and none of the frames next to it is loud: one before, so many after (murmurs last 0.1 s).
LOUD_DB, AROUND_S, AFTER_FRAMES = 8.0, 2.0, 3
#: Noise raised by so much over its median is an event itself (our choice).
RAISED_DB = 8.0
#: Time constants tried, seconds: of gains made for speech and of slow ones (our choice).
REACHES_S = (0.2, 0.6, 2.0, 6.0)
#: Quiet frames after the most and after the least loudness that are compared, and by how
#: much the loudness has to differ between them (our choice).
TAIL_SHARE, LEAST_CONTRAST_DB = 0.2, 6.0
#: The noise sinks by so much where a gain is seen, in the halves by the second; below the
#: third it keeps still (our choice, seen on simulated gains of 6 dB and more).
SEEN_DB, HALF_DB, STILL_DB = 3.0, 1.5, 1.0
#: Shortest recording, and fewest quiet frames of each half (our choice).
LEAST_S, LEAST_FRAMES = 12.0, 40


def find_gain(
    sound: FloatArray,
    band: FloatArray,
    alive: NDArray[np.bool_],
    rate_hz: float,
    step: float,
) -> tuple[Gain, float | None]:
    """Look for an automatic gain.

    Parameters
    ----------
    sound, band
        Band-limited sound and the same in 25-250 Hz, shape ``(n,)``.
    alive
        False in dead stretches, shape ``(n,)``.
    rate_hz
        Rate of the sound, 1-2 kHz.
    step
        Resolution of the samples.

    Returns
    -------
    Gain, float or None
        What was seen, and by how many dB the noise sinks after loud times; no
        number where nothing can be told.

    Examples
    --------
    >>> quiet = np.random.default_rng(1).standard_normal(40_000)
    >>> find_gain(quiet, quiet, np.ones(40_000, bool), 2000.0, 0.0)
    (<Gain.CANNOT_TELL: 'cannot tell'>, None)
    """
    size = round(FRAME_S * rate_hz)
    count = band.size // size
    if count * FRAME_S < LEAST_S:
        return Gain.CANNOT_TELL, None
    # Differences even out noise that is louder at the low end: more of it counts.
    crisp = np.diff(band, prepend=0.0)
    usable = alive[: count * size].reshape(count, size).all(axis=1)
    power = _frame_power(sound, count, size)
    noise_db = 10 * np.log10(_frame_power(crisp, count, size) + 1e-30)
    band_db = 10 * np.log10(_frame_power(band, count, size) + 1e-30)
    quiet = usable & _quiet(band_db)
    if quiet.any():
        # Noise of the inflation is an event, however long it lasts.
        quiet &= noise_db < float(np.median(noise_db[quiet])) + RAISED_DB
    if quiet.sum() < 2 * LEAST_FRAMES:
        return Gain.CANNOT_TELL, None
    if float(np.median(band_db[quiet])) < 20 * np.log10(step + 1e-15):
        return Gain.CANNOT_TELL, None
    swings: list[float] = []
    seen: list[float] = []
    opposed = False
    for reach_s in REACHES_S:
        keep = float(np.exp(-FRAME_S / reach_s))
        start = np.array([keep * float(np.median(power))])
        # Only what came before: the frame itself is quiet by choice.
        before = signal.lfilter([0.0, 1 - keep], [1.0, -keep], power, zi=start)[0]
        before_db = 10 * np.log10(before + 1e-30)
        swing = _swing_db(before_db, noise_db, quiet)
        if swing is None:
            continue
        swings.append(swing)
        opposed |= swing <= -SEEN_DB
        middle = count // 2
        halves = [
            _swing_db(before_db[part], noise_db[part], quiet[part])
            for part in (slice(None, middle), slice(middle, None))
        ]
        told = [half for half in halves if half is not None]
        if swing >= SEEN_DB and len(told) == 2 and min(told) >= HALF_DB:
            seen.append(swing)
    if seen and not opposed:
        return Gain.SEEN, round(max(seen), 1)
    if len(swings) < 2:
        return Gain.CANNOT_TELL, None
    largest = max(swings, key=abs)
    still = abs(largest) < STILL_DB
    return (Gain.NOT_SEEN if still else Gain.CANNOT_TELL), round(largest, 1)


def _frame_power(samples: FloatArray, count: int, size: int) -> FloatArray:
    return np.asarray(np.mean(samples[: count * size].reshape(count, size) ** 2, axis=1))


def _quiet(band_db: FloatArray) -> NDArray[np.bool_]:
    """Frames at the level of the noise around them, clear of loud ones."""
    around = 2 * round(AROUND_S / 2 / FRAME_S) + 1
    floor_db = ndimage.percentile_filter(band_db, 50, around, mode="nearest")
    loud = band_db > floor_db + LOUD_DB
    near = loud.copy()
    near[:-1] |= loud[1:]
    for later in range(1, AFTER_FRAMES + 1):
        near[later:] |= loud[:-later]
    return np.asarray(~near)


def _swing_db(
    before_db: FloatArray, noise_db: FloatArray, quiet: NDArray[np.bool_]
) -> float | None:
    """By how much the noise is lower after loud times; ``None`` without enough contrast."""
    loudness, level = before_db[quiet], noise_db[quiet]
    if loudness.size < LEAST_FRAMES:
        return None
    low, high = np.quantile(loudness, [TAIL_SHARE, 1 - TAIL_SHARE])
    after_little, after_much = loudness <= low, loudness >= high
    contrast = float(np.median(loudness[after_much]) - np.median(loudness[after_little]))
    if contrast < LEAST_CONTRAST_DB:
        return None
    return float(np.median(level[after_little]) - np.median(level[after_much]))
