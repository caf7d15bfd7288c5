"""What a cuff log must obey, whatever file it came from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.bounds import HIGHEST_MMHG, KPA_LIKE_MMHG, LOWEST_MMHG
from tapfall.errors import MAX_LISTED_FAULTS, CuffLogError
from tapfall.model import CuffLog

#: How far log and sound may lie apart before they cannot belong together, seconds.
LAG_TOLERATED_S = 2.0

#: Longest log, first to last row: a day (our choice).
LONGEST_S = 86_400.0

#: Widest usual spacing of rows (our choice): at 2 mmHg/s more than 10 mmHg would lie
#: between two rows.
WIDEST_SPACING_S = 5.0

#: How many faults of a kind are put in words: the headline and those listed below it.
MAX_WORDED = MAX_LISTED_FAULTS + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The pressure column: its name, its unit, and mmHg per unit."""

    name: str
    unit: str
    mmhg_per_unit: float


def check_rows(
    time_s: NDArray[np.float64],
    raw: NDArray[np.float64],
    line: NDArray[np.int64],
    column: Column,
) -> tuple[NDArray[np.bool_], list[tuple[int, str]], int]:
    """Check range and order.

    Parameters
    ----------
    time_s, raw
        Rows in the order of the file, ``raw`` in the column's unit, shape ``(n,)``.
    line
        The line of each row.
    column
        The pressure column.

    Returns
    -------
    kept
        False for a row equal in time and pressure to the one before it.
    faults
        Line and text of the first faults of each kind.
    count
        How many faults there are.
    """
    low, high = LOWEST_MMHG / column.mmhg_per_unit, HIGHEST_MMHG / column.mmhg_per_unit
    faults = []
    hint = " (are the values in mmHg?)" if column.unit == "kPa" else ""
    outside = np.flatnonzero((raw < low) | (raw > high))
    for row in outside[:MAX_WORDED].tolist():
        more = hint if raw[row] > high else ""
        text = f"found {column.name} {raw[row]:g}; allowed {low:.4g} to {high:.4g}{more}"
        faults.append((int(line[row]), text))
    step = np.diff(time_s)
    same = np.append(False, (step == 0.0) & (np.diff(raw) == 0.0))[: len(raw)]
    disordered = np.flatnonzero((step <= 0.0) & ~same[1:]) + 1
    for row in disordered[:MAX_WORDED].tolist():
        if step[row - 1] < 0.0:
            text = f"found time_s {time_s[row]:.10g} after {time_s[row - 1]:.10g}"
            text += "; allowed times that increase"
        else:
            text = f"found {column.name} {raw[row - 1]:g} and {raw[row]:g}"
            text += f" at time_s {time_s[row]:.10g}; allowed one pressure at one time"
        faults.append((int(line[row]), text))
    return ~same, faults, len(outside) + len(disordered)


def check_length(label: str, log: CuffLog) -> None:
    """Raise where a log lasts absurdly long: its times are in another unit, or damaged.

    Raises
    ------
    CuffLogError
        It does.
    """
    first, last = float(log.time_s[0]), float(log.time_s[-1])
    if last - first > LONGEST_S:
        raise CuffLogError(
            f"{label}: found times from {first:.10g} to {last:.10g} s; allowed a log of at most "
            f"{LONGEST_S:.0f} s"
        )


def check_spacing(label: str, log: CuffLog) -> None:
    """Raise where most rows lie too far apart: their times are in another unit, or too few.

    Raises
    ------
    CuffLogError
        They do.
    """
    spacing_s = float(np.median(np.diff(log.time_s)))
    if spacing_s > WIDEST_SPACING_S:
        raise CuffLogError(
            f"{label}: found rows {spacing_s:.10g} s apart (median); allowed at most "
            f"{WIDEST_SPACING_S:g} s (times in milliseconds have to be turned into seconds)"
        )


def check_unit(label: str, log: CuffLog, column: Column) -> None:
    """Raise where a log in mmHg looks like one in kPa.

    Raises
    ------
    CuffLogError
        It does.
    """
    peak = float(log.pressure_mmhg.max())
    low, high = KPA_LIKE_MMHG
    if column.unit == "mmHg" and low <= peak < high:
        raise CuffLogError(
            f"{label}: found a highest {column.name} of {peak:g}; allowed a cuff at rest, below "
            f"{low:g} mmHg, or one that rises to {high:g} or more (values in kPa belong in a "
            "column pressure_kPa)"
        )


def check_overlap(label: str, log: CuffLog, duration_s: float, lag_s: float) -> None:
    """Raise where the log and the sound share no time.

    Parameters
    ----------
    label
        The log's name.
    log
        The log, on its own clock.
    duration_s
        The length of the sound.
    lag_s
        The known lag of the log, else 0.

    Raises
    ------
    CuffLogError
        They share none.
    """
    first, last = float(log.time_s[0]), float(log.time_s[-1])
    if last - lag_s < -LAG_TOLERATED_S or first - lag_s > duration_s + LAG_TOLERATED_S:
        known = f" plus a lag of {lag_s:g} s" if lag_s else ""
        raise CuffLogError(
            f"{label}: found log times {first:.10g} to {last:.10g} s; allowed times that overlap "
            f"the sound, 0 to {duration_s:.3f} s{known}"
        )
