"""The zero, as the log shows it at rest before the inflation and after the release.

A cuff is empty below 15 mmHg by the definition of a measurement.  A manometer whose zero is
off by more never shows that: its rest is told by lying flat, at the lowest the log comes to.
A hand that rests at some pressure does not look so: the cuff's pulse moves it, and the log
comes lower elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from tapfall.ear.cuff import Deflation
from tapfall.ear.measurement import REST_MMHG, Rows
from tapfall.ear.trend import GRID_S
from tapfall.model import FloatArray

#: The zero is read over at most so long, this far from inflation and release (a bulb needs
#: a second to leave zero, a valve one to reach it; our choice), from so many rows at least.
ZERO_S, ZERO_MARGIN_S, ZERO_ROWS = 10.0, 1.5, 3
#: Flat: within so much for so long (our choice: a fall by half a mmHg a second is none, and
#: a log need not begin long before the inflation).
FLAT_MMHG, FLAT_S = 1.0, 2.0
#: The noise of single rows is evened out over this, much less than a pulse (our choice).
EVEN_S = 0.2
#: A rest lies within this of the lowest row: noise, and what a valve overshoots (our choice).
LOWEST_MMHG = 3.0
#: A rest at 15 mmHg or more after the release lies so far below where the release began, or as
#: near to the rest before it (our choice: a release by less is a step of the deflation).
RELEASED_BY_MMHG, SAME_MMHG = 15.0, 3.0
#: A zero further off than this makes every value wrong by more than is allowed to a right one
#: (4 mmHg, the project's definition).
ZERO_OFF_MMHG = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """What the log shows at rest; ``why`` there is none where ``mmhg`` is ``None``."""

    mmhg: float | None
    why: str = ""


def zero_off(
    time_s: FloatArray,
    mmhg: FloatArray,
    fall: Deflation,
    rest: tuple[FloatArray, FloatArray] = (np.zeros(0), np.zeros(0)),
) -> bool:
    """Whether the log of one measurement never rests near zero.

    Parameters
    ----------
    time_s, mmhg
        Its rows, shape ``(n,)``, log time; the first is where the cuff left rest.
    fall
        Its deflation.
    rest
        Times and pressures of the rows just before, shape ``(k,)`` each; a log that begins in
        the middle has none.

    Returns
    -------
    bool
        True where it rests, and each time further than 4 mmHg from zero: also where no rest
        before is on the log and so much was left in the cuff after the release.

    Examples
    --------
    >>> from tapfall.ear.cuff import find_deflation
    >>> t = np.arange(0.0, 60.0, 0.1)
    >>> p = np.interp(t, [0, 3, 8, 50, 51, 60], [0, 0, 160, 60, 0, 0])
    >>> [zero_off(t, p + off, find_deflation(t, p + off)) for off in (0.0, 3.0, 6.0, -6.0, 25.0)]
    [False, False, True, True, True]
    """
    time_s, mmhg = np.concatenate([rest[0], time_s]), np.concatenate([rest[1], mmhg])
    whole = Rows(begin=rest[0].size, stop=time_s.size, end=time_s.size, rested=False)
    found = [zero.mmhg for zero in find_zeros([whole], 0, time_s, mmhg, fall)]
    known = [one for one in found if one is not None]
    return bool(known) and min(map(abs, known)) > ZERO_OFF_MMHG


def find_zeros(
    found: list[Rows], place: int, time_s: FloatArray, mmhg: FloatArray, fall: Deflation
) -> tuple[Zero, Zero]:
    """Find the zero before a measurement and the one after it.

    Parameters
    ----------
    found, place
        The measurements of the log, and which one it is.
    time_s, mmhg
        The whole log, shape ``(n,)``, log time.
    fall
        The deflation of this measurement.

    Returns
    -------
    before, after : Zero
        What is shown at rest; 15 mmHg or more only where the log lies flat there and
        comes no lower.
    """
    begin_s = float(time_s[found[place].begin])
    from_s = float(time_s[found[place - 1].stop - 1]) if place else -math.inf
    to_s = float(time_s[found[place + 1].begin]) if place + 1 < len(found) else math.inf
    first = (time_s >= from_s) & (time_s < fall.start_s)
    last = (time_s > fall.end_s) & (time_s < to_s)
    until_s = begin_s - ZERO_MARGIN_S
    before = _at_rest(time_s, mmhg, until_s - ZERO_S, until_s)
    if before is None:
        before = _flat(time_s, mmhg, first)
    after = _after(time_s, mmhg, last, fall, to_s)
    if after is not None and after >= REST_MMHG:
        same = before is not None and abs(after - before) <= SAME_MMHG
        far = fall.released and after <= float(fall.trend_mmhg[-1]) - RELEASED_BY_MMHG
        after = after if same or far else None
    return _told(before, mmhg, first), _told(after, mmhg, last)


def _after(
    time_s: FloatArray, mmhg: FloatArray, last: np.ndarray, fall: Deflation, to_s: float
) -> float | None:
    """The level after a release, or at the end of a fall that went on to rest by itself."""
    empty = np.flatnonzero(last & (mmhg < REST_MMHG))
    level = None
    if fall.released and empty.size:
        from_s = float(time_s[empty[0]]) + ZERO_MARGIN_S
        level = _at_rest(time_s, mmhg, from_s, min(from_s + ZERO_S, to_s - ZERO_MARGIN_S))
    return _flat(time_s, mmhg, last) if level is None else level


def _at_rest(time_s: FloatArray, mmhg: FloatArray, from_s: float, to_s: float) -> float | None:
    """The usual row below 15 mmHg in a span of time."""
    inside = (time_s >= from_s) & (time_s <= to_s) & (mmhg < REST_MMHG)
    return float(np.median(mmhg[inside])) if inside.sum() >= ZERO_ROWS else None


def _flat(time_s: FloatArray, mmhg: FloatArray, side: np.ndarray) -> float | None:
    """The level at which some rows lie flat, if the log comes no lower anywhere."""
    here_s, here = time_s[side], mmhg[side]
    if here.size < ZERO_ROWS:
        return None
    row_s = float(np.median(np.diff(time_s)))
    grid = np.arange(here_s[0], here_s[-1] + GRID_S / 2, GRID_S)
    even = np.interp(grid, here_s, here)
    if row_s < EVEN_S:
        even = ndimage.uniform_filter1d(even, round(EVEN_S / GRID_S), mode="nearest")
    # Each row stands for the time up to the next one.
    count = round(max(FLAT_S - row_s, (ZERO_ROWS - 1) * row_s) / GRID_S) + 1
    if grid.size < count:
        return None
    spans = np.lib.stride_tricks.sliding_window_view(even, count)
    low, high = spans.min(axis=1), spans.max(axis=1)
    flat = np.flatnonzero(high - low <= FLAT_MMHG)
    if flat.size == 0:
        return None
    at = int(flat[np.argmin(high[flat])])
    rows = (here_s >= grid[at] - row_s / 2) & (here_s <= grid[at + count - 1] + row_s / 2)
    level = float(np.median(here[rows])) if rows.sum() >= ZERO_ROWS else math.inf
    return level if level <= float(mmhg.min()) + LOWEST_MMHG else None


def _told(level: float | None, mmhg: FloatArray, side: np.ndarray) -> Zero:
    if level is not None:
        return Zero(mmhg=level)
    lowest = float(mmhg.min())
    if lowest >= REST_MMHG:
        return Zero(
            mmhg=None, why=f"never below {math.floor(lowest)} mmHg: the log shows no empty cuff"
        )
    if (mmhg[side] < REST_MMHG).any():
        return Zero(mmhg=None, why="the rest on the log is too short or not steady")
    return Zero(mmhg=None, why="no rest on the log")
