"""Posterior to pressures: values, intervals, confidence, status.

Every story drawn from the posterior is put to the rules of the trade.  The
value is the one that holds the most stories within 4 mmHg, at a beat or close
to it; the interval bounds the threshold, which lies between the silent and the sounding beat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.ear.rules import Ruled
from tapfall.model import FloatArray

#: Two observers further apart than this are rejected (ISO 81060-2; from memory).
TOLERANCE_MMHG = 4.0
#: Shares of stories closer than this count as equal (the draws' own scatter).
NEARLY = 0.03
#: A story counts less and less from so much nearer than that to so much further away: some error
#: of the trend and of the times comes on top (tuned, about the spread of that error).
AROUND_MMHG = 0.75
#: A value off the likeliest beat has to hold so many more of the stories, and so many more per
#: mmHg (tuned: nine values in ten stay at a beat, and the mean error is as small as if all did).
MORE, MORE_PER_MMHG = 0.01, 0.005
#: Numbers are kept to these decimals; the rest is noise.
MMHG_DECIMALS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """One threshold in the posterior.

    ``index`` is the deciding beat, ``mmhg`` the value, ``mass`` the share of stories within
    4 mmHg, ``low_mmhg`` and ``high_mmhg`` the 95 % interval.
    """

    index: int
    mmhg: float
    mass: float
    low_mmhg: float
    high_mmhg: float


def rounded(value: float) -> float:
    """A pressure to the decimals kept."""
    return round(float(value), MMHG_DECIMALS)


def _quantile_interval(
    sounding_mmhg: FloatArray, silent_mmhg: FloatArray, error_mmhg: float
) -> tuple[float, float]:
    """95 % interval of a threshold between a sounding and a silent beat, per story."""
    m = sounding_mmhg.size
    # Stratified and interleaved, so that neighbouring stories get unlike places.
    place = (np.arange(m) * 0.6180339887498949 + 0.5) % 1.0
    noise = special.ndtri((np.arange(m) * 0.7548776662466927 + 0.5) % 1.0)
    drawn = sounding_mmhg + place * (silent_mmhg - sounding_mmhg) + error_mmhg * noise
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(low), float(high)


def edge(
    index: np.ndarray,
    beyond: np.ndarray,
    cuff_mmhg: FloatArray,
    share: float,
    error_mmhg: float,
) -> Edge:
    """Choose the beat of a threshold from the stories.

    Parameters
    ----------
    index
        Deciding beat of each story that has one, shape ``(m,)``.
    beyond
        The silent expected beat next to it, shape ``(m,)``.
    cuff_mmhg
        Cuff pressure at each expected beat, shape ``(n,)``.
    share
        Share of all stories that have the threshold.
    error_mmhg
        Standard deviation of trend and lag.

    Returns
    -------
    Edge
        Value, its raw probability, and the interval.
    """
    pressure = cuff_mmhg[index]
    candidates, counts = np.unique(index, return_counts=True)
    value = _within_reach(cuff_mmhg[candidates], counts / index.size)
    away = np.abs(cuff_mmhg[candidates] - value)
    # Values lie at such a distance by design, or a last digit further.
    reached = away <= TOLERANCE_MMHG + 1e-9
    right = float(counts[reached].sum() / index.size)
    # The likeliest of them; of beats alike likely the nearest.
    chosen = int(candidates[np.lexsort((away, -counts, ~reached))[0]])
    low, high = _quantile_interval(pressure, cuff_mmhg[beyond], error_mmhg)
    return Edge(
        index=chosen,
        mmhg=value,
        mass=right * share,
        low_mmhg=min(low, value),
        high_mmhg=max(high, value),
    )


def _within_reach(beats_mmhg: FloatArray, share: FloatArray) -> float:
    """The value that most stories lie within 4 mmHg of, at the likeliest beat or close to it."""

    def held(value_mmhg: FloatArray) -> FloatArray:
        away = np.abs(value_mmhg[:, None] - beats_mmhg[None, :])
        counts = (TOLERANCE_MMHG + AROUND_MMHG - away) / (2 * AROUND_MMHG)
        return np.asarray(np.clip(counts, 0.0, 1.0) @ share)

    at_beats = held(beats_mmhg)
    nearly = at_beats >= at_beats.max() - NEARLY
    likeliest = float(beats_mmhg[np.argmax(np.where(nearly, share, -1.0))])
    # What is held changes along straight lines between these values.
    reach = (TOLERANCE_MMHG - AROUND_MMHG, TOLERANCE_MMHG + AROUND_MMHG)
    corners = [beats_mmhg + side * far for far in reach for side in (1, -1)]
    values = np.concatenate([[likeliest], *corners])
    gain = held(values) - MORE_PER_MMHG * np.abs(values - likeliest)
    best = int(np.argmax(gain))
    return float(values[best]) if gain[best] > gain[0] + MORE else likeliest


def beat_below(found: Edge, cuff_mmhg: FloatArray) -> int:
    """Index of the first beat after the deciding one that is not above the value.

    Examples
    --------
    >>> found = Edge(index=1, mmhg=74.0, mass=0.9, low_mmhg=70.0, high_mmhg=78.0)
    >>> beat_below(found, np.array([80.0, 77.0, 75.0, 72.0]))
    3
    """
    after = cuff_mmhg[found.index + 1 :] <= found.mmhg
    return found.index + 1 + int(np.argmax(after))


def systolic_edge(ruled: Ruled, cuff_mmhg: FloatArray, error_mmhg: float) -> Edge | None:
    """Systolic threshold among the stories that reached it, ``None`` without any."""
    seen = ruled.systolic_seen
    if not seen.any():
        return None
    index = ruled.first[seen]
    # Of alternate beats the strong one before was silent; the weak one between tells nothing.
    # That much silence was seen, so both lie on the clock.
    beyond = index - 1 - ruled.alternating_first[seen]
    return edge(index, beyond, cuff_mmhg, float(seen.mean()), error_mmhg)


def diastolic_edge(ruled: Ruled, cuff_mmhg: FloatArray, error_mmhg: float) -> Edge | None:
    """Diastolic threshold among the stories that reached it, ``None`` without any."""
    seen = ruled.diastolic_seen
    if not seen.any():
        return None
    index = ruled.last[seen]
    beyond = index + 1 + ruled.alternating_last[seen]
    return edge(index, beyond, cuff_mmhg, float(seen.mean()), error_mmhg)
