"""The category of an average, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence

from tapfall.visit.result import Mean, Placed
from tapfall.visit.schemes import ISOLATED_DIASTOLIC_MMHG, ISOLATED_SYSTOLIC_MMHG, Scheme


def rank_of(value_mmhg: float, bounds_mmhg: Sequence[float | None]) -> int:
    """Return the highest category whose lower bound a pressure reaches.

    Examples
    --------
    >>> [rank_of(value, (None, 120.0, 130.0)) for value in (119.99, 120.0, 131.0)]
    [0, 1, 2]
    """
    return max(
        (
            rank
            for rank, bound in enumerate(bounds_mmhg)
            if bound is not None and value_mmhg >= bound
        ),
        default=0,
    )


def ranks(scheme: Scheme, systolic_mmhg: float, diastolic_mmhg: float) -> tuple[int, int]:
    """Return the places of the categories of systolic and diastolic, each alone."""
    return (
        rank_of(systolic_mmhg, [one.systolic_mmhg for one in scheme.categories]),
        rank_of(diastolic_mmhg, [one.diastolic_mmhg for one in scheme.categories]),
    )


def category_of(scheme: Scheme, systolic_mmhg: float, diastolic_mmhg: float) -> str:
    """Name the category of a pair of unrounded pressures: the higher of the two.

    Examples
    --------
    >>> from tapfall.visit import SCHEMES
    >>> category_of(SCHEMES["esh-2023"], 165.0, 84.0)
    'grade 2, isolated systolic'
    >>> category_of(SCHEMES["esc-2024"], 118.0, 72.0)
    'elevated'
    """
    name = scheme.categories[max(ranks(scheme, systolic_mmhg, diastolic_mmhg))].name
    high = systolic_mmhg >= ISOLATED_SYSTOLIC_MMHG, diastolic_mmhg >= ISOLATED_DIASTOLIC_MMHG
    if scheme.isolated_systolic and high == (True, False):
        return f"{name}, isolated systolic"
    if scheme.isolated_diastolic and high == (False, True):
        return f"{name}, isolated diastolic"
    return name


def place(scheme: Scheme, systolic: Mean, diastolic: Mean) -> Placed:
    """Place an average in a scheme, with every category its 95 % intervals touch.

    Parameters
    ----------
    scheme
        The scheme.
    systolic, diastolic
        The averages.

    Examples
    --------
    >>> from tapfall.visit import SCHEMES
    >>> systolic = Mean(mmhg=139.0, low_mmhg=137.0, high_mmhg=141.0)
    >>> diastolic = Mean(mmhg=78.0, low_mmhg=77.0, high_mmhg=79.0)
    >>> place(SCHEMES["acc-aha-2025"], systolic, diastolic).could_be
    ('stage 1', 'stage 2')
    """
    first, second = ranks(scheme, systolic.mmhg, diastolic.mmhg)
    category = category_of(scheme, systolic.mmhg, diastolic.mmhg)
    bounds = systolic_bounds(scheme), diastolic_bounds(scheme)
    touched = {
        (max(ranks(scheme, one, other)), category_of(scheme, one, other))
        for one in _touched(systolic, bounds[0])
        for other in _touched(diastolic, bounds[1])
    }
    could_be = tuple(dict.fromkeys(name for _, name in sorted(touched)))
    known = None not in (systolic.low_mmhg, diastolic.low_mmhg)
    return Placed(
        category=category,
        systolic=scheme.categories[first].name,
        diastolic=scheme.categories[second].name,
        certain=known and could_be == (category,),
        could_be=could_be,
    )


def systolic_bounds(scheme: Scheme) -> tuple[float, ...]:
    """Every systolic bound of a scheme, mmHg."""
    found = {one.systolic_mmhg for one in scheme.categories}
    return tuple(sorted(one for one in found if one is not None))


def diastolic_bounds(scheme: Scheme) -> tuple[float, ...]:
    """Every diastolic bound of a scheme, mmHg."""
    found = {one.diastolic_mmhg for one in scheme.categories}
    return tuple(sorted(one for one in found if one is not None))


def _touched(mean: Mean, bounds_mmhg: Sequence[float]) -> list[float]:
    """One pressure of an interval in each category that it touches."""
    low = mean.mmhg if mean.low_mmhg is None else mean.low_mmhg
    high = mean.mmhg if mean.high_mmhg is None else mean.high_mmhg
    return [low, mean.mmhg, high, *(one for one in bounds_mmhg if low <= one <= high)]
