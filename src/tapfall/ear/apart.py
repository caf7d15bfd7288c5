"""Clocks that no lag within reach sets right: they run apart, or lie further apart than that.

A logger that counts rows at a nominal rate has a clock that is off by per cents; programs that
were started one after the other are seconds apart.  A lag is found all the same, the one at which
the sounds look best.  So the beats are laid over the marks of sounds once more, spread and drawn
together, and moved further than a lag is searched: where that looks better, no lag is clear.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear import lag as lags
from tapfall.ear.delaymap import DelayMap, plain_map
from tapfall.ear.onsets import STEP_S, Onsets
from tapfall.ear.paths import Paths, follow
from tapfall.model import FloatArray

#: Clocks that run apart by this share, either way (our choice), looked for so far either way from
#: the best delay; and by how many nats they have to explain the sounds better (tuned on calibration
#: recordings: of 150 ordinary ones two do, of 80 whose clocks run apart by 1 to 3 % 67).
SHARE, REACH_S, SHARE_NATS = 0.015, 0.6, 3.0
#: So much further than a lag is searched, and by how many nats; by more where the intervals spread
#: by less than this share: an even rhythm looks the same a beat away (tuned on calibration
#: recordings: of 368 of eight kinds five are doubted, of 120 whose clocks lie 2.2 to 6 s apart 68).
FURTHER_S, FURTHER_NATS, EVEN_SHARE, EVEN_NATS = 4.0, 5.0, 0.03, 12.0
#: With less at the best lag nothing is looked for: no sounds are heard yet, or no value will be
#: told (calibration recordings: of 60 without sounds 35 have less, of 30 ordinary ones none).
LEAST_NATS = 5.0
#: With fewer beats than this no two intervals tell how even the rhythm is.
LEAST_BEATS = 3
#: Columns between maps that lie side by side: more than a path moves from beat to beat.
WALL = 32


def clocks_apart(
    onsets: Onsets,
    beats_s: FloatArray,
    fall_mmhg: FloatArray,
    error_s: float,
    chart: DelayMap,
    paths: Paths,
) -> bool:
    """Whether the sounds keep better step with the beats at no lag that is searched.

    Parameters
    ----------
    onsets
        Marks over audio time.
    beats_s, fall_mmhg
        Beats, log time, and the cuff's fall before each, shape ``(n,)``.
    error_s
        How far off each beat is, as a standard deviation.
    chart, paths
        Map of the marks at all delays that a lag can cause, and paths through it.

    Returns
    -------
    bool
    """
    total = paths.score - lags.lag_cost(chart.delay_s)
    best = float(total.max())
    if best < LEAST_NATS or beats_s.size < LEAST_BEATS:
        return False
    at_s = float(chart.delay_s[int(np.argmax(total))])
    low_s, high_s = float(chart.delay_s[0]), float(chart.delay_s[-1])
    spread_s = SHARE * (beats_s - 0.5 * float(beats_s[0] + beats_s[-1]))
    near_s = (at_s - REACH_S, at_s + REACH_S)
    interval_s = np.diff(beats_s)
    even = bool(np.std(interval_s) < EVEN_SHARE * np.mean(interval_s))
    further_nats = EVEN_NATS if even else FURTHER_NATS
    others = (
        (plain_map(onsets, beats_s + spread_s, near_s), SHARE_NATS),
        (plain_map(onsets, beats_s - spread_s, near_s), SHARE_NATS),
        (plain_map(onsets, beats_s, (low_s - FURTHER_S, low_s)), further_nats),
        (plain_map(onsets, beats_s, (high_s, high_s + FURTHER_S)), further_nats),
    )
    # Side by side, for speed, and too far from each other for a path to cross.
    wall = np.full((beats_s.size, WALL), -1e6)
    beside = np.hstack([part for other, _ in others for part in (other.gains(), wall)])
    score = follow(beside, STEP_S, fall_mmhg, error_s).score
    first = 0
    for other, nats in others:
        count = other.delay_s.size
        found = score[first : first + count] - lags.lag_cost(other.delay_s)
        if float(found.max()) > best + nats:
            return True
        first += count + WALL
    return False
