"""How likely a provisional diastolic is still the diastolic at the end.

A provisional reading's own confidence was fitted on whole recordings.  What is to come
can change it: the lag becomes clear, sounds come back.  How many beats speak already, how
long it has been silent, and how the value has held so far, tell how far to trust it.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.confidence import CLEAR_DB, logit
from tapfall.ear.swing import Swing
from tapfall.model import Beat, Flag, FloatArray, Reading, Threshold

#: Names of the measures, in order.
LATE = (
    "confidence",
    "width_mmhg",
    "sounds",
    "silent_beats",
    "silence_mmhg",
    "heard_inside",
    "heard_beyond",
    "held_mmhg",
    "signal_to_noise",
    "lag_moved",
    "lag_width_s",
    "irregular",
    "alternating",
    "broken",
    "step_mmhg",
    "coarse_log",
    "pulse_share",
    "pulse_known",
    "level_share",
)
#: A value that was not there before, or was further off, counts as this far off.
NOT_HELD_MMHG = 10.0
#: Most beats and mmHg of silence that count.
MOST_BEATS, MOST_MMHG = 12, 40.0
#: Flags of sounds that are not one run.
_BROKEN = {Flag.ISOLATED_SOUND, Flag.SILENT_GAP, Flag.BREATH_DEPENDENT_SOUNDS}


def late_measures(
    value: Threshold,
    reading: Reading,
    swing: Swing | None,
    *,
    level_mmhg: float,
    before_mmhg: float | None,
) -> FloatArray:
    """Measures that the promise of a diastolic rests on.

    Parameters
    ----------
    value
        The observed diastolic of a provisional reading.
    reading
        That reading, with at least one beat that sounds.
    swing
        How far the cuff's pulse has come.
    level_mmhg
        Cuff pressure now.
    before_mmhg
        That of the provisional reading before.

    Returns
    -------
    ndarray
        Shape ``(len(LATE),)``.
    """
    beats, quality, flags = reading.beats, reading.quality, set(reading.flags)
    mmhg = value.mmhg or 0.0
    sounding = [i for i, beat in enumerate(beats) if beat.heard >= 0.5]
    edge = min(range(len(beats)), key=lambda i: abs(beats[i].cuff_mmhg - mmhg))
    silence_mmhg = beats[sounding[-1]].cuff_mmhg - level_mmhg
    off_mmhg = NOT_HELD_MMHG if before_mmhg is None else abs(before_mmhg - mmhg)
    ratio_db = quality.signal_to_noise_db
    lag = reading.lag
    return np.array(
        [
            logit(value.confidence or 0.0),
            (value.high_mmhg or mmhg) - (value.low_mmhg or mmhg),
            float(np.log1p(len(sounding))),
            float(min(len(beats) - 1 - sounding[-1], MOST_BEATS)),
            min(max(silence_mmhg, 0.0), MOST_MMHG),
            min(_heard(beats, edge - step) for step in (0, 1, 2)),
            max(_heard(beats, edge + step) for step in (1, 2)),
            min(off_mmhg, NOT_HELD_MMHG),
            CLEAR_DB if ratio_db is None else min(ratio_db, CLEAR_DB),
            float(Flag.LAG_CORRECTED in flags),
            0.0 if lag is None else min(lag.high_s - lag.low_s, 4.0),
            float(Flag.IRREGULAR_RHYTHM in flags),
            float(Flag.ALTERNATING in flags),
            float(bool(_BROKEN & flags)),
            min(quality.deflation_mmhg_per_beat or 0.0, 10.0),
            float(Flag.COARSE_CUFF_LOG in flags),
            1.0 if swing is None else swing.share,
            float(swing is not None),
            level_mmhg / max(reading.systolic.mmhg or mmhg, 1.0),
        ]
    )


def _heard(beats: tuple[Beat, ...], index: int) -> float:
    """Log odds that a beat sounds; beyond the ends, nothing is known."""
    return logit(beats[index].heard) if 0 <= index < len(beats) else 0.0


def diastolic_promise(measures: FloatArray) -> float:
    """Probability that the final diastolic lies within 4 mmHg of the provisional one."""
    by_sounds = measures[LATE.index("coarse_log")] > 0
    network = CALIBRATION.late_by_sounds if by_sounds else CALIBRATION.late
    return round(network.chance(measures), 4)
