"""How likely a value is right, and how far its interval has to reach.

The stories within 4 mmHg say how sure the model is of itself; how far the
sounds stand out, how alike they are and how wide a beat's step is say how far
to trust the model.  The weights are fitted on calibration recordings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.calibration import CALIBRATION, SURE
from tapfall.ear.verdict import Edge
from tapfall.model import FloatArray

#: Names of the measures, in order.
CONFIDENCE = (
    "stories_within_4_mmhg",
    "presence",
    "likeness",
    "loud_over_floor",
    "step_mmhg",
    "width_mmhg",
    "log_odds_inside",
    "log_odds_beyond",
    "least_margin",
    "anchored",
    "lag_moved",
    "share_sounding",
    "edge_over_floor",
    "signal_to_noise",
    "interval_spread",
    "unevenness",
    "alternating",
    "sounds_above",
)
#: A ratio that was not measured, or beyond this, counts as this.
CLEAR_DB = 30.0


def logit(probability: float) -> float:
    """Log odds of a probability, bounded where it is next to certain."""
    bounded = min(max(probability, 0.002), 0.998)
    return float(np.log(bounded / (1 - bounded)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AtBeats:
    """Each expected beat, shape ``(n,)``.

    Evidence of a sound, its probability, its level over the noise in nats, and the pressure.
    """

    log_odds: FloatArray
    heard: FloatArray
    level: FloatArray
    cuff_mmhg: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class OfWhole:
    """What is known of a listening as a whole.

    ``present`` is the probability that its sounds are Korotkoff sounds, ``likeness`` how alike
    they are and ``loud_over_floor`` how far the loud ones stand out, ``interval_spread`` the
    standard deviation of the log intervals, ``uneven`` their change from beat to beat
    (:mod:`tapfall.ear.rhythm`), and ``sounds_above`` the probability that sounds lie above the
    first one read.
    """

    present: float
    likeness: float
    loud_over_floor: float
    anchored: bool
    lag_moved: bool
    signal_to_noise_db: float | None
    interval_spread: float
    uneven: float
    sounds_above: float


def confidence_measures(
    found: Edge, beats: AtBeats, whole: OfWhole, *, inward: int, alternating: float
) -> FloatArray:
    """Measures that the confidence in one threshold rests on.

    Parameters
    ----------
    found
        The threshold in the posterior.
    beats, whole
        What was heard.
    inward
        Step from the threshold into the sounds: 1 for the systolic, -1 for
        the diastolic.
    alternating
        Share of the stories in which the threshold lies on alternate beats.

    Returns
    -------
    ndarray
        Shape ``(len(CONFIDENCE),)``.
    """
    last, ratio_db = beats.log_odds.size - 1, whole.signal_to_noise_db

    def near(values: FloatArray, *steps: int) -> FloatArray:
        index = np.clip([found.index + inward * step for step in steps], 0, last)
        return np.asarray(np.clip(values[index], -8.0, 8.0))

    inside, beyond = near(beats.log_odds, 0, 1), near(beats.log_odds, -1, -2)
    return np.array(
        [
            logit(found.mass),
            logit(whole.present),
            whole.likeness,
            whole.loud_over_floor,
            float(np.median(np.abs(np.diff(beats.cuff_mmhg)))),
            found.high_mmhg - found.low_mmhg,
            float(inside.mean()),
            float(beyond.mean()),
            float(min(inside.min(), -beyond.max())),
            float(whole.anchored),
            float(whole.lag_moved),
            float(beats.heard.mean()),
            float(near(beats.level, 0, 1).mean()),
            CLEAR_DB if ratio_db is None else min(ratio_db, CLEAR_DB),
            whole.interval_spread,
            whole.uneven,
            alternating,
            logit(whole.sounds_above),
        ]
    )


def confidence(measures: FloatArray, kind: str) -> float:
    """Probability that the value lies within 4 mmHg of an expert's; ``kind`` names it."""
    return round(CALIBRATION.confidence[kind].chance(measures), 4)


def widening_mmhg(sure: float, kind: str, *, anchored: bool) -> float:
    """How much wider an interval has to be on each side at this confidence.

    ``anchored`` tells whether the log's pulses make the clock, not the sounds alone.
    """
    name = kind if anchored else f"{kind}_by_sounds"
    return CALIBRATION.widening_mmhg[name] * max(SURE - sure, 0.0)
