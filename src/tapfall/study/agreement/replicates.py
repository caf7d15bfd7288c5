"""Limits of agreement where a person was measured several times.

Two designs, after Bland & Altman 1999: the true value stays (readings of both methods
are replicates, in no order), or it moves (each estimate belongs to its own reference).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.limits import LEVEL, WIDTH_1999, Limits, Span, finite
from tapfall.study.agreement.rows import IntArray

CONSTANT_SOURCE = (
    "Bland & Altman 1999, section 5: replicates, true value constant; intervals by the "
    "variance components (MOVER, Zou 2013, from memory)"
)
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

    The paper states no interval of them that holds for few replicates: theirs join those of
    the variance components, as for pairs.
    """

    subjects: int
    variance_of_means: float
    estimate_within_variance: float
    reference_within_variance: float
    estimate_repeatability: float
    reference_repeatability: float
    limits: Limits


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
    return varying_of(*_flat(_groups(differences)))


def varying_of(values: FloatArray, subject: IntArray) -> Varying:
    """Return what :func:`varying_limits` does, of all differences and whose each is.

    Parameters
    ----------
    values, subject
        Shape (n,); subjects count from 0, and each of them is there.
    """
    counts = np.bincount(subject).astype(np.float64)
    subjects, total = len(counts), len(values)
    if total == subjects:
        raise InputError("found one difference of every subject; allowed two or more of some")
    means = np.bincount(subject, weights=values) / counts
    mean = float(values.mean())
    ms_between = float((counts * (means - mean) ** 2).sum()) / (subjects - 1)
    ms_within = _within(values, subject, means)
    share = (total**2 - float((counts**2).sum())) / ((subjects - 1) * total)
    # A component below zero is chance: it is taken for zero, which widens the limits.
    variance = ms_within + max(0.0, (ms_between - ms_within) / share)
    # The pooled mean weighs each subject by its readings.
    shares = counts / total
    error = math.sqrt(float((shares**2).sum()) * float(((means - mean) ** 2).mean()))
    plain = float(means.var(ddof=1))
    error = max(error * math.sqrt(subjects / (subjects - 1)), math.sqrt(plain / subjects))
    rest = (1.0 - float((1.0 / counts).mean())) * ms_within
    return Varying(
        subjects=subjects,
        ms_between=ms_between,
        ms_within=ms_within,
        per_subject=share,
        limits=_joined(
            total, mean, math.sqrt(variance), error, subjects - 1,
            ((plain, subjects - 1), (rest, total - subjects)),
        ),
    )  # fmt: skip


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
    >>> found.limits.mean.value, round(found.limits.sd, 3)
    (1.0, 1.871)
    """
    first, second = _groups(estimates), _groups(references)
    if len(first) != len(second):
        raise InputError(f"found {len(first)} and {len(second)} subjects; allowed the same ones")
    for groups in (first, second):
        if all(len(one) < 2 for one in groups):
            raise InputError("found one reading of every subject; allowed two or more of some")
    return constant_of(*_flat(first), *_flat(second))


def constant_of(
    estimates: FloatArray, estimated: IntArray, references: FloatArray, referred: IntArray
) -> Constant:
    """Return what :func:`constant_limits` does, of all readings and whose each is.

    Parameters
    ----------
    estimates, estimated
        Readings of one method, and the subject of each, shape (n,).
    references, referred
        Those of the other, shape (m,); the same subjects, counted from 0.
    """
    parts = []
    for values, subject in ((estimates, estimated), (references, referred)):
        counts = np.bincount(subject).astype(np.float64)
        means = np.bincount(subject, weights=values) / counts
        shrink = 1.0 - float((1.0 / counts).mean())
        parts.append((means, _within(values, subject, means), shrink, len(values) - len(counts)))
    (first, one, shrink_one, freedom_one), (second, two, shrink_two, freedom_two) = parts
    gaps = first - second
    count, variance = len(gaps), float(gaps.var(ddof=1))
    added = ((shrink_one * one, freedom_one), (shrink_two * two, freedom_two))
    sd = math.sqrt(variance + sum(part for part, _ in added))
    return Constant(
        subjects=count,
        variance_of_means=variance,
        estimate_within_variance=one,
        reference_within_variance=two,
        estimate_repeatability=repeatability(one),
        reference_repeatability=repeatability(two),
        limits=_joined(
            len(estimates), float(gaps.mean()), sd, math.sqrt(variance / count), count - 1,
            ((variance, count - 1), *added),
        ),
    )  # fmt: skip


def within_variance(groups: Groups) -> float:
    """Variance of replicates about their subject's mean, pooled over the subjects.

    Examples
    --------
    >>> within_variance([[1.0, 3.0], [5.0], [2.0, 2.0]])
    1.0
    """
    values, subject = _flat([np.asarray(one, dtype=np.float64) for one in groups])
    return _within(values, subject, np.bincount(subject, weights=values) / np.bincount(subject))


def repeatability(within: float) -> float:
    """Size that the difference of two readings of one subject exceeds 5 times in 100."""
    return WIDTH_1999 * math.sqrt(2.0 * within)


def _joined(
    count: int,
    mean: float,
    sd: float,
    error: float,
    freedom: int,
    parts: Sequence[tuple[float, int]],
) -> Limits:
    """Limits with the intervals of their mean and SD joined (MOVER).

    ``parts`` are the components of the variance with their degrees of freedom; ``error`` is
    that of the mean.  The unit of the mean is the subject, and so are its degrees of freedom:
    readings of one subject are no independent evidence.
    """
    tail = (1.0 - LEVEL) / 2.0
    reach = float(stats.t.ppf(1.0 - tail, freedom)) * error
    down = up = 0.0
    for part, own in parts:
        if own > 0:
            down += (part * (1.0 - own / float(stats.chi2.ppf(1.0 - tail, own)))) ** 2
            up += (part * (own / float(stats.chi2.ppf(tail, own)) - 1.0)) ** 2
    spread = sum(part for part, _ in parts)
    less = max(0.0, math.sqrt(spread) - math.sqrt(max(0.0, spread - math.sqrt(down))))
    more = math.sqrt(spread + math.sqrt(up)) - math.sqrt(spread)
    inner = math.hypot(reach, WIDTH_1999 * less)
    outer = math.hypot(reach, WIDTH_1999 * more)
    lower, upper = mean - WIDTH_1999 * sd, mean + WIDTH_1999 * sd
    return Limits(
        count=count,
        mean=Span(value=mean, low=mean - reach, high=mean + reach),
        sd=sd,
        lower=Span(value=lower, low=lower - outer, high=lower + inner),
        upper=Span(value=upper, low=upper - inner, high=upper + outer),
    )


def _within(values: FloatArray, subject: IntArray, means: FloatArray) -> float:
    freedom = len(values) - len(means)
    return float(((values - means[subject]) ** 2).sum()) / freedom if freedom else math.nan


def _flat(groups: Sequence[FloatArray]) -> tuple[FloatArray, IntArray]:
    """All values, and whose each is."""
    sizes = [len(one) for one in groups]
    return np.concatenate(groups), np.repeat(np.arange(len(groups)), sizes)


def _groups(groups: Groups) -> list[FloatArray]:
    if len(groups) < 2:
        raise InputError(f"found {len(groups)} subjects; allowed two or more")
    return [finite(one, 1) for one in groups]
