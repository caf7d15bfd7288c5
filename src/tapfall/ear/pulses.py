"""Heartbeats from the cuff's own pulse, and chains of beats in general.

The log carries the pulse (1-4 mmHg; Liu 2014).  Its steepest rise marks each
beat; dynamic programming over candidate rises picks the chain that explains
the log best, so a beat is expected even where it makes no sound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from tapfall.ear.cuff import TIE, Deflation
from tapfall.model import FloatArray

#: Heart rates looked for: 32 to 180 per minute (physiology, with margin).
SHORTEST_RR_S, LONGEST_RR_S = 0.33, 1.9
#: Usual interval, its spread (log), and how much that counts: two heart sounds must
#: not pass for two beats (resting rates of 50-110 per minute; common practice, tuned).
USUAL_RR_S, SPREAD_RR, RATE_PRIOR = 0.8, 0.35, 0.15
#: A log slower than this cannot place a pulse (upstrokes last 80-200 ms).
SLOWEST_PULSE_LOG_HZ = 12.0
#: Weight of rhythm against evidence in a chain, per squared log ratio of
#: neighbouring intervals (tuned on development recordings).
RHYTHM_WEIGHT = 6.0
#: Steepness of the pulse, in robust deviations of the log's slope, at which the
#: clock from the pulse is used (tuned on development recordings).
USABLE_PULSE = 3.0
#: A hole of the log from this length on may hide a pulse; what such a pulse scores (tuned).
SHORTEST_HOLE_S, HOLE_SCORE = 0.3, 0.2
#: Alignment of pulses: step, reach, prior spread, width in beats, rounds (tuned).
ALIGN_STEP_S, ALIGN_REACH_S, ALIGN_PRIOR_S, ALIGN_BEATS, ALIGN_ROUNDS = 0.01, 0.10, 0.05, 5.0, 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulses:
    """Beats seen on the log: time of steepest rise and its strength.

    ``strength`` is the rise's slope in robust deviations of the slope between
    pulses; ``usable`` tells whether the chain stands out at all.
    """

    time_s: FloatArray
    strength: FloatArray
    usable: bool


def local_maxima(values: FloatArray, least_distance: int) -> np.ndarray:
    """Indices of local maxima at least ``least_distance`` apart."""
    peaks: np.ndarray = signal.find_peaks(values, distance=max(1, least_distance))[0]
    return peaks


def typical_interval_s(values: FloatArray, step_s: float, rate_prior: float = 0.0) -> float | None:
    """Beat interval from the autocorrelation of an even series.

    Parameters
    ----------
    values
        Shape ``(n,)``, any unit, mean removed here.
    step_s
        Step of the series in seconds.
    rate_prior
        How much usual heart rates are preferred.

    Returns
    -------
    float or None
        Interval of the first strong peak in 0.4-1.6 s; ``None`` if the series
        is shorter than 3 s or flat.

    Examples
    --------
    >>> t = np.arange(0, 30, 0.02)
    >>> round(typical_interval_s(np.cos(2 * np.pi * t / 0.8) ** 9, 0.02), 2)
    0.8
    """
    n = values.size
    if n * step_s < 3.0:
        return None
    centred = values - values.mean()
    size = int(2 ** np.ceil(np.log2(2 * n)))
    spectrum = np.fft.rfft(centred, size)
    acf = np.fft.irfft(np.abs(spectrum) ** 2, size)[:n]
    if acf[0] <= 0:
        return None
    acf = acf / acf[0] * n / np.maximum(n - np.arange(n), n / 4)
    low, high = round(SHORTEST_RR_S / step_s), min(round(1.7 / step_s), n - 1)
    peaks = local_maxima(acf[low:high], 2) + low
    if peaks.size == 0:
        return None
    lag_s = peaks * step_s
    usual = np.exp(-0.5 * rate_prior * (np.log(lag_s / USUAL_RR_S) / SPREAD_RR) ** 2)
    height = acf[peaks] * usual
    best = float(height.max())
    if best <= 0:
        return None
    # The first of the strong peaks is the beat, later ones its multiples.
    return float(lag_s[np.flatnonzero(height >= 0.85 * best)[0]])


def best_chain(
    time_s: FloatArray,
    score: FloatArray,
    interval_s: float,
    rhythm_weight: float = RHYTHM_WEIGHT,
) -> np.ndarray:
    """Pick the chain of candidates with the most evidence and a steady rhythm.

    Parameters
    ----------
    time_s, score
        Candidates in order of time and their evidence, shape ``(n,)``.
    interval_s
        Typical beat interval.
    rhythm_weight
        Penalty per squared log ratio of an interval to the typical one.

    Returns
    -------
    ndarray of int
        Indices of the chain.

    Examples
    --------
    >>> t = np.array([0.0, 0.3, 0.8, 1.6, 2.0, 2.4])
    >>> best_chain(t, np.array([3.0, 1.0, 3.0, 3.0, 0.5, 3.0]), 0.8).tolist()
    [0, 2, 3, 5]
    """
    n = time_s.size
    total = np.zeros(n)
    before = np.full(n, -1, np.intp)
    firsts = np.searchsorted(time_s, time_s - LONGEST_RR_S)
    lasts = np.searchsorted(time_s, time_s - SHORTEST_RR_S, side="right")
    for j in range(n):
        a, b = int(firsts[j]), int(lasts[j])
        total[j] = score[j]
        if b <= a:
            continue
        ratio = np.log((time_s[j] - time_s[a:b]) / interval_s)
        gain = total[a:b] - rhythm_weight * ratio * ratio
        k = int(np.argmax(gain))
        # A fresh start pays for what it leaves out, so chains stay whole.
        if gain[k] > -rhythm_weight:
            total[j] += gain[k]
            before[j] = a + k
    chain = [int(np.argmax(total))] if n else []
    while chain and before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1], np.intp)


def find_pulses(time_s: FloatArray, pressure_mmhg: FloatArray, deflation: Deflation) -> Pulses:
    """Find the cuff's pulses during a deflation.

    Parameters
    ----------
    time_s, pressure_mmhg
        The measurement's rows, shape ``(n,)``, log time and mmHg.
    deflation
        Where the cuff fell.

    Returns
    -------
    Pulses
        In log time; empty and not usable where the log is too slow or shows
        no pulse.
    """
    nothing = Pulses(time_s=np.zeros(0), strength=np.zeros(0), usable=False)
    if deflation.log_rate_hz < SLOWEST_PULSE_LOG_HZ:
        return nothing
    step_s = max(0.02, 1.0 / deflation.log_rate_hz)
    grid = np.arange(deflation.start_s, deflation.end_s, step_s)
    inside = (time_s >= deflation.start_s - 0.1) & (time_s <= deflation.end_s + 0.1)
    if grid.size < 3.0 / step_s or inside.sum() < grid.size // 2:
        return nothing
    index = np.floor((time_s[inside] - grid[0]) / step_s + 0.5 + TIE).astype(np.intp)
    index = np.clip(index, 0, grid.size - 1)
    # Where a bin holds one row, the rows' own times count, not the bins' middles.
    grid = grid + float(np.mean(time_s[inside] - grid[index]))
    rows = np.bincount(index, minlength=grid.size)
    summed = np.bincount(index, weights=pressure_mmhg[inside], minlength=grid.size)
    filled = rows > 0
    pulse = np.interp(grid, grid[filled], summed[filled] / rows[filled])
    pulse = pulse - deflation.pressure_mmhg(grid)
    # Slope over about 0.1 s, the length of an upstroke.
    half = max(1, round(0.05 / step_s))
    smooth = np.convolve(np.pad(pulse, half, "edge"), np.ones(2 * half) / (2 * half), "same")
    slope = (smooth[2 * half :] - smooth[: -2 * half]) / (2 * half * step_s)
    # `smooth` of even length is centred half a step late.
    shift_s = -0.5 * step_s
    floor = 1.4826 * float(np.median(np.abs(slope - np.median(slope)))) + 1e-9
    around = max(3, round(6.0 / step_s))
    power = signal.fftconvolve(slope**2, np.ones(around) / around, "same")
    local = np.sqrt(np.maximum(power, 0.0)) + 0.3 * floor
    interval_s = typical_interval_s(np.maximum(slope, 0.0) / local, step_s)
    if interval_s is None:
        return nothing
    peaks = local_maxima(slope, round(0.15 / step_s))
    peaks = peaks[slope[peaks] > 0]
    if peaks.size < 4:
        return nothing
    # In a hole of the log the heart beats on: any instant may hold a pulse.
    hole = _holes(filled, round(SHORTEST_HOLE_S / step_s))
    peaks = np.unique(np.concatenate([peaks[~hole[peaks]], np.flatnonzero(hole)]))
    score = np.where(hole[peaks], HOLE_SCORE, np.minimum(slope[peaks] / local[peaks], 3.0))
    chain = best_chain(grid[peaks], score, interval_s, RHYTHM_WEIGHT)
    chosen = peaks[chain]
    times = grid[chosen] + shift_s + step_s * _vertex(slope, chosen)
    times = _align(grid, pulse, times)
    between = np.ones(grid.size, bool)
    spread = round(0.2 / step_s)
    for c in chosen.tolist():
        between[max(0, c - spread) : c + spread + 1] = False
    quiet = np.abs(slope[between]) if between.sum() > 20 else np.abs(slope)
    noise = 1.4826 * float(np.median(quiet)) + 1e-6
    strength = slope[chosen] / noise
    usable = bool(chain.size >= 6 and np.quantile(strength, 0.7) >= USABLE_PULSE)
    return Pulses(time_s=times, strength=strength, usable=usable)


def _holes(filled: np.ndarray, least: int) -> np.ndarray:
    """Which cells of a grid lie in a run of at least so many without a row."""
    edges = np.flatnonzero(np.diff(np.concatenate([[True], filled, [True]])))
    hole = np.zeros(filled.size, bool)
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        hole[begin:end] = end - begin >= max(least, 2)
    return hole


def _align(grid: FloatArray, pulse: FloatArray, time_s: FloatArray) -> FloatArray:
    """Refine beat times by matching each pulse to its neighbours' mean shape.

    The shape changes slowly with cuff pressure, so each beat has its own
    reference: the mean of some beats around it, itself left out.
    """
    n = time_s.size
    if n < 6:
        return time_s
    step_s = ALIGN_STEP_S
    margin = round(ALIGN_REACH_S / step_s)
    body = np.arange(-round(0.20 / step_s), round(0.30 / step_s) + 1)
    wide = np.arange(body[0] - margin, body[-1] + margin + 1) * step_s
    near = np.exp(-0.5 * ((np.arange(n)[:, None] - np.arange(n)[None, :]) / ALIGN_BEATS) ** 2)
    np.fill_diagonal(near, 0.0)
    near /= near.sum(axis=1, keepdims=True)
    prior = 0.5 * ((np.arange(2 * margin + 1) - margin) * step_s / ALIGN_PRIOR_S) ** 2
    for _ in range(ALIGN_ROUNDS):
        cut = np.interp(time_s[:, None] + wide[None, :], grid, pulse)
        shifted = np.lib.stride_tricks.sliding_window_view(cut, body.size, axis=1)
        shifted = shifted - shifted.mean(axis=2, keepdims=True)
        shape = near @ shifted[:, margin, :]
        match = np.einsum("nsb,nb->ns", shifted, shape)
        power = np.einsum("nb,nb->n", shape, shape)[:, None] + 1e-9
        # Least squares against the neighbours' shape, and a pull towards no shift.
        miss = np.einsum("nsb,nsb->ns", shifted, shifted) - 2 * match + power
        score = -miss / (0.25 * power) - prior
        best = np.clip(np.argmax(score, axis=1), 1, 2 * margin - 1)
        rows = np.arange(n)
        left, mid, right = score[rows, best - 1], score[rows, best], score[rows, best + 1]
        bend = left - 2 * mid + right
        fine = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
        move = (best - margin + np.clip(fine, -0.5, 0.5)) * step_s
        time_s = time_s + move - np.median(move)
    return np.maximum.accumulate(time_s)


def _vertex(values: FloatArray, index: np.ndarray) -> FloatArray:
    """Offset of a parabola's top from each index, in steps, within +-0.5."""
    inner = np.clip(index, 1, values.size - 2)
    left, mid, right = values[inner - 1], values[inner], values[inner + 1]
    bend = left - 2 * mid + right
    offset = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.clip(offset, -0.5, 0.5)
