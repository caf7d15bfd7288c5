"""What is pushed, checked: rows of a cuff log, and the start of a push of sound."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tapfall.bounds import HIGHEST_MMHG, LOWEST_MMHG
from tapfall.errors import CuffLogError, MisuseError

#: A given start of a push this close to where the sound has got to is no dropout (a
#: millisecond of rounding; our choice).
SAME_START_S = 0.001


def as_rows(times_s: Any, pressures_mmhg: Any) -> tuple[np.ndarray, np.ndarray]:
    """Check rows of the log for shape, type and range.

    Parameters
    ----------
    times_s, pressures_mmhg
        Log time and mmHg, shape ``(k,)``: anything that numpy takes for numbers.

    Returns
    -------
    times_s, pressures_mmhg : ndarray
        Copies as float64, shape ``(k,)``.

    Raises
    ------
    MisuseError
        If they are no numbers, or their shapes are others.
    CuffLogError
        If a value is not finite, or a pressure outside -20 to 400 mmHg.

    Examples
    --------
    >>> as_rows([0, 1], [150, 147])[1].tolist()
    [150.0, 147.0]
    """
    try:
        times = np.array(times_s, np.float64)
        pressures = np.array(pressures_mmhg, np.float64)
    except (TypeError, ValueError):
        raise MisuseError("cuff rows are not numbers in even rows; allowed numbers") from None
    if times.ndim != 1 or times.shape != pressures.shape:
        raise MisuseError(
            f"cuff rows have shapes {times.shape} and {pressures.shape}; "
            "allowed two of one dimension and equal length"
        )
    if not (np.isfinite(times).all() and np.isfinite(pressures).all()):
        raise CuffLogError("cuff rows hold NaN or infinity; allowed finite numbers")
    if times.size and (pressures.min() < LOWEST_MMHG or pressures.max() > HIGHEST_MMHG):
        worst = pressures.min() if pressures.min() < LOWEST_MMHG else pressures.max()
        raise CuffLogError(
            f"cuff pressure is {worst:g} mmHg; allowed {LOWEST_MMHG:g} to {HIGHEST_MMHG:g}"
        )
    return times, pressures


def steps(values: np.ndarray, before: float) -> np.ndarray:
    """From the value before to each, shape ``(k,)``, as ``numpy.diff`` but cheap for one row.

    Examples
    --------
    >>> steps(np.array([1.0, 3.0]), 0.5).tolist()
    [0.5, 2.0]
    """
    found = np.empty_like(values)
    found[0] = values[0] - before
    np.subtract(values[1:], values[:-1], out=found[1:])
    return found


def check_order(times_s: np.ndarray, step_s: np.ndarray, torn: np.ndarray) -> None:
    """Check that times do not run back, and that each has one pressure.

    Parameters
    ----------
    times_s
        Log times, at least one, shape ``(k,)``.
    step_s
        Time from the row before to each, shape ``(k,)``.
    torn
        Which rows have the time of the one before and another pressure, shape ``(k,)``.

    Raises
    ------
    CuffLogError
        Where they do, or have two.
    """
    if step_s.min() < 0:
        at = float(times_s[int(np.argmin(step_s))])
        raise CuffLogError(f"log time runs back at {at:g} s; allowed increasing times")
    if torn.any():
        at = float(times_s[int(np.flatnonzero(torn)[0])])
        raise CuffLogError(f"log time {at:g} s has two pressures; allowed one")


def samples_missing(start_s: float | None, seen: int, rate_hz: float) -> int:
    """Samples lost before a push.

    Parameters
    ----------
    start_s
        Audio time at which the push starts, ``None`` right after the last one.
    seen
        Samples pushed so far.
    rate_hz
        Their rate.

    Returns
    -------
    int
        0 where the push follows the last one, to a millisecond.

    Raises
    ------
    MisuseError
        If the start is no finite number, or lies before the time reached.

    Examples
    --------
    >>> samples_missing(2.0, 6000, 4000.0)
    2000
    """
    if start_s is None:
        return 0
    if not (isinstance(start_s, int | float | np.number) and math.isfinite(start_s)):
        raise MisuseError(f"start_s is {start_s!r}; allowed a finite number")
    reached_s = seen / rate_hz
    if start_s < reached_s - SAME_START_S:
        raise MisuseError(
            f"start_s is {start_s:g} s, but the sound has got to {reached_s:g} s; "
            "allowed that time or later"
        )
    return 0 if start_s <= reached_s + SAME_START_S else round(float(start_s) * rate_hz) - seen
