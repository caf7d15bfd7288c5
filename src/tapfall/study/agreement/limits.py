"""Difference of two methods: mean, SD, limits of agreement, ratio, shares, sample size.

A difference is the estimate minus the reference, everywhere.  The intervals of this
module take the pairs for independent of each other: one pair of each person.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.rows import SLACK_MMHG

#: Limits hold 95 % of the differences of a normal sample.
WIDTH_1999, WIDTH_1986 = 1.96, 2.0
#: Level of every interval.
LEVEL = 0.95
#: Pairs below which no SD is given.
LEAST_PAIRS = 2
#: Largest sample size that is looked for (our choice).
MOST_PAIRS = 10_000_000

SOURCE_1999 = "Bland & Altman, Stat Methods Med Res 1999;8:135-160"
SOURCE_1986 = "Bland & Altman, Lancet 1986;i:307-310"
SHARES_SOURCE = (
    "share of absolute differences, as in Bland & Altman 1999; exact binomial interval "
    "(Clopper & Pearson 1934, from memory)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A number with its 95 % interval; the ends are None where none can be given."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Mean difference, its SD, and the limits of agreement, in the unit of the data."""

    count: int
    mean: Span
    sd: float
    lower: Span
    upper: Span


def limits_of_agreement(
    differences: Sequence[float] | FloatArray, width: float = WIDTH_1999
) -> Limits:
    """Return the limits of agreement of independent pairs, with 95 % intervals.

    Parameters
    ----------
    differences
        Estimate minus reference, shape (n,), n at least 2.
    width
        SDs from the mean to a limit: 1.96 (1999) or 2 (1986).  With 2 the standard error
        of a limit is that of 1986, ``s sqrt(3 / n)``, else that of 1999.

    Returns
    -------
    Limits
        Mean, SD and both limits in the unit of the data.

    Raises
    ------
    InputError
        There are fewer than two differences, or one is not finite.

    Examples
    --------
    >>> found = limits_of_agreement([-2.0, 0.0, 2.0, 4.0])
    >>> round(found.mean.value, 2), round(found.sd, 2), round(found.upper.value, 2)
    (1.0, 2.58, 6.06)
    """
    values = finite(differences, LEAST_PAIRS)
    count = len(values)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    quantile = float(stats.t.ppf((1.0 + LEVEL) / 2.0, count - 1))
    reach = quantile * sd * math.sqrt(1.0 / count)
    if width == WIDTH_1986:
        edge = quantile * sd * math.sqrt(3.0 / count)
    else:
        edge = quantile * sd * _edge_factor(count, width)
    lower, upper = mean - width * sd, mean + width * sd
    return Limits(
        count=count,
        mean=Span(value=mean, low=mean - reach, high=mean + reach),
        sd=sd,
        lower=Span(value=lower, low=lower - edge, high=lower + edge),
        upper=Span(value=upper, low=upper - edge, high=upper + edge),
    )


def exponential(limits: Limits) -> tuple[Span, Span, Span]:
    """Turn limits of log ratios into ratios: their mean, lower and upper limit.

    Examples
    --------
    >>> logs = limits_of_agreement([math.log(1.1), math.log(0.9), 0.0])
    >>> [round(one.value, 3) for one in exponential(logs)]
    [0.997, 0.819, 1.213]
    """
    mean, lower, upper = (
        Span(value=math.exp(one.value), low=_exp(one.low), high=_exp(one.high))
        for one in (limits.mean, limits.lower, limits.upper)
    )
    return mean, lower, upper


def log_ratios(
    estimates: Sequence[float] | FloatArray, references: Sequence[float] | FloatArray
) -> FloatArray | None:
    """Natural logs of estimate over reference, shape (n,); None where a value is not positive."""
    first = np.asarray(estimates, dtype=np.float64)
    second = np.asarray(references, dtype=np.float64)
    if (first <= 0.0).any() or (second <= 0.0).any():
        return None
    return np.asarray(np.log(first / second), dtype=np.float64)


def share_within(
    differences: Sequence[float] | FloatArray, bound: float, *, exact: bool = True
) -> Span:
    """Return the share of differences whose size is at most ``bound``, 0 to 1.

    Parameters
    ----------
    differences
        Estimate minus reference, shape (n,), n at least 1.
    bound
        The largest size, in the unit of the data.
    exact
        Whether to give the binomial interval: only for independent pairs.

    Returns
    -------
    Span
        The share, 0 to 1, with its 95 % interval where ``exact``.

    Examples
    --------
    >>> share_within([1.0, -5.0, 9.0, 5.1], 5.0).value
    0.5
    """
    values = finite(differences, 1)
    count = len(values)
    hits = int((np.abs(values) <= bound + SLACK_MMHG).sum())
    if not exact:
        return Span(value=hits / count)
    tail = (1.0 - LEVEL) / 2.0
    low = 0.0 if hits == 0 else float(stats.beta.ppf(tail, hits, count - hits + 1))
    high = 1.0 if hits == count else float(stats.beta.ppf(1.0 - tail, hits + 1, count - hits))
    return Span(value=hits / count, low=low, high=high)


def pairs_needed(sd: float, half_width: float, width: float = WIDTH_1999) -> int | None:
    """Return how many independent pairs give limits of a wanted 95 % interval.

    Parameters
    ----------
    sd
        SD of the differences that is expected, in the unit of the data.
    half_width
        Half of the interval of each limit that is wanted, same unit, above 0.
    width
        SDs from the mean to a limit.

    Returns
    -------
    int or None
        The least n whose half width is not above the wanted one; None above ten million.

    Raises
    ------
    InputError
        A number is outside what is allowed.

    Examples
    --------
    >>> pairs_needed(8.0, 2.0)
    183
    """
    if not (half_width > 0.0 and sd >= 0.0 and math.isfinite(sd)):
        raise InputError(
            f"found an SD of {sd:g} and a half width of {half_width:g}; "
            "allowed an SD of 0 or more and a half width above 0"
        )
    low, high = LEAST_PAIRS, MOST_PAIRS
    if half_width_of(high, sd, width) > half_width:
        return None
    while low < high:
        middle = (low + high) // 2
        if half_width_of(middle, sd, width) <= half_width:
            high = middle
        else:
            low = middle + 1
    return low


def half_width_of(count: int, sd: float, width: float = WIDTH_1999) -> float:
    """Half of the 95 % interval of a limit, in the unit of ``sd``, of independent pairs."""
    quantile = float(stats.t.ppf((1.0 + LEVEL) / 2.0, count - 1))
    return quantile * sd * _edge_factor(count, width)


def finite(values: Sequence[float] | FloatArray, least: int) -> FloatArray:
    """Return values as an array, shape (n,), of finite numbers.

    Raises
    ------
    InputError
        There are fewer than ``least``, or one is not finite.
    """
    found = np.asarray(values, dtype=np.float64)
    if found.ndim != 1 or len(found) < least:
        raise InputError(f"found {found.size} values; allowed {least} or more")
    if not np.isfinite(found).all():
        raise InputError("found a value that is not finite; allowed finite numbers")
    return found


def _edge_factor(count: int, width: float) -> float:
    """Standard error of a limit over the SD (1999)."""
    return math.sqrt(1.0 / count + width**2 / (2.0 * (count - 1)))


def _exp(value: float | None) -> float | None:
    # A ratio beyond this is no number of use, and one that overflows none at all.
    return None if value is None or abs(value) > 300.0 else math.exp(value)
