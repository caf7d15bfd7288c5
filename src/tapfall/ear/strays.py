"""Sounds like the wanted ones that keep no step with the pulse: strays.

Fingers that tap, music, the examiner's own pulse under a thumb, another heart: each brings sounds
that look like Korotkoff sounds by themselves.  Where none of these is expected, above the first
and below the last one, they are easily told: what belongs to the pulse, a heart sound conducted
along the arm, comes at the same time after every beat, and a stray comes at any.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from tapfall.ear.onsets import STEP_S, find_onsets
from tapfall.ear.pulses import local_maxima
from tapfall.ear.told import Told

#: What is nearer to the first and the last sound than this share of a beat may belong to them (our
#: choice), and the beats beyond are all that is looked at.
APART_BEATS = 0.6
#: Marks this near to a likelier one are the same sound, and none counts that is less likely.
SAME_S, LEAST_LOG_ODDS = 0.02, -3.0


def strays_per_beat(told: Told) -> float:
    """How many strays come in a silent beat, one that is half likely being half a stray.

    Parameters
    ----------
    told
        Beats, which of them sound, and the bands they were heard in.

    Returns
    -------
    float
        0 where only sounds make the clock, or nothing sounds.
    """
    first, last, listening = told.first_sound, told.last_sound, told.listening
    bands = listening.nothing.bands
    if not listening.anchored or bands is None or first is None or last is None:
        return 0.0
    onsets = find_onsets(bands)
    beat_s, pulse_s = told.onset_s, listening.expected.reference_s
    interval_s = float(np.median(np.diff(pulse_s)))
    above_s = beat_s[first] - APART_BEATS * interval_s
    below_s = beat_s[last] + APART_BEATS * interval_s
    peaks = local_maxima(onsets.log_odds, round(SAME_S / STEP_S))
    odds, mark_s = onsets.log_odds[peaks], onsets.start_s + peaks * STEP_S
    before = np.searchsorted(pulse_s, mark_s, side="right") - 1
    wanted = (odds > LEAST_LOG_ODDS) & (before >= 0) & (before < pulse_s.size - 1)
    wanted &= (mark_s < above_s) | (mark_s > below_s)
    if not wanted.any():
        return 0.0
    before, mark_s, likely = before[wanted], mark_s[wanted], special.expit(odds[wanted])
    turn = (mark_s - pulse_s[before]) / np.diff(pulse_s)[before]
    # How far they keep step: one sound a beat, or two, at the same time after every pulse.
    step = max(abs(np.sum(likely * np.exp(2j * np.pi * k * turn))) for k in (1, 2))
    silent_s = max(above_s - beat_s[0], 0.0) + max(beat_s[-1] - below_s, 0.0)
    return float((likely.sum() - step) / max(silent_s / interval_s, 1.0))
