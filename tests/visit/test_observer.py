"""What written-down values tell of the observer, against scipy.stats and published figures."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tapfall.errors import SettingError
from tapfall.model import FindingState
from tapfall.visit import ObserverFinding, check_observer
from tapfall.visit.observer import chi_square


def named(values: list[int], check: str, **how: int) -> ObserverFinding:
    (found,) = (one for one in check_observer(values, **how) if one.check == check)
    return found


def with_digits(*counts: int, step: int = 2) -> list[int]:
    """Values with these counts of last digits 0, ``step``, 2 ``step``, ..., spread over tens."""
    return [
        100 + 10 * (n % 7) + step * place for place, many in enumerate(counts) for n in range(many)
    ]


#: Observers J and R of the published data set `sbp` (85 people, three readings each; R package
#: MethComp), as counted in facts 5.1: chi-square and p on 4 degrees.
@pytest.mark.parametrize(
    ("counts", "statistic", "p_value"),
    [((54, 50, 54, 46, 50), 0.88, 0.93), ((49, 41, 51, 57, 56), 3.24, 0.52)],
)
def test_two_careful_observers(counts: tuple[int, ...], statistic: float, p_value: float) -> None:
    found = named(with_digits(*counts), "even digits")
    assert found.statistic == pytest.approx(statistic, abs=0.005)
    assert found.p_value == pytest.approx(p_value, abs=0.005)
    assert found.freedom == 4
    assert found.state is FindingState.OK


#: Facts 5.1: share of zeros, the rest even; chi-square for n of 50, 100 and 200.
@pytest.mark.parametrize(
    ("share", "count", "statistic"),
    [
        (0.31, 50, 3.8), (0.31, 100, 7.6), (0.31, 200, 15.1),
        (0.446, 50, 18.9), (0.446, 100, 37.8), (0.446, 200, 75.6),
    ],
)  # fmt: skip
def test_published_shares_of_zero(share: float, count: int, statistic: float) -> None:
    counts = [share * count] + [(1.0 - share) * count / 4.0] * 4
    assert chi_square(counts)[0] == pytest.approx(statistic, abs=0.06)  # type: ignore[arg-type]


#: Critical values of chi-square, as in any table of it.
@pytest.mark.parametrize(
    ("freedom", "critical"),
    [(4, (9.49, 13.28, 18.47)), (9, (16.92, 21.67, 27.88))],
)
def test_critical_values(freedom: int, critical: tuple[float, ...]) -> None:
    for value, level in zip(critical, (0.05, 0.01, 0.001), strict=True):
        # counts whose chi-square is the critical value: two cells moved apart
        cells = freedom + 1
        apart = math.sqrt(value * 1000.0 / 2.0)
        counts = [1000.0 + apart, 1000.0 - apart] + [1000.0] * (cells - 2)
        assert chi_square(counts)[1] == pytest.approx(level, rel=0.01)  # type: ignore[arg-type]


@given(st.lists(st.integers(0, 80), min_size=5, max_size=10).filter(lambda one: sum(one) > 0))
def test_chi_square_is_that_of_scipy(counts: list[int]) -> None:
    statistic, p_value, score = chi_square(counts)
    expected = stats.chisquare(counts)
    assert statistic == pytest.approx(expected.statistic, abs=1e-9)
    assert p_value == pytest.approx(expected.pvalue, abs=1e-12)
    # Cramer's V of goodness of fit is the digit score: 100 when all values share a digit.
    assert score == pytest.approx(
        100.0 * math.sqrt(expected.statistic / sum(counts) / (len(counts) - 1))
    )
    assert 0.0 <= score <= 100.0 + 1e-9


def test_chi_square_by_hand() -> None:
    # Even degrees have a closed form: p = exp(-x/2) (1 + x/2) on 4.
    statistic, p_value, _ = chi_square([30, 20, 20, 10, 20])
    assert statistic == 10.0
    assert p_value == pytest.approx(math.exp(-5.0) * 6.0, rel=1e-12)


def test_a_preference_for_zero_asks_for_a_look() -> None:
    found = named(with_digits(45, 14, 14, 14, 13), "even digits")
    assert found.state is FindingState.LOOK
    assert found.effect is not None
    assert found.effect > 15.0
    assert found.sentence == "45 of 100 even values end in zero (45 %; by chance 20 %)."
    assert "AHA" in found.source or "MONICA" in found.source


def test_a_sure_but_small_preference_does_not() -> None:
    found = named(with_digits(520, 400, 400, 400, 400), "even digits")
    assert found.p_value is not None
    assert found.p_value < 0.01
    assert found.effect is not None
    assert found.effect < 15.0
    assert found.state is FindingState.OK


def test_all_digits() -> None:
    even = named(with_digits(20, 20, 20, 20, 20), "all digits")
    assert even.state is FindingState.OK
    assert even.sentence == "All 100 values are even, as readings to the nearest 2 mmHg are."
    fair = named(with_digits(*[10] * 10, step=1), "all digits")
    assert (fair.state, fair.statistic, fair.freedom) == (FindingState.OK, 0.0, 9)
    assert fair.sentence.startswith("50 of 100 values are odd: read to the nearest 2 mmHg none")
    fives = named(with_digits(40, 0, 0, 0, 0, 40, 5, 5, 5, 5, step=1), "all digits")
    assert fives.state is FindingState.LOOK


#: The published machine S uses all ten digits: 8.02 on 9 degrees, p 0.53 (facts 5.1).
def test_p_of_the_machine() -> None:
    assert float(stats.chi2.sf(8.02, 9)) == pytest.approx(0.53, abs=0.005)
    apart = math.sqrt(8.02 * 25.5 / 2.0)
    counts = [25.5 + apart, 25.5 - apart] + [25.5] * 8
    assert chi_square(counts)[1] == pytest.approx(0.53, abs=0.005)  # type: ignore[arg-type]


def test_equal_neighbours_are_counted_against_a_random_order() -> None:
    rng = np.random.default_rng(4)
    values = [int(one) for one in 2 * rng.integers(55, 75, 60)]
    found = named(values, "equal neighbours")
    orders = [rng.permutation(values) for _ in range(4000)]
    counts = np.array([np.count_nonzero(one[1:] == one[:-1]) for one in orders])
    expected = found.statistic / found.effect  # type: ignore[operator]
    assert counts.mean() == pytest.approx(expected, abs=4.0 * counts.std() / math.sqrt(4000))
    at_least = float(np.mean(counts >= found.statistic))
    assert found.p_value == pytest.approx(at_least, abs=0.05)
    assert found.state is FindingState.OK


def test_p_of_equal_neighbours_is_binomial() -> None:
    values = [120, 120, 120, 130, 130, 140, 140, 150, 150, 160] * 4
    found = named(values, "equal neighbours")
    equal = sum(a == b for a, b in pairwise(values))
    chance = sum(values.count(one) - 1 for one in values) / (40 * 39)
    assert found.statistic == equal
    assert found.p_value == pytest.approx(float(stats.binom.sf(equal - 1, 39, chance)))


def test_copied_readings_ask_for_a_look() -> None:
    copied = [value for one in range(110, 170, 2) for value in (one, one)]
    assert named(copied, "equal neighbours").state is FindingState.LOOK


def fitted_dip(below: float, above: float, beyond: float) -> tuple[float, float]:
    """Log of the middle count to a log-linear trend, and its standard error, by regression.

    A Poisson model with intercept, slope and an extra effect of the middle fits three counts
    exactly; its information matrix gives the error.
    """
    design = np.array([[1.0, -1.0, 0.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]])
    counts = np.array([below, above, beyond])
    effect = np.linalg.solve(design, np.log(counts))
    covariance = np.linalg.inv(design.T @ np.diag(counts) @ design)
    return float(effect[2]), float(math.sqrt(covariance[2, 2]))


@pytest.mark.parametrize("counts", [(60, 20, 40), (30, 25, 20), (80, 5, 40), (12, 9, 10)])
def test_dips_are_those_of_a_poisson_regression(counts: tuple[int, int, int]) -> None:
    values = [
        low + 2 * (n % 5) for low, many in zip((130, 140, 150), counts, strict=True)
        for n in range(many)
    ]  # fmt: skip
    found = named(values, "above 140 mmHg")
    dip, error = fitted_dip(*(count + 0.5 for count in counts))
    assert found.effect == pytest.approx(math.exp(dip))
    assert found.statistic == pytest.approx(dip / error)
    assert found.p_value == pytest.approx(float(stats.norm.cdf(dip / error)))


def test_avoided_thresholds() -> None:
    avoided = [138] * 80 + [142] * 10 + [152] * 40
    assert named(avoided, "above 140 mmHg").state is FindingState.LOOK
    assert named([one - 50 for one in avoided], "above 90 mmHg", threshold_mmhg=90).state is (
        FindingState.LOOK
    )


def test_honest_readings_seldom_ask_for_a_look() -> None:
    rng = np.random.default_rng(11)
    looks = {"even digits": 0, "equal neighbours": 0, "above 140 mmHg": 0}
    for _ in range(400):
        values = [int(one) for one in 2 * np.round(rng.normal(136.0, 16.0, 200) / 2.0)]
        for found in check_observer(values):
            if found.check in looks:
                looks[found.check] += found.state is FindingState.LOOK
    # p below 0.01 and a large effect: at most 1 % and its scatter.
    assert all(count <= 12 for count in looks.values()), looks


def test_too_few_values() -> None:
    for found in check_observer([120, 130, 140]):
        assert found.state is FindingState.UNKNOWN
        assert (found.statistic, found.p_value, found.effect) == (None, None, None)
        assert "too few to tell" in found.sentence
    assert len(check_observer([])) == 4
    assert check_observer([120])[0].sentence.startswith("1 value is too few to tell; ")


@pytest.mark.parametrize("bad", [120.5, -2, 401, math.nan, math.inf])
def test_values_are_whole_pressures(bad: float) -> None:
    with pytest.raises(SettingError, match=r"^value 2: found .*; allowed whole numbers, 0 to 400"):
        check_observer([120, bad])


@given(st.lists(st.integers(0, 400), max_size=80))
def test_any_values_are_told_of(values: list[int]) -> None:
    found = check_observer(values)
    assert [one.check for one in found] == [
        "all digits", "even digits", "equal neighbours", "above 140 mmHg",
    ]  # fmt: skip
    for one in found:
        assert one.sentence.endswith(".")
        assert one.source
        assert one.p_value is None or 0.0 <= one.p_value <= 1.0
