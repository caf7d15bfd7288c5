"""Whole pressures for a set, every last digit as often as any other, none twice.

Whoever rounds to 0 or 5, or writes even numbers only, must gain nothing by it.  A
simulated pressure is whatever it comes to; the scale of the cuff is then bent by a few
mmHg, smoothly and never so far that it stops rising, until both pressures are the wanted
whole numbers.  A bend with corners would let a program find both on the dial, where the
rate of the fall changes at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import linprog

from tapfall.model import FloatArray

#: Below this the scale is left as it is: the cuff at rest shows zero.
UNBENT_MMHG = 15.0
#: The bend at systolic is kept above it; a monotone cubic needs a knot there.
_ABOVE_MMHG = 400.0
#: Farthest that a pressure is moved.
FARTHEST_MMHG = 7.0
#: What a number that stands twice costs, mmHg squared: more than any other way.
_TWICE = 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """By how much the scale moves at systolic, at diastolic, and smoothly in between."""

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
        by = [0.0, 0.0, self.by_diastolic_mmhg, self.by_systolic_mmhg, self.by_systolic_mmhg]
        bend = PchipInterpolator([0.0, UNBENT_MMHG, low, high, _ABOVE_MMHG], by)
        return np.asarray(mmhg + bend(np.clip(mmhg, 0.0, _ABOVE_MMHG)))


def whole_pressures(mmhg: FloatArray, rng: np.random.Generator) -> list[int]:
    """Choose a whole number near each pressure, digits shared evenly, none twice.

    Parameters
    ----------
    mmhg
        Pressures, shape ``(n,)``.
    rng
        Draws the digits that stand once more often than others.

    Returns
    -------
    list of int
        Each last digit stands ``n // 10`` times or once more, none is more than 7 mmHg away
        and their squared distances are least.  No number stands twice as long as there are
        numbers enough: diastolic pressures of 70 and more people leave too few.

    Examples
    --------
    >>> rng = np.random.Generator(np.random.PCG64(1))
    >>> sorted(n % 10 for n in whole_pressures(np.linspace(92.0, 190.0, 10), rng))
    [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    """
    count = len(mmhg)
    quota = np.full(10, count // 10)
    quota[rng.permutation(10)[: count % 10]] += 1
    # A flow from people over numbers to digits: its best solution is whole by itself.
    pairs = [
        (i, number)
        for i, value in enumerate(mmhg.tolist())
        for number in range(math.ceil(value - FARTHEST_MMHG), math.floor(value + FARTHEST_MMHG) + 1)
    ]
    people = np.array([i for i, _ in pairs])
    numbers, number = np.unique([value for _, value in pairs], return_inverse=True)
    size = len(pairs)
    away = np.array([(value - float(mmhg[i])) ** 2 for i, value in pairs])
    cost = np.concatenate([away + 1e-3 * rng.random(size), np.full(numbers.size, _TWICE)])
    column, extra = np.arange(size), np.arange(numbers.size)
    exactly = np.zeros((count + 10, cost.size))
    exactly[people, column] = 1.0
    exactly[count + np.array([value % 10 for _, value in pairs]), column] = 1.0
    at_most = np.zeros((numbers.size, cost.size))
    at_most[number, column] = 1.0
    at_most[extra, size + extra] = -1.0
    found = linprog(
        cost,
        A_ub=at_most,
        b_ub=np.ones(numbers.size),
        A_eq=exactly,
        b_eq=np.concatenate([np.ones(count), quota]),
        method="highs-ds",
    )
    assert found.x is not None  # numbers may stand twice, so there is always a way
    chosen = np.flatnonzero(found.x[:size] > 0.5)
    return [pairs[int(k)][1] for k in chosen]
