"""How evenly the heart beats, from the beats that are sure."""

from __future__ import annotations

import numpy as np

from tapfall.ear.judge import Listening
from tapfall.model import FloatArray

#: Fewest intervals that tell a rhythm.
LEAST_INTERVALS = 5
#: An interval of more than so many typical ones holds a beat that was missed.
MOST_TYPICAL = 1.7
#: Unevenness of the intervals beyond which a rhythm is irregular
#: (sinus rhythm stays well below, atrial fibrillation above; common practice).
IRREGULAR_VARIATION = 0.12


def unevenness(listening: Listening) -> float | None:
    """Mean change from one interval to the next, over the mean interval.

    Parameters
    ----------
    listening
        What was heard; where only the sounds make the clock, they alone count, for the beats
        between and beyond them are filled in evenly.

    Returns
    -------
    float or None
        Breathing and drift hardly count, for they are slow; ``None`` where fewer than
        ``LEAST_INTERVALS`` intervals are known.
    """
    times = listening.expected.reference_s
    if not listening.anchored:
        times = listening.onset_s[listening.story.heard > 0.5]
    interval = np.diff(times)
    if interval.size < LEAST_INTERVALS:
        return None
    interval = interval[interval < MOST_TYPICAL * typical_s(interval)]
    return float(np.mean(np.abs(np.diff(interval)))) / float(np.mean(interval))


def typical_s(interval_s: FloatArray) -> float:
    """Typical interval: in bigeminy neither the short nor the long one, but their mean."""
    if interval_s.size < 2:
        return float(np.median(interval_s))
    return float(np.median(0.5 * (interval_s[1:] + interval_s[:-1])))
