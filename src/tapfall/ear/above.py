"""Whether sounds lie above the first one read: unheard, or above the top of the cuff.

Who inflates into a silent gap, or does not hear the few sounds above one, reads
far too low; but the cuff's own pulse knows.  It is largest near the mean
pressure, about half as large at systolic and smaller above it (ratios 0.5-0.55:
Geddes 1982, from memory; bell of the pulse: Liu 2014).  A small network, fitted
on simulated recordings, weighs that.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.cuff import Deflation
from tapfall.ear.pulses import Pulses
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
#: The size of the pulse is taken over this much pressure.
NEAR_MMHG = 6.0
#: Fewest pulses whose bell can be drawn.
LEAST_PULSES = 10


def above_measures(
    pulses: Pulses,
    deflation: Deflation,
    systolic_mmhg: float,
    diastolic_mmhg: float,
    first_sounds: float,
) -> FloatArray | None:
    """What tells whether sounds lie above the first one read.

    Parameters
    ----------
    pulses, deflation
        The cuff's pulses and its fall.
    systolic_mmhg, diastolic_mmhg
        First and last sound.
    first_sounds
        Level of the first two sounds against the loudest, nats.

    Returns
    -------
    ndarray or None
        Shape ``(len(ABOVE),)``; ``None`` where the pulse is not seen.
    """
    if not pulses.usable or pulses.time_s.size < LEAST_PULSES:
        return None
    pressure = deflation.pressure_mmhg(pulses.time_s)
    grid = np.arange(float(pressure.min()), float(pressure.max()) + 1.0)
    near = np.exp(-0.5 * ((grid[:, None] - pressure[None, :]) / NEAR_MMHG) ** 2)
    size = (near @ pulses.size_mmhg) / near.sum(axis=1)
    size = size / max(float(size.max()), 1e-9)
    top, largest = float(grid[-1]), float(grid[int(np.argmax(size))])
    over, under = systolic_mmhg - largest, largest - diastolic_mmhg
    return np.array(
        [
            float(size[-1]),
            float(np.interp(systolic_mmhg, grid, size)),
            over / UNIT_MMHG,
            under / UNIT_MMHG,
            (top - systolic_mmhg) / UNIT_MMHG,
            over / max(systolic_mmhg - diastolic_mmhg, 10.0),
            first_sounds,
        ]
    )


def sounds_above(measures: FloatArray) -> float:
    """Probability that sounds lie far above the first one read, at even prior odds."""
    return CALIBRATION.above.chance(measures)
