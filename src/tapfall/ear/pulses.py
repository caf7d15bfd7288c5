"""Heartbeats from the cuff's own pulse.

The log's likeliest rises are candidates; dynamic programming over them picks
the chain that explains the log best, so a beat is expected even where it makes
no sound.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import signal, special

from tapfall.ear.cuff import Deflation, rounding_mmhg
from tapfall.ear.damping import late_s
from tapfall.ear.rises import STEP_S, PulseLog, lay_out_log, near_odds, rise_odds
from tapfall.model import FloatArray

#: Intervals looked for: to 214 per minute, for early beats come 0.3 s after the one before, and
#: pauses of fibrillation (physiology, with margin).
SHORTEST_RR_S, LONGEST_RR_S = 0.28, 3.0
#: Weight of rhythm against evidence in a chain, per squared log ratio of an interval to
#: the typical one, and the most that one odd interval costs (tuned).
RHYTHM_WEIGHT, MOST_ODD = 4.0, 4.0
#: Pulses are at least this far apart, and at least this likely; more certainty than the
#: second counts no more (tuned).
LEAST_APART_S, LEAST_ODDS, MOST_ODDS = 0.25, -2.2, 3.0
#: Where none is seen for so many intervals an instant may hold an unseen one, at this
#: score and this far from those seen (an empty cuff shows no pulse; tuned).  Pauses of a
#: fibrillating heart last up to two and a half (the real series).
UNSEEN_INTERVALS, HOLE_SCORE, APART = 3.0, 0.2, round(0.3 / STEP_S)
#: Fewest pulses that make a clock, and the least log odds of its median pulse (tuned).
LEAST_PULSES, USABLE_ODDS = 6, 0.0
#: A smooth fall that was rounded lies within half a step of itself, whatever its steps look
#: like (rounding's own bound, and some noise): where so many of the rows do, no pulse is to be
#: seen.  Of 600 simulated logs with pulses they lie within 0.80 of a step or more.
ROWS_WITHIN, ONLY_ROUNDED = 0.95, 0.65
#: Least size of its median pulse, mmHg: what is left of a smooth fall without noise comes to 0.1,
#: the pulses of 80 simulated recordings, unusual people among them, to 0.22 at least.
LEAST_SIZE_MMHG = 0.12
#: Error of a pulse's time in steps of the log (measured on development seeds: 20 ms at
#: 8 Hz, 15 ms at 12 Hz).
ERROR_STEPS = 0.14
#: Log odds that a pulse of the chain is a beat of the heart: a constant, the odds of its rise
#: between two bounds, how uneven the rhythm is (68 % of intervals are no further from the
#: median, log), and how far its own intervals are (fitted on development seeds 3000-3119).
REAL_ODDS, LEAST_RISE, MOST_RISE = (3.7, 0.91, -2.3, -3.5), -5.0, 3.0
#: A pulse around its rise: enough of it to know its shape.
BODY_S = np.arange(-0.20, 0.305, 0.01)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulses:
    """Beats seen on the log: time of steepest rise and height of the pulse in mmHg.

    ``seen`` is false where the heart only must have beaten, ``real`` how likely it
    did; ``usable`` tells whether the chain stands out at all, ``error_s`` how far off a
    time is, as a standard deviation, ``late_s`` how much later than ``time_s`` the log shows
    them because its manometer lags.
    """

    time_s: FloatArray
    size_mmhg: FloatArray
    seen: NDArray[np.bool_]
    real: FloatArray
    usable: bool
    error_s: float
    late_s: float = 0.0


#: Where no pulse is to be seen.
NONE = Pulses(
    time_s=np.zeros(0),
    size_mmhg=np.zeros(0),
    seen=np.zeros(0, bool),
    real=np.zeros(0),
    usable=False,
    error_s=0.0,
)


def local_maxima(values: FloatArray, least_distance: int) -> np.ndarray:
    """Indices of local maxima at least ``least_distance`` samples apart."""
    peaks: np.ndarray = signal.find_peaks(values, distance=max(1, least_distance))[0]
    return peaks


def best_chain(time_s: FloatArray, score: FloatArray, interval_s: float) -> np.ndarray:
    """Pick the chain of candidates with the most evidence and a steady rhythm.

    Parameters
    ----------
    time_s, score
        Candidates in order of time and their evidence, shape ``(n,)``.
    interval_s
        Typical beat interval.

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
        gain = total[a:b] - np.minimum(RHYTHM_WEIGHT * ratio * ratio, MOST_ODD)
        k = int(np.argmax(gain))
        # A fresh start pays for what it leaves out, so chains stay whole.
        if gain[k] > -RHYTHM_WEIGHT:
            total[j] += gain[k]
            before[j] = a + k
    return chain_to_best(total, before)


