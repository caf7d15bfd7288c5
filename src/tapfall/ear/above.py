"""Whether sounds lie above the first one read: unheard, or above the top of the cuff.

Who inflates into a silent gap, or does not hear the few sounds above one, reads
far too low; but the cuff's own pulse knows (:mod:`tapfall.ear.bell`).  A small
network, fitted on simulated recordings, weighs that.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.bell import Bell
from tapfall.ear.calibration import CALIBRATION
from tapfall.model import FloatArray

#: Names of the measures, in order; pressures in units of 20 mmHg.
ABOVE = (
    "size_at_top",
    "size_at_systolic",
    "systolic_over_largest",
    "largest_over_diastolic",
    "top_over_systolic",
    "share_above",
    "first_sounds",
)
UNIT_MMHG = 20.0
#: Silence above the first sound tells no more beyond this: the network was fitted on up to 45 mmHg
#: of it, and further out it doubted every second cuff that was inflated far too high.
MOST_SILENCE_MMHG = 50.0


def above_measures(
    bell: Bell | None,
    systolic_mmhg: float,
    diastolic_mmhg: float,
    first_sounds: float,
) -> FloatArray | None:
    """What tells whether sounds lie above the first one read.

    Parameters
    ----------
    bell
        Size of the cuff's pulse, ``None`` where it is not seen.
    systolic_mmhg, diastolic_mmhg
        First and last sound.
    first_sounds
        Level of the first two sounds against the loudest, nats.

    Returns
    -------
    ndarray or None
        Shape ``(len(ABOVE),)``; ``None`` where the pulse is not seen.
    """
    if bell is None:
        return None
    largest_mmhg, top_mmhg = bell.largest_mmhg, bell.top_mmhg
    at_top, at_systolic = bell.share_at(np.array([top_mmhg, systolic_mmhg])).tolist()
    over, under = systolic_mmhg - largest_mmhg, largest_mmhg - diastolic_mmhg
    return np.array(
        [
            at_top,
            at_systolic,
            over / UNIT_MMHG,
            under / UNIT_MMHG,
            min(top_mmhg - systolic_mmhg, MOST_SILENCE_MMHG) / UNIT_MMHG,
            over / max(systolic_mmhg - diastolic_mmhg, 10.0),
            first_sounds,
        ]
    )


def sounds_above(measures: FloatArray) -> float:
    """Probability that sounds lie far above the first one read, at even prior odds."""
    return CALIBRATION.above.chance(measures)
