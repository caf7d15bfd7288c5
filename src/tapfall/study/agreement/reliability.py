"""Intraclass correlation and weighted kappa, for independent pairs."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import stats

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.limits import LEVEL, Span, finite
from tapfall.study.agreement.rows import IntArray

ICC_SOURCE = (
    "ICC(2,1), absolute agreement: Shrout & Fleiss 1979; interval of McGraw & Wong 1996 "
    "(from memory)"
)
KAPPA_SOURCE = (
    "quadratic weights: Cohen 1968; large-sample error of Fleiss, Cohen & Everitt 1969 "
    "(from memory)"
)

#: Degrees of freedom below which the quantiles of F make no interval of use: that of an ICC of
#: -0.52 with 0.001 of them would be -0.55 to -0.55 (our choice).
LEAST_FREEDOM = 0.1


def icc_agreement(ratings: Sequence[Sequence[float]] | FloatArray) -> Span | None:
    """Return ICC(2,1): two-way random, absolute agreement, single rating, with 95 % interval.

    Parameters
    ----------
    ratings
        Of each subject one rating by each rater, shape (n, k), n and k at least 2.

    Returns
    -------
    Span or None
        None where no rating differs from another; without ends where next to no degrees of
        freedom are left.

    Raises
    ------
    InputError
        The shape is not that, or a value is not finite.

    Examples
    --------
    >>> round(icc_agreement([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6],
    ...                      [10, 5, 6, 9], [6, 2, 4, 7]]).value, 2)
    0.29
    """
    table = np.asarray(ratings, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise InputError(
            f"found ratings of shape {table.shape}; allowed two or more finite ratings each of "
            "two or more subjects"
        )
    n, k = table.shape
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    residual = table - rows[:, None] - columns[None, :] + table.mean()
    msr = k * float(rows.var(ddof=1))
    msc = n * float(columns.var(ddof=1))
    mse = float((residual**2).sum()) / ((n - 1) * (k - 1))
    below = msr + (k - 1) * mse + k * (msc - mse) / n
    if below <= 1e-12 * float((table**2).mean()):
        return None
    icc = (msr - mse) / below
    if icc >= 1.0 - 1e-12:
        return Span(value=1.0, low=1.0, high=1.0)
    a = k * icc / (n * (1.0 - icc))
    b = 1.0 + k * icc * (n - 1) / (n * (1.0 - icc))
    parts = (a * msc) ** 2 / (k - 1) + (b * mse) ** 2 / ((n - 1) * (k - 1))
    freedom = (a * msc + b * mse) ** 2 / parts if parts > 0.0 else 0.0
    if freedom < LEAST_FREEDOM:
        return Span(value=icc)
    tail = (1.0 + LEVEL) / 2.0
    down = float(stats.f.ppf(tail, n - 1, freedom))
    up = float(stats.f.ppf(tail, freedom, n - 1))
    rest = k * msc + (k * n - k - n) * mse
    low = n * (msr - down * mse) / (down * rest + n * msr)
    high = n * (up * msr - mse) / (rest + n * up * msr)
    return Span(value=icc, low=min(low, icc), high=max(high, icc))


def weighted_kappa(
    first: Sequence[int] | IntArray, second: Sequence[int] | IntArray, categories: int
) -> Span | None:
    """Return kappa of ordered categories with quadratic weights, with 95 % interval.

    Parameters
    ----------
    first, second
        Ranks of the categories, 0 to ``categories`` - 1, shape (n,).
    categories
        How many there are, at least 2.

    Returns
    -------
    Span or None
        None where all lie in one category: kappa is not defined there.

    Raises
    ------
    InputError
        The ranks are no pairs or no ranks.

    Examples
    --------
    >>> round(weighted_kappa([0, 1, 2, 2], [0, 1, 1, 2], 3).value, 3)
    0.8
    """
    one, two = (finite(np.asarray(ranks, np.float64), 1).astype(int) for ranks in (first, second))
    if len(one) != len(two) or categories < 2 or min(one.min(), two.min()) < 0:
        raise InputError(f"found {len(one)} and {len(two)} ranks; allowed pairs of ranks from 0")
    if max(one.max(), two.max()) >= categories:
        raise InputError(f"found a rank of {max(one.max(), two.max())}; allowed below {categories}")
    count = len(one)
    cells = np.bincount(one * categories + two, minlength=categories**2)
    table = cells.reshape(categories, categories) / count
    rows, columns = table.sum(axis=1), table.sum(axis=0)
    steps = np.subtract.outer(np.arange(categories), np.arange(categories))
    weights = 1.0 - (steps / (categories - 1.0)) ** 2
    chance = np.outer(rows, columns)
    seen, expected = float((weights * table).sum()), float((weights * chance).sum())
    if expected >= 1.0 - 1e-12:
        return None
    kappa = (seen - expected) / (1.0 - expected)
    means = np.add.outer(weights @ columns, weights.T @ rows)
    inner = float((table * (weights - means * (1.0 - kappa)) ** 2).sum())
    variance = (inner - (kappa - expected * (1.0 - kappa)) ** 2) / (count * (1.0 - expected) ** 2)
    reach = float(stats.norm.ppf((1.0 + LEVEL) / 2.0)) * math.sqrt(max(0.0, variance))
    return Span(value=kappa, low=max(-1.0, kappa - reach), high=min(1.0, kappa + reach))
