"""Matching of beats and calibration once more by general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from sklearn import metrics
from statsmodels.stats.proportion import proportion_confint

from tapfall.study.confidence import MARGIN, calibration
from tapfall.study.marks import MATCH_S, Mark, match
from tests.study.test_run_compare import drawn

times = st.lists(st.integers(0, 400), min_size=1, max_size=25, unique=True)


@given(times, times)
def test_no_other_matching_has_more_hits(one: list[int], two: list[int]) -> None:
    # Steps of 20 ms: no two lie at the edge of what may be matched.
    first, second = ([0.02 * step for step in sorted(part)] for part in (one, two))
    near = np.abs(np.subtract.outer(first, second)) <= MATCH_S
    hits = int((maximum_bipartite_matching(csr_array(near)) >= 0).sum())
    found = match(*([Mark(time_s=t, heard=True) for t in part] for part in (first, second)))
    assert found.hits == hits
    # Each beat of either is one decision: heard by the first, heard by the second.
    heard = [(1, 1)] * hits + [(1, 0)] * (len(one) - hits) + [(0, 1)] * (len(two) - hits)
    precision, recall, f1, _ = metrics.precision_recall_fscore_support(
        *zip(*heard, strict=True), average="binary", zero_division=0.0
    )
    assert (found.precision, found.recall, found.f1) == pytest.approx((precision, recall, f1))


def test_scores_of_confidence() -> None:
    values = drawn(1.5, ("fit", "check"))
    sure = np.array([one.confidence for one in values])
    right = np.array([abs(one.error_mmhg or 0.0) <= 4.0 for one in values])
    found = calibration(values)
    assert found is not None
    assert found.brier_score == pytest.approx(metrics.brier_score_loss(right, sure), rel=1e-9)
    held = np.clip(sure, MARGIN, 1 - MARGIN)
    assert found.log_loss == pytest.approx(metrics.log_loss(right, held), rel=1e-9)
    for one in found.bins:
        inside = (sure >= one.low_share) & (sure < one.high_share)
        ends = proportion_confint(right[inside].sum(), inside.sum(), method="beta")
        assert one.values == inside.sum()
        assert (one.right_low_share, one.right_high_share) == pytest.approx(ends, rel=1e-9)
