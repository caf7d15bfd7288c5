"""How large the cuff's own pulse is over the cuff's pressure.

It is largest near the mean pressure, smaller towards both thresholds (ratios at systolic
0.5-0.55: Geddes 1982, from memory; bell of the pulse: Liu 2014).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.cuff import Deflation
from tapfall.ear.pulses import Pulses
from tapfall.model import FloatArray

#: The size of the pulse is taken over this much pressure (our choice).
NEAR_MMHG = 6.0
#: Fewest pulses whose bell can be drawn (our choice).
LEAST_PULSES = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bell:
    """Mean size of the pulse, mmHg, at rising cuff pressures 1 mmHg apart; shape ``(n,)``."""

    cuff_mmhg: FloatArray
    size_mmhg: FloatArray

    @property
    def top_mmhg(self) -> float:
        """The highest pressure at which there is a pulse."""
        return float(self.cuff_mmhg[-1])

    @property
    def largest_mmhg(self) -> float:
        """Cuff pressure at which the pulse is largest."""
        return float(self.cuff_mmhg[int(np.argmax(self.size_mmhg))])

    def share_at(self, cuff_mmhg: FloatArray) -> FloatArray:
        """Size as a share of the largest, at any pressures; beyond the ends as at them."""
        largest = max(float(self.size_mmhg.max()), 1e-9)
        return np.interp(cuff_mmhg, self.cuff_mmhg, self.size_mmhg / largest)


def draw_bell(pulses: Pulses, deflation: Deflation, near_mmhg: float = NEAR_MMHG) -> Bell | None:
    """Draw the bell of the pulse.

    Parameters
    ----------
    pulses, deflation
        The cuff's pulses and its fall.
    near_mmhg
        Over how much pressure sizes are evened out, as a standard deviation.

    Returns
    -------
    Bell or None
        ``None`` where the log shows no pulse, or too few.
    """
    if not pulses.usable or pulses.time_s.size < LEAST_PULSES:
        return None
    pressure = deflation.pressure_mmhg(pulses.time_s)
    grid = np.arange(float(pressure.min()), float(pressure.max()) + 1.0)
    near = np.exp(-0.5 * ((grid[:, None] - pressure[None, :]) / near_mmhg) ** 2)
    return Bell(cuff_mmhg=grid, size_mmhg=(near @ pulses.size_mmhg) / near.sum(axis=1))
