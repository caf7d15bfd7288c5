"""Cuff log to inflation, hold, deflation and release, and the smooth trend.

Everything here is in the log's own time.  Pressures are mmHg.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tapfall.ear.runs import runs
from tapfall.ear.trend import (
    GRID_S,
    STEPPED_ERROR_MMHG,
    STEPPED_HALF_S,
    binned,
    box,
    evened,
    fall_begins,
    in_steps,
    local_line,
    without_movements,
)
from tapfall.model import Flag, FloatArray

#: The run-off of a pulse adds to the fall for a beat's length, and by this share at most
#: (4 mmHg within half a second, smoothed over a second; computed); a release is faster.
PULSE_RUN_OFF_S, PULSE_RUN_OFF_SHARE = 1.5, 1.4
#: A deflation is slower than this (definition) ...
FASTEST_DEFLATION_MMHG_PER_S = 10.0
#: ... over at least this fall (definition).
LEAST_FALL_MMHG = 20.0
#: A rise of this size after a fall is a re-inflation; smaller ones are pulse,
#: movement or valve wobble (pulses reach 4 mmHg: Liu 2014; twice that, our choice).
REINFLATION_MMHG = 8.0
#: A hold stays this close to the top (our choice).
HOLD_MMHG = 3.0
#: Slower than this share of the usual rate the cuff stands still; that long, or for that
#: share of the time, it pauses or steps (our choice).
STILL_SHARE, PAUSE_S, STEPPED_SHARE = 0.3, 2.0, 0.3
#: Rows further apart than so long (about one beat), and than so many usual steps, leave a hole
#: in the log (our choice).
HOLE_S, HOLE_STEPS = 1.0, 3.5
#: Deflation rates outside these are flagged (2-3 mmHg/s is taught; AHA 2005, from memory).
SLOW_MMHG_PER_S, FAST_MMHG_PER_S = 1.5, 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deflation:
    """One deflation, with the hold above it, on an even grid of log time.

    ``time_s`` runs from the end of inflation to the release, step
    ``GRID_S``; ``trend_mmhg`` is the pressure without the pulse and without
    movements, ``followed_mmhg`` the one without the pulse alone, all of shape ``(n,)``.
    ``falls_from_s`` is where the hold ends, ``rate_mmhg_per_s`` the usual fall from there on,
    ``trend_error_mmhg`` how far off the trend is, as a standard deviation, ``released``
    whether a quick release ends it, ``stepped`` whether it falls in steps, ``holes_s`` where the
    log has no rows.
    """

    time_s: FloatArray
    trend_mmhg: FloatArray
    followed_mmhg: FloatArray
    falls_from_s: float
    rate_mmhg_per_s: float
    log_rate_hz: float
    trend_error_mmhg: float
    released: bool
    stepped: bool
    flags: tuple[Flag, ...]
    holes_s: tuple[tuple[float, float], ...] = ()

    @property
    def start_s(self) -> float:
        """End of the inflation, log time."""
        return float(self.time_s[0])

    @property
    def end_s(self) -> float:
        """Start of the release, log time."""
        return float(self.time_s[-1])

    def pressure_mmhg(self, time_s: FloatArray) -> FloatArray:
        """Trend at log times, held at the ends; shape as ``time_s``."""
        return np.interp(time_s, self.time_s, self.trend_mmhg)

    def followed_at(self, time_s: FloatArray) -> FloatArray:
        """Pressure with movements, without the pulse; held at the ends, shape as ``time_s``."""
        return np.interp(time_s, self.time_s, self.followed_mmhg)


def _turns(values: FloatArray, size: float) -> list[int]:
    """Alternating low and high turning points at least ``size`` apart, ends included."""
    turns = [0]
    low = high = 0
    rising: bool | None = None
    for i, v in enumerate(values.tolist()):
        if v > values[high]:
            high = i
        if v < values[low]:
            low = i
        if rising is not False and v <= values[high] - size:
            if rising or high > 0:
                turns.append(high)
            rising, low = False, i
        elif rising is not True and v >= values[low] + size:
            if rising is False or low > 0:
                turns.append(low)
            rising, high = True, i
    turns.append(high if rising else low)
    if turns[-1] != values.size - 1:
        turns.append(values.size - 1)
    return turns


def _knee(time_s: FloatArray, pressure_mmhg: FloatArray) -> float:
    """Time where two straight lines meet that fit the points best."""
    n = time_s.size
    if n < 8:
        return float(time_s[n // 2])
    t = time_s - time_s[0]

    def residuals(x: FloatArray, y: FloatArray) -> FloatArray:
        count = np.arange(1, n + 1)
        sx, sy = np.cumsum(x), np.cumsum(y)
        sxx = np.cumsum(x * x) - sx * sx / count
        sxy = np.cumsum(x * y) - sx * sy / count
        syy = np.cumsum(y * y) - sy * sy / count
        return np.asarray(syy - sxy * sxy / np.maximum(sxx, 1e-9))

    left = residuals(t, pressure_mmhg)
    right = residuals(t[::-1], pressure_mmhg[::-1])[::-1]
    cost = left[2:-3] + right[3:-2]
    return float(time_s[2 + int(np.argmin(cost))])


def _slow_stretches(smooth: FloatArray) -> list[tuple[int, int]]:
    """Grid ranges, one for each fall, from its top to its release."""
    turns = _turns(smooth, REINFLATION_MMHG)
    window = round(1.0 / GRID_S)
    ahead = np.concatenate([smooth[window:], np.full(min(window, smooth.size), smooth[-1])])
    drop = (smooth - ahead[: smooth.size]) / (window * GRID_S)
    fast = drop > FASTEST_DEFLATION_MMHG_PER_S
    # A quick fall whose pulses run off on top of it is still one deflation.
    for begin, end in runs(fast):
        if (
            end - begin <= round(PULSE_RUN_OFF_S / GRID_S)
            and drop[begin:end].max() < PULSE_RUN_OFF_SHARE * FASTEST_DEFLATION_MMHG_PER_S
        ):
            fast[begin:end] = False
    stretches: list[tuple[int, int]] = []
    for top, bottom in itertools.pairwise(turns):
        if smooth[bottom] >= smooth[top]:
            continue
        best = max(
            runs(~fast[top:bottom]),
            key=lambda ab: smooth[top + ab[0]] - smooth[min(top + ab[1], bottom)],
            default=None,
        )
        if best is None:
            continue
        a, b = top + best[0], min(top + best[1], bottom)
        if best[0] == 0:
            # The hold belongs to it, from where the inflation came close to the top.
            below = np.flatnonzero(smooth[:a] < smooth[a] - HOLD_MMHG)
            a = int(below[-1]) + 1 if below.size else 0
        if smooth[a] - smooth[b] >= LEAST_FALL_MMHG:
            stretches.append((a, b))
    return stretches


def find_deflation(time_s: FloatArray, pressure_mmhg: FloatArray) -> Deflation | None:
    """Find the last complete deflation of one measurement and its smooth trend.

    Parameters
    ----------
    time_s, pressure_mmhg
        The measurement's rows, log time and mmHg, shape ``(n,)``.

    Returns
    -------
    Deflation or None
        ``None`` where no fall slower than 10 mmHg/s spans 20 mmHg.

    Examples
    --------
    >>> t = np.arange(0, 60, 0.02)
    >>> p = np.interp(t, [0, 5, 6, 46, 47, 60], [0, 180, 180, 60, 0, 0])
    >>> found = find_deflation(t, p)
    >>> round(found.rate_mmhg_per_s, 1), round(found.end_s)
    (3.0, 46)
    """
    if time_s.size < 4 or time_s[-1] - time_s[0] < 3.0:
        return None
    interval_s = float(np.median(np.diff(time_s)))
    grid = np.arange(time_s[0], time_s[-1] + GRID_S / 2, GRID_S)
    # Averaged rows, not single ones, where the log is faster than the grid.
    rows, summed = binned(time_s, pressure_mmhg, float(grid[0]), grid.size)
    smooth = box(evened(grid, rows, summed), round(0.8 / GRID_S))
    stretches = _slow_stretches(smooth)
    if not stretches:
        return None
    start, stop = stretches[-1]
    start_s, end_s = float(grid[start]), float(grid[stop])
    released = bool(stop < grid.size - 1 and smooth[stop] - smooth[-1] > REINFLATION_MMHG / 2)
    if released:
        around = np.abs(time_s - end_s - 0.4) <= max(1.2, 2.2 * interval_s)
        around &= time_s > start_s + 1.0
        if around.sum() >= 5:
            end_s = min(_knee(time_s[around], pressure_mmhg[around]), end_s + 1.2)
    inside = (time_s >= start_s) & (time_s <= end_s)
    if inside.sum() < 4:
        return None
    grid = np.arange(start_s, end_s + 1e-9, GRID_S)
    rows, summed = binned(time_s[inside], pressure_mmhg[inside], start_s, grid.size)
    half_width_s = max(1.5, 2.6 * interval_s)
    trend = local_line(rows, summed, round(half_width_s / GRID_S))
    stepped = in_steps(rows, summed, trend)
    if stepped:
        narrow_s = max(STEPPED_HALF_S, 2.6 * interval_s)
        trend = local_line(rows, summed, round(narrow_s / GRID_S))
    return _describe(
        grid,
        trend,
        time_s[inside],
        pressure_mmhg[inside],
        interval_s,
        released,
        len(stretches),
        stepped,
    )


def _describe(
    grid: FloatArray,
    trend: FloatArray,
    time_s: FloatArray,
    pressure_mmhg: FloatArray,
    interval_s: float,
    released: bool,
    falls: int,
    stepped: bool,
) -> Deflation:
    """Rates, errors and flags of a deflation whose trend is known."""
    flags: list[Flag] = []
    top, bottom = float(trend.max()), float(trend[-1])
    begins = fall_begins(trend)
    fall_s = max((grid.size - begins) * GRID_S, GRID_S)
    followed = trend
    if not stepped:
        trend = np.concatenate([trend[:begins], without_movements(trend[begins:])])
    slope = -np.gradient(trend, GRID_S)[begins:]
    falls_at = slope > 0.3
    # Between steps the cuff stands still: their rate is that of the whole.
    steady = not stepped and bool(falls_at.any())
    rate = float(np.median(slope[falls_at])) if steady else (top - bottom) / fall_s
    if rate > FAST_MMHG_PER_S:
        flags.append(Flag.DEFLATION_FAST)
    elif rate < SLOW_MMHG_PER_S:
        flags.append(Flag.DEFLATION_SLOW)
    if stepped or _pauses(time_s, pressure_mmhg, grid[begins:], rate):
        flags.append(Flag.DEFLATION_PAUSED)
    long = np.flatnonzero(np.diff(time_s) > max(HOLE_S, HOLE_STEPS * interval_s))
    if long.size:
        flags.append(Flag.CUFF_LOG_DROPOUT)
    if falls > 1:
        flags.append(Flag.REINFLATED)
    # Rounding of a log leaves few distinct steps between neighbouring rows.
    residual = pressure_mmhg - np.interp(time_s, grid, trend)
    rounding = rounding_mmhg(pressure_mmhg)
    rows_in_window = max(1.5 / interval_s, 1.0)
    error = float(np.hypot(np.std(residual) / np.sqrt(rows_in_window) * 0.5, rounding / 6))
    if stepped:
        error = max(error, STEPPED_ERROR_MMHG)
    return Deflation(
        time_s=grid,
        trend_mmhg=trend,
        followed_mmhg=followed,
        falls_from_s=float(grid[begins]),
        rate_mmhg_per_s=rate,
        log_rate_hz=1.0 / interval_s,
        trend_error_mmhg=error,
        released=released,
        stepped=stepped,
        flags=tuple(flags),
        holes_s=tuple((float(time_s[i]), float(time_s[i + 1])) for i in long.tolist()),
    )


def _pauses(
    time_s: FloatArray, pressure_mmhg: FloatArray, grid: FloatArray, rate_mmhg_per_s: float
) -> bool:
    """Whether the cuff stood still for two seconds, or for a third of the time (steps)."""
    reach = round(0.5 / GRID_S)
    rows, summed = binned(time_s, pressure_mmhg, float(grid[0]), grid.size)
    if grid.size <= 2 * reach or (rows > 0).sum() < grid.size // 2:
        return False
    smooth = box(box(evened(grid, rows, summed), round(0.8 / GRID_S)), round(0.4 / GRID_S))
    slope = (smooth[: -2 * reach] - smooth[2 * reach :]) / (2 * reach * GRID_S)
    still = (slope < STILL_SHARE * rate_mmhg_per_s).astype(np.float64)
    long = bool((box(still, round(PAUSE_S / GRID_S)) > 0.99).any())
    return long or bool(still.mean() > STEPPED_SHARE)


def rounding_mmhg(pressure_mmhg: FloatArray) -> float:
    """Step to which a log was rounded: its smallest non-zero difference.

    Parameters
    ----------
    pressure_mmhg
        Pressures of its rows, shape ``(n,)``.

    Returns
    -------
    float
        mmHg, 0 where all rows are the same.

    Examples
    --------
    >>> rounding_mmhg(np.array([120.0, 119.5, 119.5, 118.0]))
    0.5
    """
    steps = np.abs(np.diff(np.unique(pressure_mmhg)))
    steps = steps[steps > 1e-6]
    return float(steps.min()) if steps.size else 0.0
