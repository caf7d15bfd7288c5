"""The smooth course of the cuff's pressure: without pulses, movements under it, or in steps."""

from __future__ import annotations

import numpy as np

from tapfall.model import FloatArray

#: Step of the even grid on which trend and slopes are computed.
GRID_S = 0.05
#: Share of the usual weight of rows below which a stretch of the trend counts as a hole.
LEAST_WEIGHT = 0.05
#: A movement of the arm lasts a second or two: a line over so much on either side, from which
#: rows further off than ``STRAY_MMHG`` are left out, passes under it. The cuff's pressure is
#: taken from that line where the trend leaves it by more than 1 mmHg, wholly from 2 mmHg on
#: (tuned on simulated logs: of beats 3 mmHg off, one in five is left, and pauses keep their
#: corners).
STEADY_S, STRAY_MMHG, STRAY_ROUNDS = 3.0, 2.5, 6
#: A cuff let down in steps leaves a line over so much on either side by more than this, as a root
#: mean square, the pulse smoothed out; by more still where it falls faster, by this share of its
#: fall in a second, or where it rises by so much, too, as movements make it.  Then the trend takes
#: in so much on either side, and what leaves it is no movement (tuned on logs alone: of 2,700
#: calibration logs of nine kinds without steps 13 are taken for some, with steps of 4 to 5.5 mmHg
#: 24 in 100 are, of 5.5 to 7 mmHg 91, of 7 to 10 mmHg all).
STEPS_LINE_S, STEPS_MMHG, STEPS_S = 3.0, 0.6, 0.13
RISES_MMHG, STEPS_AND_RISES_MMHG = 1.0, 0.9
STEPPED_HALF_S = 0.6
#: How far off the trend of a cuff let down in steps is at least, as a standard deviation (measured
#: on such logs: 0.6 mmHg as the median, 0.8 at nine in ten).
STEPPED_ERROR_MMHG = 0.7
#: A hold ends where the trend leaves its highest value by more (our choice).
HELD_MMHG = 2.0
#: Rounds ties of times on the grid one way, whatever the clock's offset.
TIE = 1e-6


def box(values: FloatArray, count: int) -> FloatArray:
    """Centred moving mean over about ``count`` values, shorter at the ends."""
    half = count // 2
    total = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(values.size)
    low = np.maximum(index - half, 0)
    high = np.minimum(index + half + 1, values.size)
    return np.asarray((total[high] - total[low]) / (high - low))


def local_line(weight: FloatArray, weighted_mmhg: FloatArray, half_width: int) -> FloatArray:
    """Local straight-line fit with a tricube kernel, exact at the ends."""
    u = np.arange(-half_width, half_width + 1) / (half_width + 1)
    kernel = (1 - np.abs(u) ** 3) ** 3
    step = u[::-1]  # convolution turns the kernel round

    def total(values: FloatArray, moment: FloatArray) -> FloatArray:
        return np.convolve(values, kernel * moment, "full")[half_width:-half_width]

    one = np.ones_like(step)
    s0, s1, s2 = total(weight, one), total(weight, step), total(weight, step * step)
    m0, m1 = total(weighted_mmhg, one), total(weighted_mmhg, step)
    spread = s0 * s2 - s1 * s1
    safe = spread > 1e-6 * np.maximum(s0 * s0, 1e-12)
    fitted = np.where(
        safe,
        (s2 * m0 - s1 * m1) / np.where(safe, spread, 1.0),
        m0 / np.maximum(s0, 1e-12),
    )
    # A hole wider than the kernel is bridged by a straight line.
    known = spread > 1e-4 * np.maximum(s0 * s0, 1e-12)
    known &= s0 > LEAST_WEIGHT * float(np.median(s0))
    if not known.any():
        # Too short for a line.
        return np.asarray(fitted)
    return np.interp(np.arange(fitted.size), np.flatnonzero(known), fitted[known])


def without_movements(trend_mmhg: FloatArray) -> FloatArray:
    """A falling trend with a robust line where a movement of the arm lifts it off or dents it."""
    half_width = round(STEADY_S / GRID_S)
    weight = np.ones_like(trend_mmhg)
    line = trend_mmhg
    for turn in range(STRAY_ROUNDS):
        line = local_line(weight, weight * trend_mmhg, half_width)
        stray = STRAY_MMHG * (2 if turn < 2 else 1)
        weight = np.clip(1 - ((trend_mmhg - line) / stray) ** 2, 0, 1) ** 2 + 1e-3
    off = line - trend_mmhg
    return np.asarray(trend_mmhg + off * np.clip(np.abs(off) - 1, 0, 1))


def binned(
    time_s: FloatArray, pressure_mmhg: FloatArray, start_s: float, count: int
) -> tuple[FloatArray, FloatArray]:
    """Rows per grid bin and their summed pressure."""
    index = np.floor((time_s - start_s) / GRID_S + 0.5 + TIE).astype(np.intp)
    keep = (index >= 0) & (index < count)
    rows = np.bincount(index[keep], minlength=count).astype(np.float64)
    summed = np.bincount(index[keep], weights=pressure_mmhg[keep], minlength=count)
    return rows, np.asarray(summed, np.float64)


def evened(place: FloatArray, rows: FloatArray, summed: FloatArray) -> FloatArray:
    """Mean pressure of each grid bin, from line to line over bins without rows."""
    filled = rows > 0
    return np.interp(place, place[filled], summed[filled] / rows[filled])


def fall_begins(trend: FloatArray) -> int:
    """Where on the grid the hold ends and the fall begins."""
    return int(np.flatnonzero(trend >= float(trend.max()) - HELD_MMHG)[-1])


def in_steps(rows: FloatArray, summed: FloatArray, trend: FloatArray) -> bool:
    """Whether the cuff was let down in steps, from rows per grid bin and their summed pressure."""
    fall = slice(fall_begins(trend), None)
    even = evened(np.arange(trend.size, dtype=np.float64), rows, summed)[fall]
    edge = round(1.0 / GRID_S)
    if even.size <= 4 * edge or (rows[fall] > 0).mean() < 1 / 3:
        return False
    smooth = box(box(even, round(0.8 / GRID_S)), round(0.8 / GRID_S))
    line = local_line(np.ones(even.size), even, round(STEPS_LINE_S / GRID_S))
    off_mmhg = float(np.sqrt(np.mean((smooth - line)[edge:-edge] ** 2)))
    inside = smooth[edge:-edge]
    rate_mmhg_per_s = float(inside[0] - inside[-1]) / (inside.size * GRID_S)
    if off_mmhg <= max(STEPS_MMHG, STEPS_S * rate_mmhg_per_s):
        return False
    rises_mmhg = float((inside - np.minimum.accumulate(inside)).max())
    return rises_mmhg < RISES_MMHG or off_mmhg > STEPS_AND_RISES_MMHG
