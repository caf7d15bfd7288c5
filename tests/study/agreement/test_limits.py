"""Limits, ratios, shares and sample sizes where they turn, by hand."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from tapfall.errors import InputError
from tapfall.study.agreement import limits_of_agreement, pairs_needed, share_within
from tapfall.study.agreement.limits import exponential, half_width_of, log_ratios


def test_a_ratio_wants_both_values_above_zero() -> None:
    # One zero among the estimates or among the references is enough.
    assert log_ratios([0.0, 1.0], [1.0, 1.0]) is None
    assert log_ratios([1.0, 1.0], [1.0, 0.0]) is None
    assert log_ratios([1.0, -1.0], [1.0, 1.0]) is None
    assert log_ratios([1.0, 1.0], [1.0, -1.0]) is None
    small = log_ratios([0.2, 0.1], [0.1, 0.2])
    assert small is not None
    assert small.tolist() == pytest.approx([math.log(2.0), -math.log(2.0)])


def test_a_share_wants_a_difference() -> None:
    assert share_within([0.0], 0.0).value == 1.0
    with pytest.raises(InputError, match="found 0 values; allowed 1 or more"):
        share_within([], 5.0)


def test_a_share_of_pairs_that_repeat_has_no_interval() -> None:
    found = share_within([1.0, 2.0, 3.0, 9.0], 5.0, exact=False)
    assert (found.value, found.low, found.high) == (0.75, None, None)


def test_an_sd_of_nothing_wants_the_fewest_pairs() -> None:
    assert pairs_needed(0.0, 1.0) == 2
    assert pairs_needed(0.25, 0.1) == pairs_needed(2.5, 1.0)
    for sd in (-1.0, math.nan, math.inf):
        with pytest.raises(InputError, match="allowed an SD of 0 or more"):
            pairs_needed(sd, 1.0)


@pytest.mark.parametrize("count", [2, 3, 50, 183, 10_000_000])
def test_a_half_width_that_is_just_met_is_enough(count: int) -> None:
    # Standard error of a limit (Bland & Altman 1999): s sqrt(1/n + 1.96^2 / (2 (n - 1))).
    error = 8.0 * math.sqrt(1.0 / count + 1.96**2 / (2 * (count - 1)))
    wanted = half_width_of(count, 8.0)
    assert wanted == pytest.approx(float(stats.t.ppf(0.975, count - 1)) * error, rel=1e-12)
    assert pairs_needed(8.0, wanted) == count


def test_more_than_ten_million_pairs_are_not_looked_for() -> None:
    assert pairs_needed(8.0, half_width_of(10_000_001, 8.0)) is None


@pytest.mark.parametrize(("log", "told"), [(23.0, True), (24.0, False)])
def test_a_ratio_beyond_any_use_has_no_end(log: float, told: bool) -> None:
    # Two pairs: Student's t of one degree of freedom is 12.7, so an end lies far out.  Of logs
    # +-23 the mean's reaches 292, of +-24 it reaches 305, and e^300 is no number of use (our
    # choice).  Those of the limits reach beyond 500.
    mean, lower, upper = exponential(limits_of_agreement([-log, log]))
    reach = float(stats.t.ppf(0.975, 1)) * log
    assert reach == pytest.approx(12.706 * log, abs=0.01)
    assert mean.value == pytest.approx(1.0)
    ends = pytest.approx((math.exp(-reach), math.exp(reach))) if told else (None, None)
    assert (mean.low, mean.high) == ends
    assert (lower.low, lower.high, upper.low, upper.high) == (None,) * 4
    assert upper.value == pytest.approx(math.exp(1.96 * log * math.sqrt(2.0)))
