"""The category of an average, how sure it is, and how the average is shown beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tapfall.standards import VERY_HIGH_DIASTOLIC, VERY_HIGH_SYSTOLIC
from tapfall.visit.average import DECIMALS
from tapfall.visit.result import Counted, Mean, Placed
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


def shown_pair(scheme: Scheme, systolic_mmhg: float | None, diastolic_mmhg: float | None) -> str:
    """Return pressures as they are shown: whole mmHg, with decimals where those would mislead.

    Examples
    --------
    >>> from tapfall.visit import SCHEMES
    >>> shown_pair(SCHEMES["acc-aha-2025"], 139.6, 84.4)
    '139.6/84'
    """
    return "/".join(
        "?" if value is None else shown_mmhg(value, bounds, very_high.value)
        for value, bounds, very_high in (
            (systolic_mmhg, systolic_bounds(scheme), VERY_HIGH_SYSTOLIC),
            (diastolic_mmhg, diastolic_bounds(scheme), VERY_HIGH_DIASTOLIC),
        )
    )


def shown_reading(scheme: Scheme, one: Counted) -> str:
    """Return the pressures of a reading of a visit as they are shown, bounds as bounds.

    Examples
    --------
    >>> from tapfall.model import Diastolic, Reading, State, Status, Threshold
    >>> from tapfall.visit import SCHEMES, Taken, visit
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> reading = Reading(
    ...     status=Status.REVIEW, first_silence=nothing, muffling=nothing,
    ...     systolic=Threshold(state=State.NOT_REACHED, low_mmhg=171.2),
    ...     diastolic=Diastolic(state=State.OBSERVED, mmhg=88.0))
    >>> shown_reading(SCHEMES["acc-aha-2025"], visit([Taken(reading=reading)]).readings[0])
    'at least 171 / 88'
    """
    most, least = one.diastolic_at_most_mmhg, one.systolic_at_least_mmhg
    if most is None and least is None:
        return shown_pair(scheme, one.systolic_mmhg, one.diastolic_mmhg)
    upper, lower = shown_pair(
        scheme,
        one.systolic_mmhg if least is None else least,
        one.diastolic_mmhg if most is None else most,
    ).split("/")
    return " / ".join(
        (
            upper if least is None else f"at least {upper}",
            lower if most is None else f"at most {lower}",
        )
    )


def shown_mmhg(
    mmhg: float, bounds_mmhg: Sequence[float], very_high_mmhg: float, *, decimals: int = 0
) -> str:
    """Return a pressure with as few decimals as keep it on its side of every bound.

    Whole mmHg where they do (halves go up), else one decimal, and more only where one
    would cross the bound as well; at least ``decimals``.

    Examples
    --------
    >>> [shown_mmhg(one, (140.0,), 180.0) for one in (138.5, 139.5, 139.96, 140.4, 180.3)]
    ['139', '139.5', '139.96', '140', '180.3']
    """
    for many in range(decimals, DECIMALS):
        rounded = round(mmhg, many) if many else float(math.floor(mmhg + 0.5))
        same = all((mmhg >= bound) == (rounded >= bound) for bound in bounds_mmhg)
        if same and (mmhg > very_high_mmhg) == (rounded > very_high_mmhg):
            return f"{rounded:.{many}f}"
    return f"{mmhg:.{DECIMALS}f}"


def nearest_even(mmhg: float) -> int:
    """Return the nearest even number, as pressures are written down; for display only.

    Examples
    --------
    >>> nearest_even(128.9), nearest_even(129.0), nearest_even(129.7)
    (128, 130, 130)
    """
    return 2 * math.floor(mmhg / 2.0 + 0.5)
