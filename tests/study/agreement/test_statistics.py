"""Statistics against closed forms, scipy, and simulation that were written here."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from tapfall.errors import InputError
from tapfall.study.agreement import (
    icc_agreement,
    limits_of_agreement,
    pairs_needed,
    proportional_bias,
    risk_coverage,
    share_within,
    varying_limits,
    weighted_kappa,
)
from tapfall.study.agreement.limits import exponential, half_width_of, log_ratios
from tapfall.study.agreement.replicates import constant_limits

pressures = st.integers(0, 300).map(float)
differences = st.lists(st.integers(-400, 400).map(lambda n: n / 10), min_size=2, max_size=40)


@given(differences, st.integers(-50, 50))
def test_limits_move_with_the_differences(values: list[float], shift: int) -> None:
    found, moved = limits_of_agreement(values), limits_of_agreement([v + shift for v in values])
    assert moved.sd == pytest.approx(found.sd, abs=1e-9)
    for one, two in ((found.lower, moved.lower), (found.mean, moved.mean)):
        assert two.value == pytest.approx(one.value + shift, abs=1e-9)
        assert two.low == pytest.approx(one.low + shift, abs=1e-9)


@given(differences)
def test_swapping_the_methods_mirrors_the_limits(values: list[float]) -> None:
    found, swapped = limits_of_agreement(values), limits_of_agreement([-v for v in values])
    assert swapped.upper.value == pytest.approx(-found.lower.value, abs=1e-9)
    assert swapped.upper.high == pytest.approx(-found.lower.low, abs=1e-9)
    assert found.lower.low <= found.lower.value <= found.mean.value <= found.upper.high


@given(differences)
def test_the_interval_of_the_mean_is_that_of_scipy(values: list[float]) -> None:
    assume(np.std(values) > 0.01)
    found = limits_of_agreement(values)
    wanted = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    assert (found.mean.low, found.mean.high) == pytest.approx((wanted.low, wanted.high), abs=1e-8)


@given(differences, st.floats(0, 40), st.floats(0, 40))
def test_shares_grow_and_have_exact_intervals(values: list[float], one: float, two: float) -> None:
    low, high = (share_within(values, bound) for bound in sorted((one, two)))
    assert 0.0 <= low.value <= high.value <= 1.0
    hits = round(low.value * len(values))
    wanted = stats.binomtest(hits, len(values)).proportion_ci(0.95, method="exact")
    assert (low.low, low.high) == pytest.approx((wanted.low, wanted.high), abs=1e-8)


def test_shares_count_their_own_bound_also_in_decimals() -> None:
    assert share_within([125.3 - 120.3, 110.1 - 115.1], 5.0).value == 1.0
    assert share_within([5.001], 5.0).value == 0.0


def test_ratios_come_back_from_logs() -> None:
    logs = log_ratios([110.0, 121.0, 100.0], [100.0, 100.0, 100.0])
    mean, lower, upper = exponential(limits_of_agreement(logs))
    assert mean.value == pytest.approx((1.1 * 1.21) ** (1 / 3))
    assert lower.value * upper.value == pytest.approx(mean.value**2)
    assert log_ratios([0.0, 1.0], [1.0, 1.0]) is None


@given(st.floats(0.5, 30.0), st.floats(0.5, 10.0))
def test_the_sample_size_is_the_least(sd: float, wanted: float) -> None:
    found = pairs_needed(sd, wanted)
    assert half_width_of(found, sd) <= wanted
    assert found == 2 or half_width_of(found - 1, sd) > wanted


def test_no_sample_is_large_enough() -> None:
    assert pairs_needed(100.0, 1e-6) is None
    with pytest.raises(InputError, match="allowed an SD of 0 or more and a half width above 0"):
        pairs_needed(8.0, 0.0)


def test_unequal_replicates_by_hand() -> None:
    # By hand: N 4, means 2 and 8; MSw = 2 + 0 + ... of the first pair and a lone one.
    found = varying_limits([[1.0, 3.0], [8.0], [5.0]])
    assert found.ms_within == 2.0
    grand = 17 / 4
    between = (2 * (2 - grand) ** 2 + (8 - grand) ** 2 + (5 - grand) ** 2) / 2
    share = (16 - 6) / (2 * 4)
    assert found.ms_between == pytest.approx(between)
    assert found.limits.sd == pytest.approx(math.sqrt(2.0 + (between - 2.0) / share))


def test_a_negative_component_is_zero() -> None:
    found = varying_limits([[-4.0, 4.0], [-4.0, 4.0], [-3.0, 3.0]])
    assert found.limits.sd == pytest.approx(math.sqrt(found.ms_within))


def test_unequal_numbers_of_constant_replicates_by_hand() -> None:
    found = constant_limits([[1.0, 3.0, 2.0], [7.0]], [[0.0, 2.0], [4.0, 6.0]])
    # Means differ by 1 and 2; within 1 and 2; 1 - mean(1/3, 1) and 1 - mean(1/2, 1/2).
    assert found.limits.sd == pytest.approx(math.sqrt(0.5 + (1 / 3) * 1.0 + 0.5 * 2.0))


def test_intervals_of_a_constant_true_value_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(6)
    between, first, second, trials, subjects = 4.0, 3.0, 5.0, 400, 30
    upper = 1.0 + 1.96 * math.sqrt(between**2 + first**2 + second**2)
    held = 0
    for _ in range(trials):
        gaps = rng.normal(1.0, between, subjects)
        spans = constant_limits(
            [gap + rng.normal(0.0, first, 3) for gap in gaps],
            [rng.normal(0.0, second, 2) for _ in gaps],
        ).limits.upper
        held += spans.low <= upper <= spans.high
    assert 0.92 <= held / trials <= 0.98


@pytest.mark.parametrize("numbers", [(3, 3), (1, 5)])
def test_intervals_of_replicates_hold_as_often_as_they_say(numbers: tuple[int, int]) -> None:
    rng = np.random.default_rng(5)
    between, within, trials, subjects = 5.0, 3.0, 400, 30
    sizes = rng.integers(numbers[0], numbers[1] + 1, subjects)
    upper = 1.0 + 1.96 * math.hypot(between, within)
    held = 0
    for _ in range(trials):
        centres = 1.0 + between * rng.standard_normal(subjects)
        groups = [
            (centre + within * rng.standard_normal(size)).tolist()
            for centre, size in zip(centres, sizes, strict=True)
        ]
        span = varying_limits(groups).limits.upper
        held += span.low <= upper <= span.high
    # 95 of 100; four standard errors of 400 trials, and some room for an approximation.
    assert 0.905 <= held / trials <= 0.995


def test_too_few_subjects() -> None:
    with pytest.raises(InputError, match="found 1 subjects; allowed two or more"):
        varying_limits([[1.0, 2.0]])
    with pytest.raises(InputError, match="one difference of every subject"):
        varying_limits([[1.0], [2.0]])
    with pytest.raises(InputError, match="not finite"):
        limits_of_agreement([1.0, math.nan])
    with pytest.raises(InputError, match="found 1 values; allowed 2 or more"):
        limits_of_agreement([1.0])


def test_the_lines_are_those_of_scipy() -> None:
    rng = np.random.default_rng(2)
    reference = rng.uniform(90, 180, 60)
    estimate = 1.05 * reference - 4 + rng.normal(0, 0.03 * reference)
    found = proportional_bias(estimate, reference)
    level, gap = (estimate + reference) / 2, estimate - reference
    wanted = stats.linregress(level, gap)
    assert (found.intercept, found.slope.value) == pytest.approx((wanted.intercept, wanted.slope))
    assert found.p_value == pytest.approx(wanted.pvalue)
    reach = stats.t.ppf(0.975, 58) * wanted.stderr
    assert found.slope.high - found.slope.value == pytest.approx(reach)
    size = stats.linregress(level, np.abs(gap - wanted.intercept - wanted.slope * level))
    assert (found.spread_slope.value, found.spread_p_value) == pytest.approx(
        (size.slope, size.pvalue)
    )


#: Shrout & Fleiss 1979, table 2: four judges, six targets.
JUDGED = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def test_icc_of_the_paper() -> None:
    # Paper, from memory: ICC(2,1) 0.29; its interval 0.02 to 0.76.
    found = icc_agreement(JUDGED)
    assert (found.value, found.low, found.high) == pytest.approx((0.290, 0.019, 0.761), abs=0.001)


@given(st.lists(st.tuples(pressures, pressures), min_size=3, max_size=30))
def test_icc_of_two_raters_by_sums(pairs: list[tuple[float, float]]) -> None:
    x, y = np.array(pairs).T
    n = len(x)
    assume(np.ptp(np.array(pairs)) > 1.0)
    # Closed form by variance and covariance, of two raters.
    gap = (x.mean() - y.mean()) ** 2
    cov, sum_var, diff_var = np.cov(x, y)[0, 1], x.var(ddof=1) + y.var(ddof=1), (x - y).var(ddof=1)
    below = sum_var + gap - diff_var / n
    assume(below > 1e-3)
    found = icc_agreement(pairs)
    assert found is not None
    assert found.value == pytest.approx(2 * cov / below, abs=1e-7)
    if found.low is not None:
        assert found.low <= found.value <= found.high


def test_icc_without_spread() -> None:
    assert icc_agreement([[5.0, 5.0], [5.0, 5.0]]) is None
    assert icc_agreement([[1.0, 1.0], [2.0, 2.0]]).value == 1.0
    with pytest.raises(InputError, match="two or more finite ratings"):
        icc_agreement([[1.0, 2.0]])


def test_the_interval_of_icc_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(8)
    held, trials = 0, 400
    truth = 100.0 / (100.0 + 4.0 + 25.0)
    for _ in range(trials):
        people, raters = 10 * rng.standard_normal((40, 1)), 2 * rng.standard_normal((1, 2))
        span = icc_agreement(people + raters + 5 * rng.standard_normal((40, 2)))
        held += span.low <= truth <= span.high
    assert held / trials >= 0.915


ranks = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=2, max_size=60)


@given(ranks)
def test_kappa_with_quadratic_weights_is_concordance(pairs: list[tuple[int, int]]) -> None:
    one, two = np.array(pairs).T
    below = one.var() + two.var() + (one.mean() - two.mean()) ** 2
    found = weighted_kappa(one, two, 5)
    if below < 1e-12:
        assert found is None
        return
    cov = ((one - one.mean()) * (two - two.mean())).mean()
    assert found.value == pytest.approx(2 * cov / below, abs=1e-9)
    assert -1.0 <= found.low <= found.value + 1e-9 <= found.high + 2e-9


def test_the_interval_of_kappa_is_that_of_the_jackknife() -> None:
    rng = np.random.default_rng(4)
    one = rng.integers(0, 4, 300)
    two = np.clip(one + rng.integers(-1, 2, 300), 0, 3)
    found = weighted_kappa(one, two, 4)
    left_out = [weighted_kappa(np.delete(one, n), np.delete(two, n), 4).value for n in range(300)]
    error = math.sqrt(299 / 300 * float(((left_out - np.mean(left_out)) ** 2).sum()))
    assert (found.high - found.value) / 1.959964 == pytest.approx(error, rel=0.03)


def test_ranks_that_are_none() -> None:
    with pytest.raises(InputError, match="found a rank of 3; allowed below 3"):
        weighted_kappa([0, 3], [1, 1], 3)
    with pytest.raises(InputError, match="allowed pairs of ranks"):
        weighted_kappa([0, 1], [1], 3)


sure = st.lists(
    st.tuples(st.integers(-30, 30).map(float), st.integers(0, 20).map(lambda n: n / 20)),
    min_size=1,
    max_size=40,
)


@settings(max_examples=60)
@given(sure, st.integers(0, 10))
def test_every_point_of_the_curve_is_a_plain_mean(
    rows: list[tuple[float, float]], lost: int
) -> None:
    gaps, confidences = zip(*rows, strict=True)
    curve = risk_coverage(gaps, confidences, len(rows) + lost)
    assert [one.confidence for one in curve] == sorted(set(confidences), reverse=True)
    for one in curve:
        kept = [abs(gap) for gap, confidence in rows if confidence >= one.confidence]
        assert one.kept == len(kept)
        assert one.coverage == pytest.approx(len(kept) / (len(rows) + lost))
        assert one.mean_absolute_mmhg == pytest.approx(np.mean(kept))
        assert one.beyond_5 == pytest.approx(np.mean([size > 5 for size in kept]))


def test_a_long_curve_is_thinned_and_keeps_its_end() -> None:
    curve = risk_coverage([1.0] * 500, [n / 500 for n in range(500)], 1000)
    assert len(curve) == 101
    assert (curve[-1].coverage, curve[-1].confidence) == (0.5, 0.0)
    assert risk_coverage([], [], 3) == ()
    with pytest.raises(InputError, match="no fewer attempts"):
        risk_coverage([1.0], [0.5], 0)
