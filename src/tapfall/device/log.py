"""Rate, regularity, rounding and pulse of a device's cuff log."""

from __future__ import annotations

import numpy as np

from tapfall.device.facts import DeviceLog
from tapfall.ear.cuff import HOLE_S, HOLE_STEPS, Deflation, find_deflation, rounding_mmhg
from tapfall.ear.measurement import REST_MMHG, measurement_bounds
from tapfall.ear.pulses import find_pulses
from tapfall.ear.rows import as_rows, check_order
from tapfall.ear.sampled import measured_rows
from tapfall.errors import CuffLogError
from tapfall.model import CuffLog, FloatArray

#: Even rows are laid anew after a gap of so long; where the median interval is less than a
#: share of the mean, rows come in bursts and only a hole counts (our choice).
SHORT_HOLE_S, BURST_SHARE = 0.25, 0.5
#: Rows are held against even ones over pieces of so many seconds and rows at least; so many
#: in a hundred lie within the jitter (our choice).
PIECE_S, PIECE_ROWS, JITTER_SHARE = 5.0, 4, 0.95
#: A pressure that is renewed every few rows: so many changes at least, and so many of them,
#: come at the same place of the count (our choice; at random half of them would at most).
LEAST_CHANGES, HELD_SHARE = 20, 0.9
#: Differences of pressure below this are rounding of floating point.
SAME_MMHG = 1e-6


def measure_log(log: CuffLog) -> DeviceLog:
    """Measure a device's cuff log.

    Parameters
    ----------
    log
        Rows of log time and mmHg, shape ``(n,)``.

    Returns
    -------
    DeviceLog
        In the log's own time; what needs a deflation is told of the last one.

    Raises
    ------
    CuffLogError
        If there are fewer than two rows, a value is not finite or out of range,
        times run back, or one time has two pressures.
    MisuseError
        If the arrays do not fit each other.

    Examples
    --------
    >>> time_s = np.arange(0.0, 60.0, 0.05)
    >>> fall = np.interp(time_s, [0, 5, 10, 50, 51, 60], [0, 0, 160, 60, 0, 0])
    >>> found = measure_log(CuffLog(time_s=time_s, pressure_mmhg=np.round(fall, 1)))
    >>> found.rate_hz, found.rounding_mmhg, found.pulse_seen
    (20.0, 0.1, False)
    """
    time_s, mmhg = as_rows(log.time_s, log.pressure_mmhg)
    again = np.zeros(time_s.size, np.bool_)
    if time_s.size > 1:
        step_s = np.diff(time_s, prepend=time_s[0] - 1.0)
        same = step_s == 0
        again = same & (np.diff(mmhg, prepend=mmhg[0]) == 0)
        check_order(time_s, step_s, same & ~again)
    repeated = int(log.rows_repeated) + int(again.sum())
    time_s, mmhg = time_s[~again], mmhg[~again]
    if time_s.size < 2:
        raise CuffLogError(f"cuff log has {time_s.size} rows; allowed 2 or more")
    apart_s = np.diff(time_s)
    usual_s, jitter_s = _pace(time_s)
    hole = apart_s > max(HOLE_STEPS * usual_s, HOLE_S)
    step_mmhg = rounding_mmhg(mmhg)
    kept = measured_rows(time_s, mmhg)
    held_rate_hz = _held_rate_hz(time_s, mmhg, usual_s)
    if held_rate_hz is None and kept.size < time_s.size:
        held_rate_hz = round(1.0 / float(np.median(np.diff(time_s[kept]))), 3)
    # As the ear does: rows written between measured ones show no pulse.
    deflation = last_deflation(time_s[kept], mmhg[kept])
    seen, height, late_s = _pulse(time_s[kept], mmhg[kept], deflation)
    return DeviceLog(
        rows=int(time_s.size),
        rows_repeated=repeated,
        first_s=round(float(time_s[0]), 3),
        last_s=round(float(time_s[-1]), 3),
        rate_hz=round(1.0 / usual_s, 3),
        jitter_s=round(jitter_s, 4),
        holes=int(hole.sum()),
        longest_hole_s=round(float(apart_s[hole].max()), 3) if hole.any() else 0.0,
        held_rate_hz=held_rate_hz,
        rounding_mmhg=round(step_mmhg, 4) if step_mmhg else None,
        lowest_mmhg=round(float(mmhg.min()), 2),
        highest_mmhg=round(float(mmhg.max()), 2),
        falls_mmhg=None if deflation is None else round(_fall(deflation), 1),
        pulse_seen=seen,
        pulse_mmhg=height,
        pulse_late_s=late_s,
    )


