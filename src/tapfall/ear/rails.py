"""Flat tops: where the sound was cut off at a level of its own, below full scale.

A sensor, an amplifier or a file made louder and softer again cuts at any level.  There the
loudest samples are equal for longer than any sound stays at its top: half a millisecond,
in which even a wave of 20 Hz at a tenth of full scale moves by several steps of 16 bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Samples so far apart are compared, three in a row.
STEP_S = 0.00025
#: A rail lies at least this far up, and so many of the smallest steps seen: of fewer a wave of
#: 50 Hz, too, stays within a step at its top for half a millisecond.
LEAST_LEVEL, LEAST_STEPS = 0.01, 320.0
#: So many samples that differ from the one before show the smallest step (our choice: a second
#: or less); until then nothing is told.
STEPS_SEEN = 1000
#: Nothing before was louder by more than so much (our choice).
TOP_SHARE = 0.999


@dataclass(frozen=True, slots=True, kw_only=True)
class Tops:
    """The highest and the lowest sample so far, the smallest step, and the last two compared.

    ``unseen`` is how many steps are still to be seen before the smallest is known.
    """

    high: float = LEAST_LEVEL
    low: float = -LEAST_LEVEL
    step: float = math.inf
    unseen: int = STEPS_SEEN
    last: tuple[float, float] = (math.nan, math.nan)


def grid_step(rate_hz: float) -> int:
    """How many samples of audio lie between two that are compared."""
    return max(1, round(STEP_S * rate_hz))


def flat_tops(values: NDArray[np.floating[Any]], tops: Tops) -> tuple[NDArray[np.intp], Tops]:
    """Find samples that lie on a rail.

    Parameters
    ----------
    values
        Every :func:`grid_step`-th sample, full scale 1, shape ``(n,)``.
    tops
        What came before.

    Returns
    -------
    ndarray of int
        Indices of samples that equal the two before them, at the top or the bottom of
        everything so far.
    Tops
        For the samples that follow.

    Examples
    --------
    >>> wave, fine = np.round(np.sin(0.1 * np.arange(63)), 4), Tops(step=1e-4, unseen=0)
    >>> flat_tops(wave, fine)[0].size
    0
    >>> flat_tops(np.clip(wave, -0.2, 0.2), fine)[0][:3].tolist()
    [5, 6, 7]
    """
    none = np.zeros(0, np.intp)
    if values.size == 0:
        return none, tops
    high, low = float(values.max()), float(values.min())
    quiet = high < TOP_SHARE * tops.high and low > TOP_SHARE * tops.low
    last = (float(values[-2]) if values.size > 1 else tops.last[1], float(values[-1]))
    if quiet and not tops.unseen:
        return none, replace(tops, last=last)
    joined = np.concatenate([tops.last, values])
    steps = np.abs(np.diff(joined))
    moved = np.flatnonzero(steps > 0)[: tops.unseen]
    after = Tops(
        high=max(high, tops.high),
        low=min(low, tops.low),
        step=min(float(steps[moved].min()), tops.step) if moved.size else tops.step,
        unseen=tops.unseen - moved.size,
        last=last,
    )
    if quiet or after.unseen:
        return none, after
    same = steps == 0
    at: NDArray[np.intp] = np.flatnonzero(same[1:] & same[:-1])
    if moved.size:
        at = at[at >= moved[-1]]  # the smallest step was known by then
    if at.size == 0:
        return none, after
    highest = np.maximum(np.maximum.accumulate(values), tops.high)[at]
    lowest = np.minimum(np.minimum.accumulate(values), tops.low)[at]
    level = values[at]
    top = (level >= TOP_SHARE * highest) | (level <= TOP_SHARE * lowest)
    return at[top & (np.abs(level) >= LEAST_STEPS * after.step)], after
