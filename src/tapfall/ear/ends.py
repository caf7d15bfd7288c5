"""Where the sounds begin and end, asked of the whole deflation at once.

What speaks for a beat is weighed with five beats either way, and the hidden Markov model
multiplies what neighbours have in common as if each told it anew: of a weak run of sounds it
is too sure, either way.  Two networks that see thirty beats either way tell how likely each
beat is the first sound and the last one.  The stories are drawn anew, so that they begin and
end as often as that; how many of them reach silence beyond does not change.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.bell import Bell
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.network import BeatNetwork
from tapfall.ear.rules import Ruled
from tapfall.model import FloatArray

#: Names of the measures, in order.
ENDS = (
    "odds",
    "heard",
    "first",
    "last",
    "fall",
    "anchored",
    "interval",
    "real",
    "pulse_size",
    "above_largest_pulse",
    "here",
)
#: Evidence that counts at most, and the share below which none counts less.
MOST_ODDS, LEAST_SHARE = 10.0, 1e-3
#: A share of the largest pulse below which none counts less, and the unit of what lies between.
LEAST_SIZE, UNIT_MMHG = 0.03, 20.0
#: Shortest interval that counts, in seconds.
LEAST_INTERVAL_S = 0.1


def end_shares(ruled: Ruled, count: int) -> tuple[FloatArray, FloatArray]:
    """Shares of all stories that begin and that end at each beat, with silence beyond.

    Parameters
    ----------
    ruled
        The stories put to the rules.
    count
        Number of beats ``n``.

    Returns
    -------
    first, last : ndarray
        Shape ``(n,)`` each.
    """
    stories = ruled.first.size
    first = np.bincount(ruled.first[ruled.systolic_seen], minlength=count) / stories
    last = np.bincount(ruled.last[ruled.diastolic_seen], minlength=count) / stories
    return first, last


def end_measures(
    shares: tuple[FloatArray, FloatArray],
    log_odds: FloatArray,
    heard: FloatArray,
    cuff_mmhg: FloatArray,
    onset_s: FloatArray,
    real: FloatArray,
    anchored: bool,
    bell: Bell | None,
) -> FloatArray:
    """Measures of each beat that its being an end rests on.

    Parameters
    ----------
    shares
        From :func:`end_shares`.
    log_odds, heard
        What speaks for a sound at each beat, and its probability, shape ``(n,)``.
    cuff_mmhg, onset_s, real
        Cuff pressure, time, and how likely there was a beat, shape ``(n,)``.
    anchored
        Whether the log's pulses make the clock.
    bell
        Size of the cuff's pulse, ``None`` where it is not seen.

    Returns
    -------
    ndarray
        Shape ``(n, len(ENDS))``.
    """
    n = log_odds.size
    size, above = np.zeros(n), np.zeros(n)
    if bell is not None:
        size = np.log(np.maximum(bell.share_at(cuff_mmhg), 0.0) + LEAST_SIZE)
        above = (cuff_mmhg - bell.largest_mmhg) / UNIT_MMHG
    interval_s = np.diff(onset_s, prepend=onset_s[:1] - 1.0)
    return np.stack(
        [
            np.clip(log_odds, -MOST_ODDS, MOST_ODDS),
            np.log((heard + LEAST_SHARE) / (1 - heard + LEAST_SHARE)),
            np.log(shares[0] + LEAST_SHARE),
            np.log(shares[1] + LEAST_SHARE),
            -np.diff(cuff_mmhg, prepend=cuff_mmhg[:1]),
            np.full(n, float(anchored)),
            np.log(np.maximum(interval_s, LEAST_INTERVAL_S)),
            real,
            size,
            above,
            np.ones(n),
        ],
        axis=1,
    )


def _factor(share: FloatArray, measures: FloatArray, network: BeatNetwork) -> FloatArray:
    """How much likelier each beat is than its share of the stories says, shape ``(n,)``."""
    named = share > 0
    if not named.any():
        return np.ones(share.size)
    odds = np.where(named, network.log_odds(measures), -np.inf)
    likelier = np.exp(odds - odds.max())
    return np.asarray(likelier * share.sum() / (likelier @ share))


def drawn_anew(
    ruled: Ruled, shares: tuple[FloatArray, FloatArray], measures: FloatArray
) -> np.ndarray:
    """Which stories to tell, some of them several times.

    Parameters
    ----------
    ruled
        The stories put to the rules.
    shares, measures
        From :func:`end_shares` and :func:`end_measures`.

    Returns
    -------
    ndarray of int
        Indices of stories in rising order, as many as there are stories.
    """
    if not (ruled.systolic_seen.any() or ruled.diastolic_seen.any()):
        return np.arange(ruled.first.size)
    first = _factor(shares[0], measures, CALIBRATION.first_sound)
    last = _factor(shares[1], measures, CALIBRATION.last_sound)
    weight = np.where(ruled.systolic_seen, first[ruled.first], 1.0)
    weight *= np.where(ruled.diastolic_seen, last[ruled.last], 1.0)
    edges = np.cumsum(weight)
    places = (np.arange(weight.size) + 0.5) / weight.size
    order: np.ndarray = np.minimum(np.searchsorted(edges, places * edges[-1]), weight.size - 1)
    return order
