"""Whole pressures for a set, every last digit as often as any other, none twice.

Whoever rounds to 0 or 5, or writes even numbers only, must gain nothing by it.  A
simulated pressure is whatever it comes to; the scale of the cuff is then bent by a few
mmHg, smoothly and never so far that it stops rising, until both pressures are the wanted
whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray

#: Below this the scale is left as it is: the cuff at rest shows zero.
UNBENT_MMHG = 15.0
#: Farthest that a pressure is moved.
FARTHEST_MMHG = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """By how much the scale moves at systolic, at diastolic, and evenly in between."""

    systolic_mmhg: float
    diastolic_mmhg: float
    by_systolic_mmhg: float
    by_diastolic_mmhg: float

    def at(self, mmhg: FloatArray) -> FloatArray:
        """Pressures on the bent scale.

        Examples
        --------
        >>> bend = Bend(systolic_mmhg=121.4, diastolic_mmhg=78.2,
        ...             by_systolic_mmhg=1.6, by_diastolic_mmhg=-1.2)
        >>> bend.at(np.array([160.0, 121.4, 78.2, 0.0])).round(6).tolist()
        [161.6, 123.0, 77.0, 0.0]
        """
        low, high = self.diastolic_mmhg, self.systolic_mmhg
        return np.asarray(
            mmhg
            + np.interp(
                mmhg,
                [UNBENT_MMHG, low, high],
                [0.0, self.by_diastolic_mmhg, self.by_systolic_mmhg],
            )
        )


def whole_pressures(mmhg: FloatArray, rng: np.random.Generator) -> list[int]:
    """Choose a whole number near each pressure, digits shared evenly, none twice.

    Parameters
    ----------
    mmhg
        Pressures, shape ``(n,)``.
    rng
        Draws the order in which they choose, and the digits that stand once more often
        than others.

    Returns
    -------
    list of int
        Each last digit stands ``n // 10`` times or once more; the nearest free number is
        chosen, at most 7 mmHg away while there is one.

    Examples
    --------
    >>> rng = np.random.Generator(np.random.PCG64(1))
    >>> sorted(n % 10 for n in whole_pressures(np.linspace(92.0, 190.0, 10), rng))
    [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    """
    count = len(mmhg)
    quota = np.full(10, count // 10)
    quota[rng.permutation(10)[: count % 10]] += 1
    chosen: dict[int, int] = {}
    taken: set[int] = set()
    for i in rng.permutation(count).tolist():
        near = sorted(range(10, 300), key=lambda n: (abs(n - float(mmhg[i])), n))
        free = [n for n in near if n not in taken]
        wanted = [n for n in free if quota[n % 10] > 0]
        best = wanted[0] if abs(wanted[0] - float(mmhg[i])) <= FARTHEST_MMHG else free[0]
        chosen[i] = best
        taken.add(best)
        quota[best % 10] -= 1
    return [chosen[i] for i in range(count)]
