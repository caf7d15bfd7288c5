"""Whether the confidence means what it says, and how it could say it better.

A value is right where it lies within 4 mmHg of its reference.  Recalibration bends the
confidence by two numbers, fitted on the subjects of the split ``fit`` and judged on those
of ``check``: recordings of one person resemble each other, so people are split.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import betaincinv, expit, logit, xlogy

from tapfall.errors import InputError, shown
from tapfall.model import FloatArray
from tapfall.study.agreement.rows import SLACK_MMHG
from tapfall.study.compare import NEAR_MMHG, Judged

#: Bounds of the classes of confidence (our choice: those of the summary, and between).
EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)
#: Confidences are held so far from 0 and 1, where their log odds have no end (our choice).
MARGIN = 0.001
#: How far the fit trusts the confidence as it is: spread of gain and offset (our choice).
GAIN_SPREAD, OFFSET_SPREAD = 0.5, 1.0
#: Fewest values that a fit is made on (our choice).
FEWEST = 20

_TAIL = 0.025


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Values of one class of confidence, and the share of them that is right.

    ``right_low_share`` and ``right_high_share`` are exact 95 % bounds (Clopper and Pearson
    1934, from memory); they take the values as independent, which several of one person
    are not.
    """

    low_share: float
    high_share: float
    values: int
    confidence: float
    right_share: float
    right_low_share: float
    right_high_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How far confidence and truth agree: lower scores are better."""

    values: int
    subjects: int
    confidence: float
    right_share: float
    brier_score: float
    log_loss: float
    bins: tuple[Bin, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recalibration:
    """Log odds of being right: ``offset + gain x log odds of the confidence``.

    ``before`` and ``after`` are of the subjects of the split ``check`` alone; ``None``
    where there are none.
    """

    gain: float
    offset: float
    fit_values: int
    fit_subjects: int
    before: Calibration | None
    after: Calibration | None


def _arrays(values: Sequence[Judged]) -> tuple[FloatArray, FloatArray]:
    """Confidence, and 1.0 where right, shape ``(n,)`` each."""
    used = _with_confidence(values)
    sure = np.array([one.confidence for one in used], np.float64)
    near_mmhg = NEAR_MMHG + SLACK_MMHG
    right = np.array([abs(one.error_mmhg or 0.0) <= near_mmhg for one in used], np.float64)
    return sure, right


def _with_confidence(values: Sequence[Judged]) -> list[Judged]:
    return [one for one in values if one.confidence is not None and one.error_mmhg is not None]


def calibration(
    values: Sequence[Judged], bend: tuple[float, float] | None = None
) -> Calibration | None:
    """Hold the confidence of values against whether they are right.

    Parameters
    ----------
    values
        Values against their references; those without confidence are passed over.
    bend
        Gain and offset of a recalibration.

    Returns
    -------
    Calibration or None
        ``None`` where there is no value with a confidence.
    """
    sure, right = _arrays(values)
    if not sure.size:
        return None
    if bend is not None:
        sure = recalibrated(sure, *bend)
    held = np.clip(sure, MARGIN, 1.0 - MARGIN)
    places = np.clip(np.searchsorted(EDGES, sure, side="right") - 1, 0, len(EDGES) - 2)
    return Calibration(
        values=int(sure.size),
        subjects=len({one.subject for one in _with_confidence(values)}),
        confidence=float(sure.mean()),
        right_share=float(right.mean()),
        brier_score=float(np.mean((sure - right) ** 2)),
        log_loss=float(-np.mean(xlogy(right, held) + xlogy(1.0 - right, 1.0 - held))),
        bins=tuple(
            _bin(EDGES[i], EDGES[i + 1], sure[places == i], right[places == i])
            for i in range(len(EDGES) - 1)
            if (places == i).any()
        ),
    )


def _bin(low: float, high: float, sure: FloatArray, right: FloatArray) -> Bin:
    count, hits = int(right.size), int(right.sum())
    return Bin(
        low_share=low,
        high_share=high,
        values=count,
        confidence=float(sure.mean()),
        right_share=hits / count,
        right_low_share=float(betaincinv(hits, count - hits + 1, _TAIL)) if hits else 0.0,
        right_high_share=float(betaincinv(hits + 1, count - hits, 1.0 - _TAIL))
        if hits < count
        else 1.0,
    )


def recalibrated(confidence: FloatArray, gain: float, offset: float) -> FloatArray:
    """Return confidences bent by a recalibration, shape ``(n,)``.

    Examples
    --------
    >>> recalibrated(np.array([0.5, 0.9]), 1.0, 0.0).round(3).tolist()
    [0.5, 0.9]
    """
    held = np.clip(confidence, MARGIN, 1.0 - MARGIN)
    return np.asarray(expit(offset + gain * logit(held)), np.float64)


def recalibrate(values: Sequence[Judged]) -> Recalibration | None:
    """Fit a recalibration on the subjects of ``fit``, and judge it on those of ``check``.

    Parameters
    ----------
    values
        Values against their references, of both splits; others are passed over.

    Returns
    -------
    Recalibration or None
        ``None`` where fewer than :data:`FEWEST` values can be fitted on.

    Raises
    ------
    InputError
        A subject is in both splits.
    """
    parts = {
        split: [one for one in _with_confidence(values) if one.split == split]
        for split in ("fit", "check")
    }
    people = {split: {one.subject for one in part} for split, part in parts.items()}
    both = people["fit"] & people["check"]
    if both:
        raise InputError(
            f"found the subject {shown(min(both))} in both splits; allowed in one: recordings "
            "of one person resemble each other"
        )
    if len(parts["fit"]) < FEWEST:
        return None
    sure, right = _arrays(parts["fit"])
    odds = logit(np.clip(sure, MARGIN, 1.0 - MARGIN))

    def loss(at: FloatArray) -> float:
        score = at[1] + at[0] * odds
        prior = ((at[0] - 1.0) / GAIN_SPREAD) ** 2 + (at[1] / OFFSET_SPREAD) ** 2
        return float(np.sum(np.logaddexp(0.0, score) - right * score) + prior / 2.0)

    gain, offset = minimize(loss, np.array([1.0, 0.0]), method="L-BFGS-B").x.tolist()
    return Recalibration(
        gain=gain,
        offset=offset,
        fit_values=len(parts["fit"]),
        fit_subjects=len(people["fit"]),
        before=calibration(parts["check"]),
        after=calibration(parts["check"], (gain, offset)),
    )
