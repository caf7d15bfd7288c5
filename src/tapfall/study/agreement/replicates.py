"""Limits of agreement where a person was measured several times.

Two designs, after Bland & Altman 1999: the true value stays (readings of both methods
are replicates, in no order), or it moves (each estimate belongs to its own reference).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.limits import LEVEL, WIDTH_1999, Limits, Span, finite

CONSTANT_SOURCE = "Bland & Altman 1999, section 5: replicates, true value constant"
VARYING_SOURCE = (
    "Bland & Altman 1999, section 5: pairs of replicates, true value varying; intervals by "
    "the variance components (MOVER, Zou 2013, from memory)"
)

Groups = Sequence[Sequence[float] | FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Varying:
    """Limits by analysis of variance of the differences by subject, and its parts."""

    subjects: int
    ms_between: float
    ms_within: float
    per_subject: float
    limits: Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """Limits from the means of the subjects, their variance corrected for replicates.

    No interval is given: the paper states none that holds for few replicates.
    """

    subjects: int
    variance_of_means: float
    estimate_within_variance: float
    reference_within_variance: float
    mean: float
    sd: float
    lower: float
    upper: float
    estimate_repeatability: float
    reference_repeatability: float


def varying_limits(differences: Groups) -> Varying:
    """Return limits of agreement where each subject has paired differences, equal in number or not.

    Parameters
    ----------
    differences
        Of each subject its differences; two subjects or more, one of them with two or more.

    Returns
    -------
    Varying
        Mean squares between and within subjects, and the limits, in the unit of the data.

    Raises
    ------
    InputError
        There are too few.

    Examples
    --------
    >>> found = varying_limits([[1.0, 3.0], [-2.0, 0.0], [5.0, 3.0]])
    >>> round(found.ms_between, 3), round(found.ms_within, 3), round(found.limits.sd, 3)
    (12.667, 2.0, 2.708)
    """
    pooled = _pooled(differences)
    counts, means = pooled.counts, pooled.means
    subjects, total = len(counts), int(counts.sum())
    if total == subjects:
        raise InputError("found one difference of every subject; allowed two or more of some")
    mean = float(pooled.values.mean())
    ms_between = float((counts * (means - mean) ** 2).sum()) / (subjects - 1)
    ms_within = pooled.within_variance
    share = (total**2 - float((counts**2).sum())) / ((subjects - 1) * total)
    # A component below zero is chance: it is taken for zero, which widens the limits.
    variance = ms_within + max(0.0, (ms_between - ms_within) / share)
    return Varying(
        subjects=subjects,
        ms_between=ms_between,
        ms_within=ms_within,
        per_subject=share,
        limits=_spanned(mean, math.sqrt(variance), means, counts, ms_within),
    )


def constant_limits(estimates: Groups, references: Groups) -> Constant:
    """Return limits of agreement where the true value of a subject stays.

    Parameters
    ----------
    estimates, references
        Of each subject the readings of each method, in the same order of subjects; the
        numbers of readings may differ.

    Returns
    -------
    Constant
        Mean, SD and limits in the unit of the data.

    Raises
    ------
    InputError
        There are fewer than two subjects, or no subject has two readings by one method.

    Examples
    --------
    >>> found = constant_limits([[10.0, 12.0], [20.0, 22.0]], [[9.0, 9.0], [20.0, 22.0]])
    >>> found.mean, round(found.sd, 3)
    (1.0, 1.871)
    """
    first, second = _pooled(estimates), _pooled(references)
    if len(first.counts) != len(second.counts):
        raise InputError(
            f"found {len(first.counts)} and {len(second.counts)} subjects; allowed the same ones"
        )
    for one in (first, second):
        if one.counts.max() < 2:
            raise InputError("found one reading of every subject; allowed two or more of some")
    gaps = first.means - second.means
    variance = float(gaps.var(ddof=1))
    within = first.within_variance, second.within_variance
    shrink = [1.0 - float((1.0 / one.counts).mean()) for one in (first, second)]
    sd = math.sqrt(variance + shrink[0] * within[0] + shrink[1] * within[1])
    mean = float(gaps.mean())
    return Constant(
        subjects=len(gaps),
        variance_of_means=variance,
        estimate_within_variance=within[0],
        reference_within_variance=within[1],
        mean=mean,
        sd=sd,
        lower=mean - WIDTH_1999 * sd,
        upper=mean + WIDTH_1999 * sd,
        estimate_repeatability=repeatability(within[0]),
        reference_repeatability=repeatability(within[1]),
    )


def within_variance(groups: Groups) -> float:
    """Variance of replicates about their subject's mean, pooled over the subjects.

    Examples
    --------
    >>> within_variance([[1.0, 3.0], [5.0], [2.0, 2.0]])
    1.0
    """
    return _flat(groups).within_variance


def repeatability(within: float) -> float:
    """Size that the difference of two readings of one subject exceeds 5 times in 100."""
    return WIDTH_1999 * math.sqrt(2.0 * within)


def _spanned(
    mean: float, sd: float, means: FloatArray, counts: FloatArray, within: float
) -> Limits:
    """Limits with the intervals of their mean and SD joined (MOVER).

    The unit of the mean is the subject, and so are its degrees of freedom: readings of
    one subject are no independent evidence.
    """
    subjects, total = len(means), int(counts.sum())
    tail = (1.0 - LEVEL) / 2.0
    variance = float(means.var(ddof=1))
    # The pooled mean weighs each subject by its readings.
    shares = counts / total
    error = math.sqrt(float((shares**2).sum()) * float(((means - mean) ** 2).mean()))
    error = max(error * math.sqrt(subjects / (subjects - 1)), math.sqrt(variance / subjects))
    reach = float(stats.t.ppf(1.0 - tail, subjects - 1)) * error
    rest = (1.0 - float((1.0 / counts).mean())) * within
    down = up = 0.0
    for part, freedom in ((variance, subjects - 1), (rest, total - subjects)):
        down += (part * (1.0 - freedom / float(stats.chi2.ppf(1.0 - tail, freedom)))) ** 2
        up += (part * (freedom / float(stats.chi2.ppf(tail, freedom)) - 1.0)) ** 2
    spread = variance + rest
    less = max(0.0, math.sqrt(spread) - math.sqrt(max(0.0, spread - math.sqrt(down))))
    more = math.sqrt(spread + math.sqrt(up)) - math.sqrt(spread)
    inner = math.hypot(reach, WIDTH_1999 * less)
    outer = math.hypot(reach, WIDTH_1999 * more)
    lower, upper = mean - WIDTH_1999 * sd, mean + WIDTH_1999 * sd
    return Limits(
        count=total,
        mean=Span(value=mean, low=mean - reach, high=mean + reach),
        sd=sd,
        lower=Span(value=lower, low=lower - outer, high=lower + inner),
        upper=Span(value=upper, low=upper - inner, high=upper + outer),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pooled:
    """Readings of all subjects in one array, shape ``(n,)``, and how many each has."""

    values: FloatArray
    counts: FloatArray

    @property
    def means(self) -> FloatArray:
        """Mean of each subject."""
        starts = np.concatenate([[0.0], np.cumsum(self.counts[:-1])]).astype(np.intp)
        return np.asarray(np.add.reduceat(self.values, starts) / self.counts)

    @property
    def within_variance(self) -> float:
        """Variance about each subject's mean; NaN where no subject has two readings."""
        freedom = float(self.counts.sum()) - len(self.counts)
        away = self.values - np.repeat(self.means, self.counts.astype(np.intp))
        return float((away**2).sum()) / freedom if freedom else math.nan


def _flat(groups: Groups) -> _Pooled:
    counts = np.fromiter((len(one) for one in groups), np.float64, len(groups))
    values = np.fromiter(itertools.chain.from_iterable(groups), np.float64, int(counts.sum()))
    return _Pooled(values=values, counts=counts)


def _pooled(groups: Groups) -> _Pooled:
    if len(groups) < 2:
        raise InputError(f"found {len(groups)} subjects; allowed two or more")
    pooled = _flat(groups)
    if pooled.counts.min() < 1:
        raise InputError("found 0 values of a subject; allowed 1 or more")
    finite(pooled.values, 1)
    return pooled
