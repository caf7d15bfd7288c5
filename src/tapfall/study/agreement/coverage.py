"""What abstaining buys: the error of the values that are kept, by how many are kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.errors import InputError
from tapfall.model import FloatArray
from tapfall.study.agreement.rows import SLACK_MMHG

#: Most points of a curve (our choice); between them thresholds are left out.
MOST_POINTS = 101

SOURCE = "risk-coverage curve: El-Yaniv & Wiener 2010 (from memory)"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveragePoint:
    """Values of at least ``confidence``: their share of all rows, mean error, share beyond 5."""

    confidence: float
    coverage: float
    kept: int
    mean_absolute_mmhg: float
    beyond_5: float


def risk_coverage(
    differences: Sequence[float] | FloatArray,
    confidences: Sequence[float] | FloatArray,
    attempts: int,
) -> tuple[CoveragePoint, ...]:
    """Return the curve, from the most to the least confident values.

    Parameters
    ----------
    differences, confidences
        Of each value that has both, shape (n,), mmHg and 0 to 1.
    attempts
        All rows, also those without a value: they are never covered.

    Returns
    -------
    tuple of CoveragePoint
        One for each level of confidence, shape ``(m,)``, coverage growing from 0 to 1.

    Raises
    ------
    InputError
        They are no pairs, or there are fewer attempts than values.

    Examples
    --------
    >>> [(one.coverage, one.mean_absolute_mmhg)
    ...  for one in risk_coverage([1.0, -3.0, 8.0], [0.9, 0.9, 0.4], 4)]
    [(0.5, 2.0), (0.75, 4.0)]
    """
    if len(differences) != len(confidences) or attempts < len(differences):
        raise InputError(
            f"found {len(differences)} differences, {len(confidences)} confidences and "
            f"{attempts} attempts; allowed one confidence of each difference, and no fewer attempts"
        )
    if not len(differences):
        return ()
    sure = np.asarray(confidences, dtype=np.float64)
    order = np.argsort(-sure, kind="stable")
    sure, sizes = sure[order], np.abs(np.asarray(differences, dtype=np.float64))[order]
    # Values of one confidence are kept together or not at all.
    ends = np.flatnonzero(np.append(np.diff(sure) != 0.0, True))
    if len(ends) > MOST_POINTS:
        ends = ends[np.linspace(0, len(ends) - 1, MOST_POINTS).round().astype(int)]
    errors, beyond = np.cumsum(sizes), np.cumsum(sizes > 5.0 + SLACK_MMHG)
    return tuple(
        CoveragePoint(
            confidence=float(sure[end]),
            coverage=(int(end) + 1) / attempts,
            kept=int(end) + 1,
            mean_absolute_mmhg=float(errors[end]) / (int(end) + 1),
            beyond_5=int(beyond[end]) / (int(end) + 1),
        )
        for end in ends
    )
