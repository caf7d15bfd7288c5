"""How likely the systolic, read while the sounds go on, is still the systolic at the end.

A provisional reading's own confidence was fitted on whole recordings, and so was the
probability that its sounds are Korotkoff sounds at all: after three sounds it says little.
What the first beats look like, and those above them, tells how far to trust them already.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.confidence import CLEAR_DB, logit
from tapfall.ear.presence import PRESENCE
from tapfall.ear.pulses import Pulses
from tapfall.ear.swing import Swing, swing_of
from tapfall.ear.thresholds import systolic_of
from tapfall.ear.verdict import TOLERANCE_MMHG
from tapfall.ear.weighed import Weighed
from tapfall.model import FloatArray, State, Threshold

#: Confidence of a provisional systolic from which its promise is asked for: fitted on whole
#: recordings, it says little after three sounds (our choice; those the weights are fitted on).
LEAST_CONFIDENCE = 0.35
#: Fewest sounds that a promise rests on (our choice: two may be anything).
LEAST_SOUNDS = 3
#: Sounds from which on a lag that is not none is believed: an even rhythm fits again one beat
#: later, and what few sounds tell is another lag in the end (measured: of 51 calibration recordings
#: promised at one of nine sounds or more six broke the promise, of 32 from twelve on one).
SOUNDS_TELL_LAG = 12
#: Beats around the first sound whose evidence, and whose level, is looked at.
ODDS_AT, LEVEL_AT = range(-3, 5), range(-2, 5)
#: Names of the measures, in order.
EARLY = (
    *(f"{name}_of_all" for name in PRESENCE),
    "presence",
    "confidence",
    "stories_at_the_beat",
    "stories_within_4_mmhg",
    "stories_with_silence_above",
    "width_mmhg",
    "trend_error_mmhg",
    "sounds",
    "sounds_log",
    "beats_since",
    "beats_above",
    "fall_above_mmhg",
    "fall_since_mmhg",
    "highest_odds_above",
    "highest_heard_above",
    "heard_beyond",
    "heard_inside",
    "odds_beyond",
    "odds_inside",
    "odds_since",
    "odds_of_six",
    "odds_of_last",
    "anchored",
    "interval_s",
    "interval_spread",
    "lag_moved",
    "lag_width_s",
    "alternating",
    "gap",
    "lone_above",
    "step_mmhg",
    "log_rate_hz",
    "signal_to_noise",
    "pulse_share",
    "pulse_known",
    *(f"odds_at_{step}" for step in ODDS_AT),
    *(f"level_at_{step}" for step in LEVEL_AT),
)
#: Evidence of one beat, ratio, beats, rate and step that count at most.
MOST_ODDS, LEAST_DB, MOST_SINCE, MOST_ABOVE, MOST_RATE_HZ, MOST_STEP = (
    8.0,
    -10.0,
    12,
    15,
    30.0,
    10.0,
)
#: Width of a lag that counts at most, in seconds.
MOST_LAG_S = 4.0


def _at(values: FloatArray, index: int, steps: range, fill: float = 0.0) -> FloatArray:
    """Values so many beats from one of them, ``fill`` beyond the ends."""
    at = np.array([index + step for step in steps])
    there = (at >= 0) & (at < values.size)
    return np.where(there, values[np.clip(at, 0, values.size - 1)], fill)


def early_measures(
    weighed: Weighed, systolic: Threshold, swing: Swing | None, now_mmhg: float
) -> FloatArray:
    """Measures that the promise of a systolic rests on.

    Parameters
    ----------
    weighed
        What was heard so far.
    systolic
        The observed threshold that it gives.
    swing
        How far the cuff's pulse has come.
    now_mmhg
        Cuff pressure at the end of what was heard.

    Returns
    -------
    ndarray
        Shape ``(len(EARLY),)``.
    """
    told = weighed.told
    listening, ruled, quality = told.listening, told.ruled, weighed.quality
    mmhg = systolic.mmhg or 0.0
    cuff, heard = told.cuff_mmhg, told.heard
    odds = np.clip(listening.evidence.log_odds[told.beats], -MOST_ODDS, MOST_ODDS)
    level = listening.evidence.measure("own_over_floor")[told.beats]
    first = int(np.argmin(np.abs(cuff - mmhg)))
    stories = np.bincount(ruled.first[ruled.first >= 0], minlength=cuff.size) / ruled.first.size
    interval_s = np.maximum(np.diff(told.onset_s), 0.05)
    sounds = float((heard[first:] > 0.5).sum())
    ratio_db, lag = quality.signal_to_noise_db, listening.lag
    plain = np.array(
        [
            logit(weighed.present),
            logit(systolic.confidence or 0.0),
            logit(float(stories[first])),
            logit(float(stories[np.abs(cuff - mmhg) <= TOLERANCE_MMHG].sum())),
            float(ruled.systolic_seen.mean()),
            (systolic.high_mmhg or mmhg) - (systolic.low_mmhg or mmhg),
            told.error_mmhg,
            sounds,
            float(np.log1p(sounds)),
            float(min(cuff.size - 1 - first, MOST_SINCE)),
            float(min(first, MOST_ABOVE)),
            float(cuff[: first + 1].max()) - mmhg,
            mmhg - now_mmhg,
            float(odds[: max(first - 1, 0)].max(initial=-MOST_ODDS)),
            float(heard[:first].max(initial=0.0)),
            float(_at(heard, first, range(-2, 0)).max()),
            float(_at(heard, first, range(3), 0.5).min()),
            float(_at(odds, first, range(-2, 0), -MOST_ODDS).max()),
            float(_at(odds, first, range(3)).min()),
            float(odds[first:].mean()),
            float(odds[first : first + 6].sum()),
            float(odds[-1]),
            float(listening.anchored),
            float(np.median(interval_s)) if interval_s.size > 1 else 0.8,
            float(np.std(np.log(interval_s))) if interval_s.size > 1 else 0.0,
            float(lag.seconds != 0.0),
            min(4 * lag.error_s, MOST_LAG_S) if lag.clear else MOST_LAG_S,
            float(ruled.alternating_first.mean()),
            float((ruled.gap_upper >= 0).mean()),
            float(ruled.lone_above.mean()),
            min(quality.deflation_mmhg_per_beat or 0.0, MOST_STEP),
            min(quality.log_rate_hz or 0.0, MOST_RATE_HZ),
            CLEAR_DB if ratio_db is None else float(np.clip(ratio_db, LEAST_DB, CLEAR_DB)),
            1.0 if swing is None else swing.share,
            float(swing is not None),
        ]
    )
    around = (_at(odds, first, ODDS_AT), _at(level, first, LEVEL_AT))
    return np.concatenate([weighed.whole, plain, *around])


def systolic_promise(weighed: Weighed, pulses: Pulses) -> float:
    """Probability that the systolic so far lies within 4 mmHg of the one at the end.

    Parameters
    ----------
    weighed
        What was heard so far.
    pulses
        Beats on the log so far.

    Returns
    -------
    float
        0 where no systolic can be told, or sounds are too few for it or for the lag.
    """
    systolic = systolic_of(weighed.told, weighed.present, LEAST_CONFIDENCE)
    least = LEAST_SOUNDS if weighed.listening.lag.seconds == 0.0 else SOUNDS_TELL_LAG
    few = (weighed.told.heard > 0.5).sum() < least
    if systolic.state is not State.OBSERVED or few:
        return 0.0
    now_mmhg = float(weighed.told.deflation.trend_mmhg[-1])
    measures = early_measures(weighed, systolic, swing_of(pulses), now_mmhg)
    anchored = weighed.listening.anchored
    network = CALIBRATION.early if anchored else CALIBRATION.early_by_sounds
    return round(network.chance(measures), 4)
