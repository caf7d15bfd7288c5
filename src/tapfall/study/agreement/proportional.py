"""Does the difference change with the level: regression of Bland & Altman 1999."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.limits import LEVEL, Span, finite

#: Pairs below which no line is fitted (our choice).
LEAST_FOR_LINE = 10

SOURCE = "Bland & Altman 1999, section 3.2: regression on the mean of both methods"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proportional:
    """The line of the differences over the level, and that of their size about it.

    Limits at a level A are ``intercept + slope A -+ 2.46 (spread_intercept + spread_slope A)``:
    1.96 SDs of a normal error are 1.96 sqrt(pi / 2) times its mean size.
    """

    intercept: float
    slope: Span
    p_value: float
    spread_intercept: float
    spread_slope: Span
    spread_p_value: float


def proportional_bias(
    estimates: Sequence[float] | FloatArray, references: Sequence[float] | FloatArray
) -> Proportional:
    """Fit the difference, and the size of its residuals, over the mean of both methods.

    Parameters
    ----------
    estimates, references
        Independent pairs, shape (n,), n at least 10.

    Returns
    -------
    Proportional
        Slopes in mmHg for each mmHg, with intervals and p values.

    Raises
    ------
    InputError
        There are fewer, or all pairs lie at one level.

    Examples
    --------
    >>> levels = [100.0 + 5.0 * n for n in range(12)]
    >>> found = proportional_bias([1.1 * one + (-1) ** n for n, one in enumerate(levels)], levels)
    >>> round(found.slope.value, 2), found.p_value < 0.001
    (0.09, True)
    """
    first, second = finite(estimates, LEAST_FOR_LINE), finite(references, LEAST_FOR_LINE)
    if len(first) != len(second):
        raise InputError(f"found {len(first)} and {len(second)} values; allowed pairs")
    level = (first + second) / 2.0
    if at_one_level(level):
        raise InputError("found every pair at one level; allowed pairs at several")
    intercept, slope, p_value = line(level, first - second)
    residuals = np.abs(first - second - intercept - slope.value * level)
    spread_intercept, spread_slope, spread_p = line(level, residuals)
    return Proportional(
        intercept=intercept,
        slope=slope,
        p_value=p_value,
        spread_intercept=spread_intercept,
        spread_slope=spread_slope,
        spread_p_value=spread_p,
    )


def at_one_level(level: FloatArray) -> bool:
    """Whether levels, one or more, differ by no more than decimals as they are written do."""
    return float(np.ptp(level)) <= 1e-9 * float(np.abs(level).max())


def line(x: FloatArray, y: FloatArray) -> tuple[float, Span, float]:
    """Least squares: intercept, slope with 95 % interval, p of a slope of zero."""
    centred = x - x.mean()
    squares = float((centred**2).sum())
    slope = float((centred * y).sum()) / squares
    intercept = float(y.mean()) - slope * float(x.mean())
    freedom = len(x) - 2
    error = math.sqrt(float(((y - intercept - slope * x) ** 2).sum()) / freedom / squares)
    reach = float(stats.t.ppf((1.0 + LEVEL) / 2.0, freedom)) * error
    if error > 0.0:
        p_value = 2.0 * float(stats.t.sf(abs(slope) / error, freedom))
    else:
        p_value = 1.0 if slope == 0.0 else 0.0
    return intercept, Span(value=slope, low=slope - reach, high=slope + reach), p_value
