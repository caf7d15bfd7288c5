"""Sound that is missing, or was put in, without anybody's saying so.

A driver that loses a buffer shortens the sound: from there on all of it comes too early for the
log.  The sounds on one side of the tear then keep step at one lag and those on the other side at
another; read at either, half of them fall silent.  So the best path through a map of delays is set
against the best pair of paths, of which the second takes up where the first breaks off.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.onsets import STEP_S
from tapfall.ear.paths import Paths, score_from
from tapfall.model import FloatArray

#: Sound of this length is looked for, seconds: less moves no sound out of its place, and more than
#: the second was no lag that is searched.
SHORTEST_S, LONGEST_S = 0.1, 2.1
#: No heart beats sooner after a beat, seconds (physiology, with margin): the second path may not
#: begin with the sound that the first one ended with.
LEAST_APART_S = 0.3
#: What a pair of paths has to pay in nats if the second comes later: a beat without a sound, passed
#: over, looks like sound that was put in (development seeds 7000-7029).
ADDED_NATS = 10.0
#: Sound is torn where two lags explain the marks of sounds better by so many nats; or, where they
#: do by the second number, what a network reads of the map by the third (tuned on development
#: seeds 7000-7029: of 390 recordings of 15 kinds 1.3 % are taken for torn).
TORN_NATS, MAYBE_TORN_NATS, SEEN_TORN_NATS = 12.0, 5.0, 15.0
NEVER = -1e9


def torn_nats(paths: Paths, beats_s: FloatArray, fall_mmhg: FloatArray, error_s: float) -> float:
    """By how much two lags, one after the other, explain the sounds better than one.

    Parameters
    ----------
    paths
        Through a map of all delays that a lag can cause.
    beats_s, fall_mmhg
        Beats, log time, and the cuff's fall before each, shape ``(n,)``.
    error_s
        How far off each beat is, as a standard deviation.

    Returns
    -------
    float
        Nats, never below 0.
    """
    begin = np.maximum(_after_loss(paths.totals, beats_s), _after_more(paths.totals) - ADDED_NATS)
    pair = score_from(paths.gains, STEP_S, fall_mmhg, error_s, begin)
    return max(float(pair.max() - paths.score.max()), 0.0)


def _after_loss(totals: FloatArray, beats_s: FloatArray) -> FloatArray:
    """The best that a path at a later beat may take up, where sound is missing; ``(n, k)``."""
    n, k = totals.shape
    least, most = round(SHORTEST_S / STEP_S), round(LONGEST_S / STEP_S)
    highest = _powers(np.pad(totals, ((0, 0), (0, most)), constant_values=NEVER), most)
    begin = np.full((n, k), NEVER)
    for later in range(1, n):
        for sooner in range(later - 1, -1, -1):
            apart_s = float(beats_s[later] - beats_s[sooner])
            last = min(round((apart_s - LEAST_APART_S) / STEP_S), most)
            if last >= least:
                power = (last - least + 1).bit_length() - 1
                row = highest[power][sooner]
                other = last - (1 << power) + 1
                found = np.maximum(row[least : least + k], row[other : other + k])
                np.maximum(begin[later], found, out=begin[later])
            if last == most:
                break
    return begin


def _powers(rows: FloatArray, width: int) -> list[FloatArray]:
    """The highest of each cell and those after it: of 1, 2, 4, ... cells, up to a width."""
    highest = [rows]
    for power in range(width.bit_length() - 1):
        step = 1 << power
        wider = highest[-1].copy()
        np.maximum(wider[:, :-step], highest[-1][:, step:], out=wider[:, :-step])
        highest.append(wider)
    return highest


def _after_more(totals: FloatArray) -> FloatArray:
    """The same where sound was put in: at the next beat, at any later delay."""
    least = round(SHORTEST_S / STEP_S)
    begin = np.full(totals.shape, NEVER)
    begin[1:, least:] = np.maximum.accumulate(totals, axis=1)[:-1, :-least]
    return begin
