"""What the first listening teaches about time: the delay's track, the clock.

Where the log shows pulses, the sound's delay after them is a smooth function
of cuff pressure.  Where it does not, the sounds that were heard are the
clock, and it runs on evenly beyond them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tapfall.ear.beats import lay_out
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.evidence import LATE_FROM_S, Expectation
from tapfall.ear.onsets import STEP_S
from tapfall.model import FloatArray

#: Spread of the delay around its track: inside the sounds and per mmHg beyond (tuned).
TRACK_SPREAD_S, TRACK_SPREAD_S_PER_MMHG, WIDEST_SPREAD_S = 0.010, 0.0008, 0.035
#: How far the track goes on beyond the sounds heard so far.
TRACK_REACH_MMHG = 6.0
#: Steepest change of delay with cuff pressure: a 200-ms upstroke over 25 mmHg.
STEEPEST_S_PER_MMHG = 0.008
#: Deviation at which a beat loses half its weight, from the bent track and from the
#: straight line before it.
ROBUST_S, LOOSE_S = 0.025, 0.020
#: A beat that misses the track by more counts no more for its spread (tuned).
MOST_MISS_S = 0.03
#: The track bends over this much pressure; beats that its local slope is drawn by.
BEND_MMHG, BEND_BEATS = 9.0, 3.0
#: A slope expected beforehand and the weight of that expectation, in beats
#: (a 120-ms upstroke over 40-80 mmHg; computed).
USUAL_S_PER_MMHG, USUAL_BEATS = 0.0015, 8.0
#: Spread where the clock comes from the sounds, and growth per beat away from them (tuned).
SOUND_SPREAD_S, SOUND_SPREAD_S_PER_BEAT, WIDEST_SOUND_SPREAD_S = 0.014, 0.008, 0.060
#: A weaker beat opens later in its upstroke, up to this after the track (an upstroke lasts
#: 80-200 ms; from memory); it must look like a sound by itself, and by so many nats more than what
#: lies on the track (tuned).
LATEST_AFTER_S, LEAST_LATE_ODDS, LATE_MARGIN_NATS = 0.11, -1.0, 2.0
#: A beat that the log does not show may lie so far off, either way (tuned).
UNSEEN_REACH_S = 0.15
#: How far a clock made of sounds may pass the beats expected so far, in intervals (tuned).
PASS_INTERVALS = 0.6


def follow_track(
    expected: Expectation, delay_s: FloatArray, cuff_mmhg: FloatArray, heard: FloatArray
) -> Expectation:
    """Fit the delay's track over cuff pressure and expect the next round's sounds on it.

    Parameters
    ----------
    expected
        What was expected so far.
    delay_s, cuff_mmhg, heard
        Delay found, cuff pressure and probability of a sound at each beat,
        shape ``(n,)``.

    Returns
    -------
    Expectation
        On the track; as before, with no slope, where fewer than four beats sound.
    """
    weight = np.where(heard > 0.5, heard, 0.0)
    if weight.sum() < 4:
        return Expectation(
            reference_s=expected.reference_s,
            delay_s=expected.delay_s,
            spread_s=expected.spread_s,
            slope_s_per_mmhg=0.0,
            error_s=expected.error_s,
        )
    error_s = expected.error_s
    slope, miss = _straight(delay_s, cuff_mmhg, weight, LOOSE_S + error_s)
    robust = weight / (1 + (miss / (ROBUST_S + error_s)) ** 2)
    sounding = weight > 0
    low, high = float(cuff_mmhg[sounding].min()), float(cuff_mmhg[sounding].max())
    # Beyond the sounds the crossing has reached the top or the foot of the upstroke.
    within = np.clip(cuff_mmhg, low - TRACK_REACH_MMHG, high + TRACK_REACH_MMHG)
    track = _bent(within, np.clip(within, low, high), delay_s, cuff_mmhg, robust, slope)
    miss = delay_s - track
    scatter = float(
        np.sqrt(
            np.average(
                np.minimum(np.abs(miss[sounding]), MOST_MISS_S + error_s) ** 2,
                weights=robust[sounding],
            )
        )
    )
    beyond = np.maximum(np.maximum(low - cuff_mmhg, cuff_mmhg - high), 0.0)
    spread_s = max(TRACK_SPREAD_S, scatter) + TRACK_SPREAD_S_PER_MMHG * beyond
    return Expectation(
        reference_s=expected.reference_s,
        delay_s=track,
        spread_s=np.minimum(spread_s, WIDEST_SPREAD_S + error_s),
        slope_s_per_mmhg=slope,
        error_s=error_s,
    )


def let_beats_move(
    expected: Expectation, chart: DelayMap, seen: NDArray[np.bool_]
) -> tuple[Expectation, FloatArray]:
    """Expect a beat off the track where the map shows it there and not on it.

    The pulse of a weak beat (alternans, a beat that came early) crosses the
    cuff's pressure nearer to its top than its neighbours' pulses do: it sounds
    later.  A beat that the log does not show may sound earlier, too.

    Parameters
    ----------
    expected
        On the track.
    chart
        Map of the same beats.
    seen
        Whether the log shows each beat, shape ``(n,)``.

    Returns
    -------
    expected, moved_s
        What is expected now, and how much later each beat is; shape ``(n,)``.
    """
    near_s = LATE_FROM_S + expected.error_s
    first_s = np.where(seen, near_s + STEP_S, -UNSEEN_REACH_S)
    last_s = np.where(seen, LATEST_AFTER_S, UNSEEN_REACH_S)
    on_track, _ = chart.near(expected.delay_s, near_s)
    middle_s, reach_s = 0.5 * (first_s + last_s), 0.5 * (last_s - first_s)
    odds, place_s = chart.near(expected.delay_s + middle_s, reach_s)
    moved = (odds > LEAST_LATE_ODDS) & (odds > on_track + LATE_MARGIN_NATS)
    delay_s = np.where(moved, place_s, expected.delay_s)
    return replace(expected, delay_s=delay_s), delay_s - expected.delay_s


def _straight(
    delay_s: FloatArray, cuff_mmhg: FloatArray, weight: FloatArray, loose_s: float
) -> tuple[float, FloatArray]:
    """Robust straight line through the delays: its slope, and what it misses."""
    x = cuff_mmhg - float(np.average(cuff_mmhg, weights=weight))
    robust = weight.copy()
    level = slope = 0.0
    miss = delay_s
    for _ in range(5):
        level = float(np.average(delay_s - slope * x, weights=robust))
        usual = USUAL_BEATS * 100.0
        spread = float(np.sum(robust * x * x)) + usual
        pull = float(np.sum(robust * x * (delay_s - level))) + usual * USUAL_S_PER_MMHG
        slope = float(np.clip(pull / spread, 0.0, STEEPEST_S_PER_MMHG))
        miss = delay_s - level - slope * x
        robust = weight / (1 + (miss / loose_s) ** 2)
    return slope, miss


def _bent(
    at_mmhg: FloatArray,
    near_mmhg: FloatArray,
    delay_s: FloatArray,
    cuff_mmhg: FloatArray,
    weight: FloatArray,
    slope_s_per_mmhg: float,
) -> FloatArray:
    """Local straight lines, drawn towards the whole slope; an upstroke is not straight."""
    x = cuff_mmhg[None, :] - near_mmhg[:, None]
    w = weight[None, :] * np.exp(-0.5 * (x / BEND_MMHG) ** 2) + 1e-6 * weight[None, :]
    total = w.sum(axis=1)
    middle = (w * x).sum(axis=1) / total
    level = (w * delay_s[None, :]).sum(axis=1) / total
    away = x - middle[:, None]
    pull = BEND_BEATS * BEND_MMHG**2 / 4
    local = ((w * away * delay_s[None, :]).sum(axis=1) + pull * slope_s_per_mmhg) / (
        (w * away * away).sum(axis=1) + pull
    )
    local = np.clip(local, 0.0, STEEPEST_S_PER_MMHG)
    return np.asarray(level + local * (at_mmhg - near_mmhg - middle))


def steady_clock(
    onset_s: FloatArray, heard: FloatArray, expected: Expectation
) -> tuple[Expectation, FloatArray]:
    """Trust the beats heard, fill in between them, and run on evenly beyond.

    Parameters
    ----------
    onset_s, heard
        Start found and probability of a sound at each beat, shape ``(n,)``.
    expected
        What was expected so far.

    Returns
    -------
    expected : Expectation
        Perhaps of another number of beats; as before where fewer than four sound.
    real : ndarray
        How likely there was a beat at each.
    """
    sure = np.flatnonzero(heard > 0.5)
    before_s = expected.reference_s + expected.delay_s
    if sure.size < 4:
        blurred = Expectation(
            reference_s=before_s,
            delay_s=np.zeros(before_s.size),
            spread_s=np.full(before_s.size, SOUND_SPREAD_S + 3 * SOUND_SPREAD_S_PER_BEAT),
            slope_s_per_mmhg=0.0,
        )
        return blurred, np.ones(before_s.size)
    times = onset_s[sure]
    interval = np.diff(times)
    counts = np.maximum(np.rint(interval / float(np.median(interval))), 1.0)
    typical = float(np.median(interval / counts))
    clock = lay_out(times, counts, typical, float(before_s[0]), float(before_s[-1]), PASS_INTERVALS)
    spread_s = SOUND_SPREAD_S + SOUND_SPREAD_S_PER_BEAT * clock.away
    steady = Expectation(
        reference_s=clock.time_s,
        delay_s=np.zeros(clock.time_s.size),
        spread_s=np.minimum(spread_s, WIDEST_SOUND_SPREAD_S),
        slope_s_per_mmhg=0.0,
    )
    return steady, clock.real