def chain_to_best(total: FloatArray, before: np.ndarray) -> np.ndarray:
    """Go back from the candidate with the highest score.

    Parameters
    ----------
    total
        Score of the best chain that ends at each candidate, shape ``(n,)``.
    before
        The candidate before each in that chain, -1 where it begins, shape ``(n,)``.

    Returns
    -------
    ndarray of int
        Indices of the chain in order; none where there are no candidates.

    Examples
    --------
    >>> chain_to_best(np.array([1.0, 1.5, 2.5]), np.array([-1, -1, 0])).tolist()
    [0, 2]
    """
    chain = [int(np.argmax(total))] if total.size else []
    while chain and before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1], np.intp)


def find_pulses(time_s: FloatArray, pressure_mmhg: FloatArray, deflation: Deflation) -> Pulses:
    """Find the heartbeats that the cuff's pulses show during a deflation.

    Where the manometer lags, they lie before the marks by as much as the pulses' shape says.

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
    log = lay_out_log(time_s, pressure_mmhg, deflation)
    if log is None or only_rounded(time_s, pressure_mmhg, deflation):
        return NONE
    pulses = mark_pulses(log, deflation.log_rate_hz)
    if not pulses.usable:
        return pulses
    late = late_s(log, pulses.time_s[pulses.seen])
    return replace(pulses, time_s=pulses.time_s - late, late_s=late)


def mark_pulses(log: PulseLog, log_rate_hz: float) -> Pulses:
    """Mark where the pulses of a log rise.

    Parameters
    ----------
    log
        The log without its trend.
    log_rate_hz
        Rows of it in a second.

    Returns
    -------
    Pulses
        In log time; empty and not usable where the log shows none.
    """
    at_odds = rise_odds(log)
    odds = near_odds(at_odds)
    peaks = local_maxima(at_odds, round(LEAST_APART_S / STEP_S))
    peaks = peaks[(odds[peaks] > LEAST_ODDS) & ~log.hole[peaks]]
    sure = peaks[odds[peaks] > 0]
    if sure.size < LEAST_PULSES:
        return NONE
    interval_s = float(np.median(np.diff(log.time_s[sure])))
    # Where no pulse is seen the heart beats on: any instant may hold one.
    unseen = log.hole | _stretches(sure, odds.size, round(UNSEEN_INTERVALS * interval_s / STEP_S))
    score = np.full(odds.size, HOLE_SCORE)
    score[peaks] = np.minimum(odds[peaks], MOST_ODDS) - LEAST_ODDS
    peaks = np.union1d(peaks, np.flatnonzero(unseen))
    chosen = peaks[best_chain(log.time_s[peaks], score[peaks], interval_s)]
    times = log.time_s[chosen] + STEP_S * _vertex(at_odds, chosen)
    seen = odds[chosen] > 0
    size_mmhg = _sizes(log, times)
    stands_out = seen.sum() >= LEAST_PULSES and np.median(odds[chosen]) >= USABLE_ODDS
    return Pulses(
        time_s=times,
        size_mmhg=size_mmhg,
        seen=seen,
        real=beat_chances(times, odds[chosen], seen),
        usable=bool(stands_out and np.median(np.abs(size_mmhg)) >= LEAST_SIZE_MMHG),
        error_s=ERROR_STEPS / log_rate_hz,
    )


def only_rounded(time_s: FloatArray, pressure_mmhg: FloatArray, deflation: Deflation) -> bool:
    """Whether the log's own rounding explains all that its rows lie off the smooth fall.

    Parameters
    ----------
    time_s, pressure_mmhg
        The measurement's rows, shape ``(n,)``, log time and mmHg.
    deflation
        Where the cuff fell.

    Returns
    -------
    bool

    Examples
    --------
    >>> from tapfall.ear.cuff import find_deflation
    >>> t = np.arange(0.0, 60.0, 0.1)
    >>> falling = np.interp(t, [0, 5, 10, 50, 51, 60], [0, 0, 160, 60, 0, 0])
    >>> beating = falling + 0.7 * np.sin(2 * np.pi * 1.2 * t)
    >>> [only_rounded(t, p, find_deflation(t, p)) for p in (np.round(falling), np.round(beating))]
    [True, False]
    """
    inside = (time_s > deflation.start_s) & (time_s < deflation.end_s)
    if not inside.any():
        return False
    off_mmhg = pressure_mmhg[inside] - deflation.followed_at(time_s[inside])
    reach_mmhg = float(np.quantile(np.abs(off_mmhg - np.median(off_mmhg)), ROWS_WITHIN))
    return reach_mmhg < ONLY_ROUNDED * rounding_mmhg(pressure_mmhg)


def beat_chances(time_s: FloatArray, odds: FloatArray, seen: NDArray[np.bool_]) -> FloatArray:
    """Tell how likely each pulse of a chain is a beat: in an uneven rhythm a pause proves none.

    Parameters
    ----------
    time_s, odds, seen
        Each pulse, in order of time: when, log odds of its rise, and whether that is seen;
        shape ``(n,)``.

    Returns
    -------
    ndarray
        Probabilities, 1 where the rise is seen; shape ``(n,)``.

    Examples
    --------
    >>> odds = np.array([5.0, 5.0, -1.0, 5.0, 5.0])
    >>> beat_chances(np.arange(5.0), odds, odds > 0).round(2).tolist()
    [1.0, 1.0, 0.94, 1.0, 1.0]
    """
    if time_s.size < 2:
        return np.ones(time_s.size)
    interval_s = np.diff(time_s)
    both = seen[1:] & seen[:-1]
    odd = np.abs(np.log(interval_s / np.median(interval_s[both] if both.any() else interval_s)))
    uneven = float(np.quantile(odd[both] if both.any() else odd, 0.68))
    own = np.maximum(np.append(odd, 0.0), np.insert(odd, 0, 0.0))
    constant, of_rise, of_rhythm, of_own = REAL_ODDS
    rise = np.clip(odds, LEAST_RISE, MOST_RISE)
    real = special.expit(constant + of_rise * rise + of_rhythm * uneven + of_own * own)
    return np.asarray(np.where(seen, 1.0, real))


def _stretches(peaks: np.ndarray, count: int, longest: int) -> NDArray[np.bool_]:
    """Which cells lie in a stretch without peaks longer than so many cells."""
    edges = np.concatenate([[-longest // 2], peaks, [count + longest // 2]])
    unseen = np.zeros(count, bool)
    for begin, end in itertools.pairwise(edges.tolist()):
        if end - begin > longest:
            unseen[max(begin + APART, 0) : max(end - APART, 0)] = True
    return unseen


def _sizes(log: PulseLog, time_s: FloatArray) -> FloatArray:
    """How much of the shape that all pulses share each one holds, mmHg."""
    waves = np.interp(time_s[:, None] + BODY_S[None, :], log.time_s, log.pulse_mmhg)
    waves = waves - waves.mean(axis=1, keepdims=True)
    shape = np.linalg.svd(waves, full_matrices=False)[2][0]
    shape = shape / np.ptp(shape)
    size = waves @ shape / float(shape @ shape)
    return np.asarray(size * np.sign(np.median(size)))


def _vertex(values: FloatArray, index: np.ndarray) -> FloatArray:
    """Offset of a parabola's top from each index, in steps, within +-0.5."""
    inner = np.clip(index, 1, values.size - 2)
    left, mid, right = values[inner - 1], values[inner], values[inner + 1]
    bend = left - 2 * mid + right
    offset = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.clip(offset, -0.5, 0.5)
