"""Intraclass correlation and kappa: other forms of their formulas, and where they end."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.anova import anova_lm

from tapfall.errors import InputError
from tapfall.study.agreement import icc_agreement, weighted_kappa
from tests.study.agreement.test_papers import columns
from tests.study.agreement.test_statistics import JUDGED

SBP = columns("bland_altman_1999_sbp.csv")


def by_hand(table: np.ndarray) -> tuple[float, float, float, float]:
    """ICC, its interval and degrees of freedom, as Shrout & Fleiss 1979 write them.

    From memory.  They use the ratio of the raters' mean square to the error's, not the
    constants of McGraw & Wong 1996; the mean squares are by statsmodels.
    """
    n, k = table.shape
    frame = pd.DataFrame(
        [(f"p{i}", f"r{j}", table[i, j]) for i in range(n) for j in range(k)],
        columns=["person", "rater", "value"],
    )
    model = sm.OLS.from_formula("value ~ C(person) + C(rater)", frame).fit()
    bms, jms, ems = anova_lm(model)["mean_sq"]
    icc = (bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n)
    ratio, inner = jms / ems, n * (1 + (k - 1) * icc) - k * icc
    freedom = (
        (k - 1)
        * (n - 1)
        * (k * icc * ratio + inner) ** 2
        / ((n - 1) * (k * icc * ratio) ** 2 + inner**2)
    )
    down, up = stats.f.ppf(0.975, n - 1, freedom), stats.f.ppf(0.975, freedom, n - 1)
    rest = k * jms + (k * n - k - n) * ems
    low = n * (bms - down * ems) / (down * rest + n * bms)
    high = n * (up * bms - ems) / (rest + n * up * bms)
    return icc, low, high, freedom


@pytest.mark.parametrize(
    "table",
    [
        np.array(JUDGED, dtype=float),
        np.column_stack([SBP["J1"], SBP["S1"]]),
        np.column_stack([SBP["J1"], SBP["R1"]]),
        np.column_stack([SBP["J1"], SBP["R1"], SBP["S1"]]),
        # Raters that agree less than chance has them: an ICC below zero.
        np.array([[1.0, 3.0], [2.0, 2.5], [3.0, 2.0], [4.0, 1.0], [3.5, 3.0]]),
    ],
)
@pytest.mark.parametrize("unit", [1.0, 1e-3, 1e3])
def test_the_interval_of_icc_is_that_of_the_older_form_in_any_unit(
    table: np.ndarray, unit: float
) -> None:
    icc, low, high, _ = by_hand(table)
    found = icc_agreement(unit * table)
    assert found is not None
    assert (found.value, found.low, found.high) == pytest.approx((icc, low, high), rel=1e-9)


def test_without_degrees_of_freedom_icc_has_no_interval() -> None:
    # [[-3, -1], [-2, -2]]: means of rows equal; mean squares 0, 1 of the raters, 1 of error;
    # ICC -1 / 1, and the two parts of the degrees of freedom cancel.
    found = icc_agreement([[-3.0, -1.0], [-2.0, -2.0]])
    assert found is not None
    assert (found.value, found.low, found.high) == (-1.0, None, None)
    # Raters that differ by the same everywhere, of subjects that do not: 0, and 0 / 0.
    found = icc_agreement([[1.0, 2.0], [1.0, 2.0]])
    assert found is not None
    assert (found.value, found.low, found.high) == (0.0, None, None)


def test_an_interval_wants_a_tenth_of_a_degree_of_freedom() -> None:
    # From the table above on the degrees of freedom grow from zero (a tenth: our choice).  At
    # 0.001 of them the quantiles would make an interval that does not even hold the ICC.
    icc, _, high, freedom = by_hand(np.array([[-3.0, -1.0], [-2.0, -1.7]]))
    assert freedom < 0.002
    assert high < icc
    seen = []
    for off in (0.3, 0.5, *np.linspace(0.7, 0.76, 13), 1.0, 1.5):
        table = np.array([[-3.0, -1.0], [-2.0, -2.0 + off]])
        *_, freedom = by_hand(table)
        found = icc_agreement(table)
        assert found is not None
        assert (found.low is None) == (found.high is None) == (freedom < 0.1)
        seen.append(freedom)
    assert min(abs(one - 0.1) for one in seen if one < 0.1) < 0.01
    assert min(abs(one - 0.1) for one in seen if one > 0.1) < 0.01


def test_ratings_that_are_none() -> None:
    for table in ([[1.0], [2.0]], [[1.0, 2.0]], [1.0, 2.0], [[1.0, math.nan], [2.0, 3.0]]):
        with pytest.raises(InputError, match="two or more finite ratings"):
            icc_agreement(table)  # type: ignore[arg-type]


def test_the_fewest_ratings_of_the_fewest_subjects() -> None:
    # [[1, 2], [3, 5]]: means of rows 1.5 and 4, of columns 2 and 3.5; grand mean 2.75.
    # MSR 2 x 3.125 = 6.25, MSC 2 x 1.125 = 2.25, residuals +-0.25: MSE 0.25.
    # ICC (6.25 - 0.25) / (6.25 + 0.25 + 2 (2.25 - 0.25) / 2) = 6 / 8.5.
    found = icc_agreement([[1.0, 2.0], [3.0, 5.0]])
    assert found is not None
    assert found.value == pytest.approx(6.0 / 8.5)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_icc_of_equal_ratings_is_not_made_of_rounding(sign: float) -> None:
    # 0.1 + 0.2 differs from 0.3 in its last digit alone.
    assert icc_agreement([[sign * (0.1 + 0.2), sign * 0.3], [sign * 0.3, sign * 0.3]]) is None
    assert icc_agreement([[sign * (1e9 + 1e-6), sign * 1e9], [sign * 1e9] * 2]) is None
    assert icc_agreement([[0.0, 0.0], [0.0, 0.0]]) is None
    # What differs by a hundredth is no rounding, however small the ratings are.
    found = icc_agreement([[sign * 1e-9, sign * 1e-9], [sign * 2e-9, sign * 1.99e-9]])
    assert found is not None
    assert found.value == pytest.approx(1.0, abs=0.01)


def test_raters_that_agree_in_everything_have_an_icc_of_one() -> None:
    found = icc_agreement([[1.0, 1.0], [2.0, 2.0], [4.0, 4.0]])
    assert found is not None
    assert (found.value, found.low, found.high) == (1.0, 1.0, 1.0)


def test_raters_that_only_contradict_each_other_have_no_icc() -> None:
    # Equal means of rows and of columns: what is left is 0 / 0.
    assert icc_agreement([[0.0, 1.0], [1.0, 0.0]]) is None


def test_ranks_count_from_0_and_come_in_pairs() -> None:
    for first, second, categories in (([0, -1], [0, 1], 3), ([0, 1], [-1, 1], 3), ([0], [0], 1)):
        with pytest.raises(InputError, match="allowed pairs of ranks from 0"):
            weighted_kappa(first, second, categories)
    with pytest.raises(InputError, match="found 0 values; allowed 1 or more"):
        weighted_kappa([], [], 2)
    for first, second in (([0, 1], [0, 2]), ([0, 2], [0, 1])):
        with pytest.raises(InputError, match="found a rank of 2; allowed below 2"):
            weighted_kappa(first, second, 2)


def test_kappa_of_two_categories_by_hand() -> None:
    # Cohen 1960, from memory: seen (20 + 15) / 50 = 0.7, expected 0.5 x 0.6 + 0.5 x 0.4 = 0.5.
    first = [0] * 25 + [1] * 25
    second = [0] * 20 + [1] * 5 + [0] * 10 + [1] * 15
    found = weighted_kappa(first, second, 2)
    assert found is not None
    assert found.value == pytest.approx(0.4)


def test_kappa_of_full_agreement_and_disagreement_stays_within_its_range() -> None:
    same = weighted_kappa([0, 1, 2], [0, 1, 2], 3)
    assert same is not None
    assert (same.value, same.low, same.high) == pytest.approx((1.0, 1.0, 1.0))
    other = weighted_kappa([0, 2], [2, 0], 3)
    assert other is not None
    assert (other.value, other.low) == pytest.approx((-1.0, -1.0))
    # Few pairs: the interval of large samples would reach beyond 1 and below -1.
    near = weighted_kappa([0, 1, 2, 2], [0, 1, 2, 1], 3)
    assert near is not None
    assert near.high == 1.0
    far = weighted_kappa([0, 1, 2, 2], [2, 1, 0, 1], 3)
    assert far is not None
    assert far.low == -1.0
    assert weighted_kappa([1, 1], [1, 1], 3) is None
