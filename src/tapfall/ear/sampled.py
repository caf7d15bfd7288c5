"""Rows of the log that were measured, told from those that were only written between them.

A manometer that answers three times a second may be logged fifty times: each answer stands there
until the next one (sample and hold), or the rows between were filled in along straight lines.
Such rows look like a fast log, but show no pulse where it was, only corners at even distances.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray

#: A log measured faster than this shows its pulses all the same (our choice: where a pulse
#: is no longer curved between rows).
FASTEST_HZ = 15.0
#: Fewest rows from one measured value to the next, and fewest corners, that tell (our choice).
LEAST_ROWS, LEAST_CORNERS = 4.0, 20
#: So many corners lie at whole multiples of one step, to a row and this share of it: corners
#: of a rounded log lie anywhere (our choice).
EVEN_SHARE, OFF_SHARE = 0.9, 0.12
#: Rows off the line between their neighbours by no more than this are on it (digits written
#: to files; our choice).
ON_LINE_MMHG = 1e-3
#: Where a value stands still, so many changes are larger than the smallest: a rounded log
#: that falls slowly changes by one step of its rounding at a time (our choice).
LARGER_SHARE, LARGER = 0.3, 1.5


def measured_rows(time_s: FloatArray, pressure_mmhg: FloatArray) -> NDArray[np.intp]:
    """Find the rows that were measured.

    Parameters
    ----------
    time_s, pressure_mmhg
        Rows of the log in order of time, shape ``(n,)``.

    Returns
    -------
    ndarray of int
        Their indices, about evenly apart; all rows where each of them tells something.

    Examples
    --------
    >>> t = np.arange(0, 20, 0.02)
    >>> answers = 150 - 3 * np.arange(0, 20, 0.25) + np.resize([0.0, 1.3, 0.4], 80)
    >>> np.diff(t[measured_rows(t, np.repeat(answers, 13)[:1000])])[:3].round(2).tolist()
    [0.26, 0.26, 0.26]
    >>> noise = np.random.default_rng(1).normal(0, 0.1, 1000)
    >>> measured_rows(t, 150 - 3 * t + noise).size
    1000
    """
    everything = np.arange(time_s.size)
    if time_s.size < LEAST_CORNERS * LEAST_ROWS:
        return everything
    corners = _corners(time_s, pressure_mmhg)
    if corners.size < LEAST_CORNERS:
        return everything
    row_s = float(np.median(np.diff(time_s)))
    apart_s = np.diff(time_s[corners])
    step_s = float(np.median(apart_s))
    if step_s < max(LEAST_ROWS * row_s, 1 / FASTEST_HZ):
        return everything
    count = np.maximum(np.rint(apart_s / step_s), 1.0)
    even = np.abs(apart_s - count * step_s) <= 1.01 * row_s + OFF_SHARE * step_s
    if even.mean() < EVEN_SHARE or _only_rounded(pressure_mmhg, corners):
        return everything
    # Values that came again, or lay on one line, left no corner.
    edges_s = np.concatenate([time_s[:1], time_s[corners], time_s[-1:]])
    steps = np.maximum(np.rint(np.diff(edges_s) / step_s), 1.0)
    places = np.concatenate([[0.0], np.cumsum(steps)])
    wanted_s = np.interp(np.arange(places[-1]), places, edges_s)
    found = np.clip(np.searchsorted(time_s, wanted_s - 0.5 * row_s), 0, time_s.size - 1)
    return np.unique(np.concatenate([found, corners]))


def _corners(time_s: FloatArray, pressure_mmhg: FloatArray) -> NDArray[np.intp]:
    """Rows at which a new line begins; of some in a row the last one."""
    share = (time_s[1:-1] - time_s[:-2]) / (time_s[2:] - time_s[:-2])
    line = pressure_mmhg[:-2] + share * (pressure_mmhg[2:] - pressure_mmhg[:-2])
    off = np.abs(pressure_mmhg[1:-1] - line) > ON_LINE_MMHG
    return np.flatnonzero(off & ~np.append(off[1:], False)) + 1


def _only_rounded(pressure_mmhg: FloatArray, corners: NDArray[np.intp]) -> bool:
    """Whether the values stand still for no other reason than that they are rounded."""
    change = np.abs(np.diff(pressure_mmhg))
    if (change > ON_LINE_MMHG).mean() > 0.5:
        return False
    jumps = np.abs(np.diff(pressure_mmhg[corners]))
    jumps = jumps[jumps > ON_LINE_MMHG]
    return bool(jumps.size == 0 or (jumps > LARGER * jumps.min()).mean() < LARGER_SHARE)
