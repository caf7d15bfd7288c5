"""Where a heartbeat is expected, and how its sound trails the pulse.

A sound starts where the arterial upstroke crosses the cuff's pressure: late
in the upstroke near systolic, early near diastolic (Rodbard, QKD literature;
from memory).  So its delay after the cuff's pulse shrinks smoothly while the
cuff falls; dynamic programming follows that delay from beat to beat, and the
same search over +-2 s finds the lag between the two clocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, signal

from tapfall.ear.pulses import RATE_PRIOR, best_chain, local_maxima, typical_interval_s
from tapfall.ear.whiten import White
from tapfall.model import FloatArray

#: Step of the delay search.
STEP_S = 0.004
#: Short window that places a sound (its main part lasts 20-80 ms).
PLACE_S = 0.032
#: Evidence of one sound is capped: one loud noise must not decide (tuned).
CAP_NATS = 2.5
#: Delays after the steepest rise of the cuff's pulse that a sound can have:
#: an upstroke lasts 80-200 ms and conduction adds some tens (from memory).
EARLIEST_S, LATEST_S = -0.13, 0.30
#: Delay lost per mmHg that the cuff falls, and its spread between people: upstrokes of
#: 80-200 ms over pulse pressures of 30-80 mmHg (computed).
DELAY_S_PER_MMHG, DELAY_SPREAD_S_PER_MMHG = 0.0018, 0.002
#: Jitter of the pulse clock from beat to beat, weight of smoothness, and the most that
#: one rough step costs: a pulse may be misplaced (tuned).
CLOCK_JITTER_S, SMOOTHNESS, MOST_ROUGH = 0.007, 0.8, 4.0
#: Sounds at one delay in every beat: how strong, how wide, how many at most (tuned).
LEAST_FIXED_NATS, FIXED_REACH_S, MOST_FIXED = 0.7, 0.06, 24
#: How much more than its median is taken out: it varies with the breath (tuned).
FIXED_WEIGHT = 1.4
#: Width over which a sound still counts as being at one delay, in steps.
FIXED_JITTER = 5
#: A sound with every beat that can be the clock: strength and jitter (tuned).
ANCHOR_NATS, ANCHOR_JITTER_S = 1.1, 0.06


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Onsets:
    """How much each instant stands out: capped log energy on an even grid.

    ``excess`` has shape ``(n,)``, nats over the local median, step ``STEP_S``.
    """

    excess: FloatArray
    start_s: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Excess at audio times, zero outside; shape as ``time_s``."""
        index = np.rint((time_s - self.start_s) / STEP_S).astype(np.intp)
        inside = (index >= 0) & (index < self.excess.size)
        return np.where(inside, self.excess[np.clip(index, 0, self.excess.size - 1)], 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """Reference time of each beat, audio time.

    ``anchored`` tells that the reference is something other than the sounds
    (the cuff's pulse, heart sounds), so that their delay means something;
    ``reach_s`` how far from it a sound can be.
    """

    time_s: FloatArray
    anchored: bool
    reach_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """Delay of the sound after each reference time, and its evidence."""

    delay_s: FloatArray
    excess: FloatArray
    score: float


def onsets(white: White) -> Onsets:
    """Measure how much each instant stands out of its neighbourhood.

    Parameters
    ----------
    white
        Whitened sound.

    Returns
    -------
    Onsets
        Shape ``(n / hop,)``; an instant's window of 32 ms starts at it.
    """
    width = round(PLACE_S * white.rate_hz)
    total = np.concatenate([[0.0], np.cumsum(white.samples**2)])
    count = int((white.samples.size - width) / (STEP_S * white.rate_hz))
    index = np.rint(np.arange(count) * STEP_S * white.rate_hz).astype(np.intp)
    level = np.log((total[index + width] - total[index]) / width + 0.02)
    block = round(0.5 / STEP_S)
    blocks = max(1, count // block)
    medians = np.array(
        [np.median(level[max(0, b - 1) * block : (b + 2) * block]) for b in range(blocks)]
    )
    centres = (np.arange(blocks) + 0.5) * block
    floor = np.interp(np.arange(count), centres, medians)
    return Onsets(excess=np.clip(level - floor, 0.0, CAP_NATS), start_s=white.start_s)


def at_both_ends(values: FloatArray) -> FloatArray:
    """What every beat brings, learned where the cuff is highest and lowest.

    Conducted heart sounds come at one delay whatever the cuff does; a
    Korotkoff sound is missing at the top or at the bottom, or has moved.

    Parameters
    ----------
    values
        Level at fixed delays, shape ``(n, k)``: beats in order of time.

    Returns
    -------
    ndarray
        The smaller of the medians of the first and the last beats, shape ``(k,)``.

    Examples
    --------
    >>> at_both_ends(np.array([[1.0, 0.0]] * 4 + [[1.0, 5.0]] * 8)).tolist()
    [1.0, 0.0]
    """
    # The outermost beats may lie under pump or valve, or be no beats at all.
    inner = values[1:-1] if values.shape[0] > 8 else values
    count = max(3, inner.shape[0] // 4)
    return np.minimum(np.median(inner[:count], axis=0), np.median(inner[-count:], axis=0))


def without_fixed(
    marks: Onsets, reference_s: FloatArray, earliest_s: float, latest_s: float
) -> Onsets:
    """Take out what comes with every beat at one delay, such as heart sounds.

    Parameters
    ----------
    marks
        Evidence over audio time.
    reference_s
        Reference time of each beat, shape ``(n,)``.
    earliest_s, latest_s
        Delays looked at.

    Returns
    -------
    Onsets
        The same evidence, fixed sounds subtracted around each beat.
    """
    offsets = np.arange(earliest_s, latest_s + STEP_S / 2, STEP_S)
    excess = marks.excess.copy()
    half = round(FIXED_REACH_S / STEP_S)
    first = np.rint((reference_s[:, None] + offsets[None, :] - marks.start_s) / STEP_S)
    index = np.clip(first.astype(np.intp), 0, excess.size - 1)
    for _ in range(MOST_FIXED):
        # The clock jitters by some milliseconds: what stands close by counts too.
        base = at_both_ends(ndimage.maximum_filter1d(excess[index], FIXED_JITTER, axis=1))
        top = int(np.argmax(base))
        if base[top] < LEAST_FIXED_NATS:
            break
        low, high = max(0, top - half), min(offsets.size, top + half + 1)
        cells = index[:, low:high]
        excess[cells] = np.maximum(excess[cells] - FIXED_WEIGHT * base[low:high], 0.0)
    return Onsets(excess=excess, start_s=marks.start_s)


def follow_delay(
    marks: Onsets,
    reference_s: FloatArray,
    fall_mmhg: FloatArray,
    earliest_s: float,
    latest_s: float,
) -> tuple[FloatArray, np.ndarray, FloatArray]:
    """Best smooth delay path ending at each delay: scores, back pointers, delays.

    ``fall_mmhg`` is the cuff's fall before each beat, shape ``(n,)``.
    """
    offsets = np.arange(earliest_s, latest_s + STEP_S / 2, STEP_S)
    gains = marks.at(reference_s[:, None] + offsets[None, :])
    gains = np.maximum(gains - at_both_ends(gains), 0.0)
    gains = gains - gains.mean(axis=1, keepdims=True)
    fall = np.clip(fall_mmhg, 0.0, 12.0)
    drift_s = -DELAY_S_PER_MMHG * fall
    spread_s = np.hypot(CLOCK_JITTER_S, DELAY_SPREAD_S_PER_MMHG * fall)
    reach = int(np.ceil(float(np.max(np.abs(drift_s) + 2.5 * spread_s)) / STEP_S))
    shifts = np.arange(-reach, reach + 1) * STEP_S
    rough = ((shifts[None, :] - drift_s[:, None]) / spread_s[:, None]) ** 2
    cost = np.minimum(0.5 * SMOOTHNESS * rough, MOST_ROUGH)
    total = gains[0].copy()
    back = np.zeros(gains.shape, np.int16)
    n = offsets.size
    columns = np.arange(n)
    for i in range(1, gains.shape[0]):
        padded = np.full(n + 2 * reach, -1e9)
        padded[reach : reach + n] = total
        # Row r of the view holds, for each delay, the total of the delay r - reach before.
        choices = np.lib.stride_tricks.sliding_window_view(padded, n) - cost[i][::-1, None]
        best = np.argmax(choices, axis=0)
        back[i] = best - reach
        total = choices[best, columns] + gains[i]
    return total, back, offsets


def trace(
    marks: Onsets, reference_s: FloatArray, back: np.ndarray, offsets: FloatArray, end: int
) -> FloatArray:
    """Delays of the path that ends at offset ``end``; shape as ``reference_s``."""
    index = np.empty(reference_s.size, np.intp)
    index[-1] = end
    for i in range(reference_s.size - 1, 0, -1):
        index[i - 1] = np.clip(index[i] + back[i, index[i]], 0, offsets.size - 1)
    return offsets[index]


def find_path(
    marks: Onsets,
    reference_s: FloatArray,
    fall_mmhg: FloatArray,
    earliest_s: float,
    latest_s: float,
) -> Path:
    """Follow the sound's delay after each reference time.

    Parameters
    ----------
    marks
        Evidence over audio time.
    reference_s
        Reference time of each beat, audio time, shape ``(n,)``.
    fall_mmhg
        Fall of the cuff before each beat, shape ``(n,)``.
    earliest_s, latest_s
        Delays searched.

    Returns
    -------
    Path
        Delay of each beat and the excess there.
    """
    total, back, offsets = follow_delay(marks, reference_s, fall_mmhg, earliest_s, latest_s)
    end = int(np.argmax(total))
    delay_s = trace(marks, reference_s, back, offsets, end)
    return Path(delay_s=delay_s, excess=marks.at(reference_s + delay_s), score=float(total[end]))


def clock_from_sounds(marks: Onsets, start_s: float, end_s: float) -> Clock | None:
    """Expect beats from the sounds alone, where the log shows no pulse.

    Where conducted heart sounds come with every beat they are the clock, and
    the Korotkoff sounds are followed against it.

    Parameters
    ----------
    marks
        Evidence over audio time.
    start_s, end_s
        Audio times of the deflation.

    Returns
    -------
    Clock or None
        ``None`` where no rhythm is found.
    """
    first = max(0, round((start_s - marks.start_s) / STEP_S))
    last = min(marks.excess.size, round((end_s - marks.start_s) / STEP_S))
    if last - first < 4.0 / STEP_S:
        return None
    part = signal.fftconvolve(marks.excess[first:last], np.hanning(11)[1:-1] / 5.0, "same")
    interval_s = typical_interval_s(part, STEP_S, RATE_PRIOR)
    if interval_s is None:
        return None
    peaks = local_maxima(part, round(0.12 / STEP_S))
    if peaks.size < 4:
        return None
    times = (peaks + first) * STEP_S + marks.start_s
    times = times[best_chain(times, part[peaks], interval_s, rhythm_weight=12.0)]
    if times.size < 6:
        return None
    return _anchor(marks, times, interval_s)


def _anchor(marks: Onsets, time_s: FloatArray, interval_s: float) -> Clock:
    """Move a clock onto the sound that comes with every beat, if there is one."""
    # Jumps from one sound to another are smoothed away; the beat goes on.
    index = np.arange(time_s.size)
    phase = time_s - ndimage.median_filter(time_s - index * interval_s, 9, mode="nearest")
    smooth_s = time_s - (phase - index * interval_s)
    reach = 0.45 * interval_s
    offsets = np.arange(-reach, reach, STEP_S)
    gains = marks.at(smooth_s[:, None] + offsets[None, :])
    width = 2 * round(ANCHOR_JITTER_S / STEP_S) + 1
    base = at_both_ends(ndimage.maximum_filter1d(gains, width, axis=1))
    if float(base.max()) < ANCHOR_NATS:
        return Clock(time_s=time_s, anchored=False, reach_s=0.1)
    level = np.flatnonzero(base >= 0.95 * float(base.max()))
    centre = offsets[int(level[level.size // 2])]
    near = np.arange(-ANCHOR_JITTER_S, ANCHOR_JITTER_S + STEP_S / 2, STEP_S)
    local = marks.at(smooth_s[:, None] + centre + near[None, :])
    local = local - 0.3 * (near / ANCHOR_JITTER_S) ** 2
    anchored_s = smooth_s + centre + near[np.argmax(local, axis=1)]
    return Clock(time_s=np.maximum.accumulate(anchored_s), anchored=True, reach_s=reach)
