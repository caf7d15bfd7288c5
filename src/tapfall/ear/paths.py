"""The line of sounds through a map of beats and delays, by dynamic programming.

A sound starts where the arterial upstroke crosses the cuff's pressure: late
in the upstroke near systolic, early near diastolic (Rodbard, QKD literature;
from memory).  So its delay after the cuff's pulse shrinks smoothly while the
cuff falls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray

#: Delay lost per mmHg that the cuff falls, and its spread between people: upstrokes of
#: 80-200 ms over pulse pressures of 30-80 mmHg (computed).
DELAY_S_PER_MMHG, DELAY_SPREAD_S_PER_MMHG = 0.0018, 0.002
#: Jitter of the pulse clock from beat to beat, and of a clock made of sounds (tuned).
PULSE_JITTER_S, SOUND_JITTER_S = 0.007, 0.03
#: Weight of smoothness, and the most that one rough step costs: a pulse may be
#: misplaced (tuned).
SMOOTHNESS, MOST_ROUGH = 0.8, 4.0
#: Steepest fall of the cuff from beat to beat that counts.
MOST_FALL_MMHG = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paths:
    """Best paths that end at each delay.

    ``totals`` holds what the best path that comes to each beat and delay has gained, ``gains``
    are those of the map, ``back`` holds the column before, all of shape ``(n, k)``.
    """

    totals: FloatArray
    gains: FloatArray
    back: np.ndarray

    @property
    def score(self) -> FloatArray:
        """What the paths that end at each delay have gained, shape ``(k,)``."""
        return np.asarray(self.totals[-1])

    def best(self) -> np.ndarray:
        """Columns of the path with the highest score, shape ``(n,)``."""
        return self.trace(int(np.argmax(self.score)))

    def trace(self, end: int) -> np.ndarray:
        """Columns of the path that ends in a column, shape ``(n,)``."""
        rows = self.back.shape[0]
        columns = np.empty(rows, np.intp)
        columns[-1] = end
        for i in range(rows - 1, 0, -1):
            columns[i - 1] = self.back[i, columns[i]]
        return columns


def follow(
    gains: FloatArray, step_s: float, fall_mmhg: FloatArray | None, error_s: float = 0.0
) -> Paths:
    """Find the smoothest and most rewarding paths through a map.

    Parameters
    ----------
    gains
        Gain of each cell in nats, shape ``(n, k)``.
    step_s
        Delay from column to column.
    fall_mmhg
        Fall of the cuff before each beat, shape ``(n,)``; ``None`` where the
        delay means nothing because the clock is made of sounds.
    error_s
        How far off each beat's reference is, as a standard deviation.

    Returns
    -------
    Paths
        One path for each delay of the last beat.
    """
    n, k = gains.shape
    reach, cost = _moves(n, step_s, fall_mmhg, error_s)
    totals = np.empty((n, k))
    totals[0] = gains[0]
    moves = np.full((n, k), reach)
    columns = np.arange(k)
    padded, shifted = _shifted(k, reach)
    for i in range(1, n):
        padded[reach : reach + k] = totals[i - 1]
        choices = shifted - cost[i][:, None]
        moves[i] = np.argmax(choices, axis=0)
        totals[i] = choices[moves[i], columns] + gains[i]
    back = np.clip(columns + moves - reach, 0, k - 1)
    back[:1] = 0
    return Paths(totals=totals, gains=gains, back=back)


def score_from(
    gains: FloatArray,
    step_s: float,
    fall_mmhg: FloatArray | None,
    error_s: float,
    begin: FloatArray,
) -> FloatArray:
    """Find what the best paths gain that may begin at any beat.

    Parameters
    ----------
    gains, step_s, fall_mmhg, error_s
        As for :func:`follow`.
    begin
        What a path has gained before each cell that it may begin in, shape ``(n, k)``.

    Returns
    -------
    ndarray
        Score of the paths that end at each delay, shape ``(k,)``.
    """
    n, k = gains.shape
    reach, cost = _moves(n, step_s, fall_mmhg, error_s)
    padded, shifted = _shifted(k, reach)
    total = begin[0] + gains[0]
    for i in range(1, n):
        padded[reach : reach + k] = total
        going_on = (shifted - cost[i][:, None]).max(axis=0)
        total = np.maximum(going_on, begin[i]) + gains[i]
    return np.asarray(total)


def _moves(
    count: int, step_s: float, fall_mmhg: FloatArray | None, error_s: float
) -> tuple[int, FloatArray]:
    """How many columns a path moves at most, and what each move to each beat costs."""
    if fall_mmhg is None:
        drift_s, spread_s = np.zeros(count), np.full(count, SOUND_JITTER_S)
    else:
        fall = np.clip(fall_mmhg, 0.0, MOST_FALL_MMHG)
        drift_s = -DELAY_S_PER_MMHG * fall
        spread_s = np.hypot(
            np.hypot(PULSE_JITTER_S, np.sqrt(2) * error_s), DELAY_SPREAD_S_PER_MMHG * fall
        )
    reach = int(np.ceil(float(np.max(np.abs(drift_s) + 2.5 * spread_s)) / step_s))
    shift_s = np.arange(-reach, reach + 1) * step_s
    rough = ((shift_s[None, :] - drift_s[:, None]) / spread_s[:, None]) ** 2
    return reach, np.minimum(0.5 * SMOOTHNESS * rough, MOST_ROUGH)[:, ::-1]


def _shifted(columns: int, reach: int) -> tuple[FloatArray, FloatArray]:
    """A row with room on both sides, and a view of it.

    Row r of the view holds, for each column, the value of the column r - reach before.
    """
    padded = np.full(columns + 2 * reach, -1e9)
    return padded, np.lib.stride_tricks.sliding_window_view(padded, columns)
