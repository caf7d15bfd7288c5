"""Dead stretches and repeated blocks: what a driver leaves when it loses samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray

#: A run of one value as long as this is dead (a lost buffer lasts 1 ms at least, and zero
#: crossings of coarse samples hold less; our choice), ...
DEAD_S = 0.010
#: ... if it holds so many samples (fewer come by chance where noise moves by a step; computed) ...
DEAD_SAMPLES = 20
#: ... and the sound next to it, over so long on either side and up to other such runs, moves from
#: sample to sample by a step of theirs in the mean.  Where it moves less, the run is a silence
#: finer than a step (tuned on 110 simulated recordings rounded to 3-100 steps: 99 in 100 of such
#: runs lie below 0.9; lost blocks and gates at 16 bits, above 1.2 and mostly above 4).
BESIDE_S, LEAST_MOVES = 0.020, 1.0
#: Runs within this share of the peak are clipping, not silence.
NEAR_PEAK = 0.98
#: A block that comes again within this time, and is at least so long, is a buffer played twice
#: (buffers hold 64 to 4096 samples, 5-100 ms: common practice).
REPEAT_WITHIN_S, REPEAT_S = 0.5, 0.005
#: Samples compared at a time, a power of two, and distinct values that they hold at least:
#: fewer come again by chance.
WINDOW, LEAST_VALUES = 32, 8
#: Where so much of the sound repeats, it is a periodic signal that was made, not recorded.
PERIODIC_SHARE = 0.3
#: Samples hashed at a time: bounds the working memory.
CHUNK = 1 << 20


def find_dead(samples: FloatArray, rate_hz: float, step: float = 0.0) -> NDArray[np.bool_]:
    """Mark stretches in which one value is held although the sound goes on beside them.

    Parameters
    ----------
    samples
        Shape ``(n,)``, full scale 1.0.
    rate_hz
        Audio rate.
    step
        Resolution of the samples.

    Returns
    -------
    ndarray of bool
        Shape ``(n,)``; all true where a sound that lasts is one value.

    Examples
    --------
    >>> x = np.random.default_rng(1).standard_normal(4000)
    >>> x[1000:1100] = 0.0
    >>> int(find_dead(x, 4000.0).sum())
    100
    """
    if samples.size == 0:
        return np.zeros(0, np.bool_)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(samples) != 0.0]))
    lengths = np.diff(np.append(starts, samples.size))
    long = np.flatnonzero(lengths >= max(DEAD_S * rate_hz, DEAD_SAMPLES))
    if lengths.size > 1:
        level = np.abs(samples[starts])
        long = long[level[long] < NEAR_PEAK * float(level.max())]
        beside = _moves_beside(samples, starts[long], lengths[long], rate_hz)
        long = long[beside >= LEAST_MOVES * step]
    return _marked(samples.size, starts[long], lengths[long])


def _marked(size: int, starts: NDArray[np.intp], lengths: NDArray[np.intp]) -> NDArray[np.bool_]:
    """True in the runs that are given, shape ``(size,)``."""
    edges = np.zeros(size + 1, np.int8)
    edges[starts] += 1
    edges[starts + lengths] -= 1
    return np.cumsum(edges[:-1], dtype=np.int8).astype(np.bool_)


def _moves_beside(
    samples: FloatArray, starts: NDArray[np.intp], lengths: NDArray[np.intp], rate_hz: float
) -> FloatArray:
    """How far the sound moves from sample to sample beside each run, on its stiller side."""
    if starts.size == 0:
        return np.zeros(0)
    others = ~_marked(samples.size, starts, lengths)
    moves = np.abs(np.diff(samples, prepend=samples[0]))[others]
    total = np.concatenate([[0.0], np.cumsum(moves)])
    # Where each run begins among the samples that are not in any.
    at = starts - np.cumsum(lengths) + lengths
    count = max(round(BESIDE_S * rate_hz), 1)
    first, last = np.maximum(at - count, 0), np.minimum(at + count, moves.size)
    with np.errstate(invalid="ignore"):  # nothing lies before the first run, or after the last
        before = (total[at] - total[first]) / (at - first)
        after = (total[last] - total[at]) / (last - at)
    return np.asarray(np.fmin(before, after))


def find_repeats(
    samples: FloatArray, rate_hz: float, dead: NDArray[np.bool_]
) -> list[float] | None:
    """Find blocks that come again sample by sample.

    Parameters
    ----------
    samples
        Shape ``(n,)``.
    rate_hz
        Audio rate.
    dead
        Samples that are passed over, shape ``(n,)``.

    Returns
    -------
    list of float or None
        Length of each block in seconds; ``None`` where it cannot be told, because
        the samples are too coarse or the sound is periodic.

    Examples
    --------
    >>> x = np.random.default_rng(1).standard_normal(8000)
    >>> x[3000:3400] = x[2600:3000]
    >>> find_repeats(x, 4000.0, np.zeros(8000, bool))
    [0.1]
    """
    if np.unique(samples[:100_000]).size < 2 * LEAST_VALUES:
        return None
    reach = round(REPEAT_WITHIN_S * rate_hz)
    found: dict[int, int] = {}
    for first in range(0, samples.size, CHUNK):
        part = samples[first : first + CHUNK + reach + WINDOW]
        for at, lag in _same_windows(part, reach):
            found.setdefault(first + at, lag)
    least = max(round(REPEAT_S * rate_hz), WINDOW)
    blocks: list[float] = []
    end = 0
    for at in sorted(found):
        lag = found[at]
        if at + lag < end:
            continue
        begin, stop = _stretched(samples, at, lag)
        if stop - begin >= least and _telling(samples[begin:stop], dead[begin:stop]):
            blocks.append((stop - begin) / rate_hz)
            end = stop + lag
    if sum(blocks) > PERIODIC_SHARE * samples.size / rate_hz:
        return None
    return [round(one, 6) for one in blocks]


def _same_windows(samples: FloatArray, reach: int) -> list[tuple[int, int]]:
    """Places whose next samples come again within reach, and how far on."""
    if samples.size <= WINDOW:
        return []
    mixed = samples.view(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(29)
    factor = np.uint64(0xD1342543DE82EF95)
    width = 1
    with np.errstate(over="ignore"):
        while width < WINDOW:
            mixed = mixed[:-width] * factor + mixed[width:]
            factor = factor * factor
            width *= 2
    order = np.argsort(mixed, kind="stable")
    apart = np.diff(order)
    same = (np.diff(mixed[order]) == 0) & (apart <= reach)
    at = order[:-1][same]
    # Where all is one value every window is the same as the next.
    return [(int(i), int(lag)) for i, lag in zip(at, apart[same], strict=True) if lag > 1]


def _stretched(samples: FloatArray, at: int, lag: int) -> tuple[int, int]:
    """The whole block around a place in which samples equal those ``lag`` later."""
    low, high = max(at - lag, 0), min(at + lag, samples.size - lag)
    same = samples[low:high] == samples[low + lag : high + lag]
    differ = np.flatnonzero(~same)
    split = int(np.searchsorted(differ, at - low))
    begin = low + (int(differ[split - 1]) + 1 if split else 0)
    stop = low + int(differ[split]) if split < differ.size else high
    return begin, stop


def _telling(block: FloatArray, dead: NDArray[np.bool_]) -> bool:
    """Whether a block is no chance: sound, of many values."""
    return bool(dead.mean() < 0.5) and np.unique(block).size >= LEAST_VALUES
