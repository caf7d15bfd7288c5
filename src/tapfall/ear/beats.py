"""Where a heartbeat is expected when the log shows no pulse: a clock made of sounds.

Sounds that keep step are chained; silent beats between and beyond them are
filled in evenly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.ear.onsets import STEP_S, Onsets
from tapfall.ear.pulses import chain_to_best, local_maxima
from tapfall.model import FloatArray

#: Usual interval, its spread (log), and how much that counts: two heart sounds must
#: not pass for two beats (resting rates of 50-110 per minute; common practice, tuned).
USUAL_RR_S, SPREAD_RR, RATE_PRIOR = 0.8, 0.35, 0.15
#: Intervals looked for: 35 to 180 per minute (physiology; two sounds nearer than that are often
#: those of one beat, so a clock made of sounds is not asked for the fastest hearts).
SHORTEST_S, LONGEST_S = 0.33, 1.7
#: Log odds from which an instant may be a beat, and the most one may count (tuned).
LEAST_ODDS, MOST_ODDS = -2.5, 4.0
#: Cost of an interval per squared log ratio to whole typical ones, of each beat
#: skipped, and of a silence that no rhythm bridges (tuned).
RHYTHM_COST, SKIP_COST, BREAK_COST = 40.0, 1.0, 6.0
#: A silence longer than so many intervals breaks the rhythm.
MOST_SKIPPED = 4.5
#: Fewest beats that make a clock.
LEAST_BEATS = 4
#: How uneven a heart is at least, over its typical interval, and how often one of its beats
#: between two that sound is silent (an even heart at rest; our choice).
LEAST_UNEVEN, SILENT_BETWEEN = 0.05, 0.2
#: Weight of the nearby interval against the typical one in running on beyond the sounds.
NEARBY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """Expected beats, audio time, shape ``(n,)``.

    ``away`` is how many beats each is from one that sounds, ``real`` how likely there was one.
    """

    time_s: FloatArray
    away: FloatArray
    real: FloatArray


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
        Interval of the first strong peak in 0.33-1.7 s; ``None`` if the series
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
    low, high = round(SHORTEST_S / step_s), min(round(LONGEST_S / step_s), n - 1)
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


def chain_of(time_s: FloatArray, gain: FloatArray, interval_s: float) -> np.ndarray:
    """Pick the sounds that keep step.

    Parameters
    ----------
    time_s, gain
        Candidates in order of time and what each gains, shape ``(n,)``.
    interval_s
        Typical beat interval.

    Returns
    -------
    ndarray of int
        Indices of the best chain.

    Examples
    --------
    >>> t = np.array([0.0, 0.8, 1.1, 1.6, 3.2, 3.9])
    >>> chain_of(t, np.full(6, 3.0), 0.8).tolist()
    [0, 1, 3, 4, 5]
    """
    n = time_s.size
    total = gain.astype(float).copy()
    before = np.full(n, -1, np.intp)
    for j in range(1, n):
        length = (time_s[j] - time_s[:j]) / interval_s
        count = np.maximum(np.rint(length), 1.0)
        cost = RHYTHM_COST * np.log(np.maximum(length, 0.05) / count) ** 2
        cost += SKIP_COST * (count - 1)
        cost = np.where(length > MOST_SKIPPED, BREAK_COST, cost)
        choice = total[:j] - cost
        k = int(np.argmax(choice))
        if choice[k] > 0:
            total[j] += choice[k]
            before[j] = k
    return chain_to_best(total, before)


def fill_in(sound_s: FloatArray, start_s: float, end_s: float) -> Clock:
    """Expect a beat at each sound, evenly between them, and on to both ends.

    Parameters
    ----------
    sound_s
        Times of sounds in order, at least two, shape ``(m,)``.
    start_s, end_s
        Where the clock has to reach.

    Returns
    -------
    Clock
        All expected beats.

    Examples
    --------
    >>> fill_in(np.array([2.0, 3.0, 4.0, 6.0]), 0.5, 7.2).time_s.tolist()
    [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]
    """
    interval = np.diff(sound_s)
    typical = float(np.median(interval))
    # Skipped beats make long intervals: what they hold is counted first.
    typical = float(np.median(interval / np.maximum(np.rint(interval / typical), 1.0)))
    counts = np.maximum(np.rint(interval / typical), 1.0)
    return lay_out(sound_s, counts, typical, start_s, end_s)


def lay_out(
    sound_s: FloatArray,
    counts: FloatArray,
    typical_s: float,
    start_s: float,
    end_s: float,
    beyond: float = 0.0,
) -> Clock:
    """Lay out beats evenly between sounds and on to both ends.

    Parameters
    ----------
    sound_s
        Times of sounds in order, shape ``(m,)``.
    counts
        Beats that each interval between them holds, shape ``(m - 1,)``.
    typical_s
        Typical interval; the first and last ones weigh as much on their side.
    start_s, end_s, beyond
        Where the clock has to reach, and by how many intervals it may pass.

    Returns
    -------
    Clock
        All expected beats.
    """
    interval = np.diff(sound_s)
    each = interval / counts
    early = NEARBY * float(np.mean(each[:5])) + (1 - NEARBY) * typical_s
    late = NEARBY * float(np.mean(each[-5:])) + (1 - NEARBY) * typical_s
    chances = between_chances(interval / typical_s, counts)
    room_above = max(float(sound_s[0] - start_s) + beyond * early, 0.0)
    room_below = max(float(end_s - sound_s[-1]) + beyond * late, 0.0)
    above = np.arange(int(room_above / early), 0, -1.0)
    below = np.arange(1.0, int(room_below / late) + 1)
    time_s: list[float] = (sound_s[0] - early * above).tolist()
    away: list[float] = above.tolist()
    real = [1.0] * above.size
    for begin, length, count, chance in zip(
        sound_s[:-1].tolist(), interval.tolist(), counts.tolist(), chances.tolist(), strict=True
    ):
        for step in range(int(count)):
            time_s.append(begin + length * step / count)
            away.append(min(step, count - step))
            real.append(chance if step else 1.0)
    time_s += [float(sound_s[-1]), *(sound_s[-1] + late * below).tolist()]
    away += [0.0, *below.tolist()]
    real += [1.0] * (below.size + 1)
    return Clock(time_s=np.array(time_s), away=np.array(away), real=np.array(real))


def between_chances(length: FloatArray, counts: FloatArray) -> FloatArray:
    """Tell how likely a beat filled in between two sounds was one, and no long interval.

    Intervals of the heart are taken for normal, as uneven as those with nothing filled in.

    Parameters
    ----------
    length
        Intervals between sounds over the typical one, shape ``(m,)``.
    counts
        Beats that each is taken to hold, shape ``(m,)``.

    Returns
    -------
    ndarray
        Probabilities, 1 where nothing is filled in; shape ``(m,)``.

    Examples
    --------
    >>> counts = np.array([1.0, 1.0, 1.0, 2.0, 1.0, 1.0])
    >>> even, uneven = np.array([1, 1, 1, 1.6, 1, 1]), np.array([1.2, 0.7, 0.8, 1.6, 1.3, 0.9])
    >>> [between_chances(one, counts)[3].round(2).item() for one in (even, uneven)]
    [1.0, 0.49]
    """
    single = counts == 1
    if single.sum() < LEAST_BEATS - 1 or single.all():
        return np.ones(length.size)
    odd = np.abs(length[single] - np.median(length[single]))
    uneven = max(float(np.quantile(odd, 0.68)), LEAST_UNEVEN)
    held = np.arange(1.0, counts.max() + 2.0)
    off = (length[:, None] - held) / (uneven * np.sqrt(held))
    likely = -0.5 * off**2 - 0.5 * np.log(held) + (held - 1) * np.log(SILENT_BETWEEN)
    share = special.softmax(likely, axis=1)
    return np.where(single, 1.0, np.minimum(share @ (held - 1) / np.maximum(counts - 1, 1.0), 1.0))


def clock_from_sounds(onsets: Onsets, start_s: float, end_s: float) -> Clock | None:
    """Expect beats from the sounds alone.

    Parameters
    ----------
    onsets
        Marks over audio time.
    start_s, end_s
        Audio times of the deflation.

    Returns
    -------
    Clock or None
        ``None`` where no rhythm is found.
    """
    part = onsets.between(start_s, end_s)
    likely = special.expit(part.log_odds)
    blurred = np.convolve(likely, np.hanning(9)[1:-1], "same")
    interval_s = typical_interval_s(blurred, STEP_S, RATE_PRIOR)
    if interval_s is None:
        return None
    peaks = local_maxima(part.log_odds, round(0.15 / STEP_S))
    peaks = peaks[part.log_odds[peaks] > LEAST_ODDS]
    if peaks.size < LEAST_BEATS:
        return None
    time_s = part.start_s + peaks * STEP_S
    gain = np.minimum(part.log_odds[peaks], MOST_ODDS) - LEAST_ODDS
    chain = chain_of(time_s, gain, interval_s)
    if chain.size < LEAST_BEATS:
        return None
    return fill_in(time_s[chain], start_s, end_s)