def _pace(time_s: FloatArray) -> tuple[float, float]:
    """Usual step, and how far times are off even ones, over pieces without holes.

    The median of intervals would take rows that come in bursts for a fast log.
    """
    apart_s = np.diff(time_s)
    mean_s, median_s = float(np.mean(apart_s)), float(np.median(apart_s))
    bursts = median_s < BURST_SHARE * mean_s
    gap_s = max(HOLE_STEPS * median_s, HOLE_S if bursts else SHORT_HOLE_S)
    breaks = np.flatnonzero(apart_s > gap_s) + 1
    steps: list[float] = []
    off: list[FloatArray] = []
    for run_s in np.split(time_s, breaks):
        count = max(1, min(int((run_s[-1] - run_s[0]) / PIECE_S), run_s.size // PIECE_ROWS))
        for piece_s in np.array_split(run_s, count):
            if piece_s.size < PIECE_ROWS:
                continue
            row = np.arange(piece_s.size) - (piece_s.size - 1) / 2
            step = float(row @ piece_s / (row @ row))
            steps.append(step)
            off.append(np.abs(piece_s - piece_s.mean() - step * row))
    if not steps:
        return float(np.median(apart_s)), 0.0
    return float(np.median(steps)), float(np.quantile(np.concatenate(off), JITTER_SHARE))


def _fall(deflation: Deflation) -> float:
    return float(deflation.trend_mmhg.max() - deflation.trend_mmhg[-1])


def last_deflation(time_s: FloatArray, mmhg: FloatArray) -> Deflation | None:
    """The last deflation of a log, ``None`` where it holds none."""
    for begin, stop in reversed(measurement_bounds(time_s, mmhg)):
        found = find_deflation(time_s[begin:stop], mmhg[begin:stop])
        if found is not None:
            return found
    return None


def _pulse(
    time_s: FloatArray, mmhg: FloatArray, deflation: Deflation | None
) -> tuple[bool | None, float | None, float | None]:
    """Whether the pulse stands out of the last deflation, its median height, and how late it is."""
    if deflation is None:
        return None, None, None
    pulses = find_pulses(time_s, mmhg, deflation)
    if not pulses.usable or not pulses.seen.any():
        return False, None, None
    height = round(float(np.median(pulses.size_mmhg[pulses.seen])), 2)
    return True, height, round(pulses.late_s, 3)


def _held_rate_hz(time_s: FloatArray, mmhg: FloatArray, usual_s: float) -> float | None:
    """How often the pressure is renewed where each value is held for several rows."""
    moving = mmhg > REST_MMHG
    changed = np.flatnonzero((np.abs(np.diff(mmhg)) > SAME_MMHG) & moving[1:] & moving[:-1]) + 1
    if changed.size < LEAST_CHANGES:
        return None
    held = round(float(np.median(np.diff(changed))))
    if held < 2:
        return None
    # Counted in rows as they would be without holes.
    place = np.rint((time_s[changed] - time_s[0]) / usual_s).astype(np.int64)
    share = float(np.bincount(np.diff(place) % held, minlength=held)[0]) / (place.size - 1)
    return round(1.0 / (held * usual_s), 3) if share >= HELD_SHARE else None
