"""Whether the beats that seem to sound are Korotkoff sounds at all.

A decoding always finds the best story, also in noise, speech or heart sounds.
Measures of the story as a whole tell whether it holds: how far its sounds
stand out from its silences, how alike they are, whether their delay follows
the cuff.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.judge import Listening
from tapfall.model import FloatArray

#: Names of the measures, in order.
PRESENCE = (
    "gain",
    "sounds",
    "share_sounding",
    "likeness",
    "loud_over_floor",
    "delay_slope",
    "anchored",
    "fixed_contrast",
    "leader_contrast",
    "polarity",
    "log_odds",
    "sounds_at_top",
    "sounds_at_end",
    "own_over_loud",
    "charted",
    "charted_contrast",
    "delay_deviation",
    "rest_contrast",
    "turns",
    "delay_spread",
    "contrast",
)
#: Contrast of sounds to the beats around them where the log's pulses make the clock, and it
#: is not asked for, and how far it is told apart where the sounds do (our choice).
PLAIN_CONTRAST, CONTRAST_NATS = 4.0, (-2.0, 10.0)


def presence_measures(listening: Listening) -> FloatArray:
    """Measures of a listening as a whole.

    Parameters
    ----------
    listening
        What was heard.

    Returns
    -------
    ndarray
        Shape ``(len(PRESENCE),)``.
    """
    story, evidence = listening.story, listening.evidence
    sounding = story.heard > 0.5

    def middle(values: FloatArray, chosen: np.ndarray) -> float:
        return float(np.median(values[chosen])) if chosen.any() else 0.0

    def contrast(name: str) -> float:
        values = evidence.measure(name)
        return middle(values, sounding) - middle(values, ~sounding)

    return np.array(
        [
            np.sign(story.gain_nats) * np.log1p(abs(story.gain_nats)),
            np.log1p(story.heard.sum()),
            float(story.heard.mean()),
            listening.template.likeness,
            float(evidence.measure("loud_over_floor")[0]),
            float(evidence.measure("delay_slope")[0]),
            float(listening.anchored),
            contrast("own_over_fixed"),
            contrast("leader_over_floor"),
            middle(evidence.measure("polarity"), sounding),
            middle(evidence.log_odds, sounding),
            float(story.heard[:3].mean()),
            float(story.heard[-3:].mean()),
            middle(evidence.measure("own_over_loud"), sounding),
            middle(evidence.measure("charted"), sounding),
            contrast("charted"),
            float(np.mean(evidence.measure("delay_deviation")[sounding]))
            if sounding.any()
            else 0.0,
            contrast("rest_over_floor"),
            float(np.mean(np.abs(np.diff(story.heard)))),
            middle(evidence.measure("delay_spread"), sounding),
            PLAIN_CONTRAST
            if listening.contrast_nats is None
            else float(np.clip(listening.contrast_nats, *CONTRAST_NATS)),
        ]
    )


def presence(measures: FloatArray) -> float:
    """Probability that a listening holds a run of Korotkoff sounds.

    Parameters
    ----------
    measures
        Of the listening as a whole, as :func:`presence_measures` takes them; whether the log's
        pulses make the clock says which of two networks weighs them.

    Returns
    -------
    float
        At even prior odds.
    """
    anchored = measures[PRESENCE.index("anchored")] > 0
    network = CALIBRATION.presence if anchored else CALIBRATION.presence_by_sounds
    return network.chance(measures)
