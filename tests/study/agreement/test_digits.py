"""Last digits: which are counted, and from where on they ask for a look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from tapfall.study.agreement.digits import digits_of
from tapfall.study.agreement.result import Digits


def ending(counts: Sequence[int]) -> Digits:
    """So many values ending in 0, 2, 4, 6 and 8."""
    values = [100.0 + 2 * place for place, count in enumerate(counts) for _ in range(count)]
    return digits_of("observer 1", np.array(values))


def test_only_whole_values_have_a_last_digit() -> None:
    found = digits_of("observer 2", np.array([100.0, 98.0, 7.0, 120.5, 119.999, 110.0, 0.0]))
    assert (found.who, found.values, found.not_whole) == ("observer 2", 7, 2)
    assert found.counts == (3, 0, 0, 0, 0, 0, 0, 1, 1, 0)


def test_25_even_values_are_the_fewest() -> None:
    # Five expected of each digit: the usual rule for chi-square (common practice).
    few = ending([20, 1, 1, 1, 1])
    assert (few.chi_square, few.p_value, few.score, few.look) == (None, None, None, False)
    enough = ending([21, 1, 1, 1, 1])
    # By hand: (16^2 + 4 x 4^2) / 5 = 64; score 100 sqrt(64 / (25 x 4)) = 80.
    assert (enough.chi_square, enough.score) == pytest.approx((64.0, 80.0))
    assert enough.look


@pytest.mark.parametrize(
    ("counts", "score", "look"),
    [
        # Unlikely and large (both bounds are ours): squares 120^2 + 4 x 30^2 over 200 are 90 of
        # 1000 values, a score of just 15; one value moved makes it 14.9.
        ([320, 170, 170, 170, 170], 15.0, True),
        ([319, 171, 170, 170, 170], 14.9, False),
        # Large, but of 50 values chi-square is 12.8 and 13.6: one in 100 exceeds 13.28 by chance
        # (tables of chi-square with four degrees of freedom).
        ([19, 11, 9, 7, 4], 25.3, False),
        ([20, 9, 9, 7, 5], 26.1, True),
        # Of ten thousand values a small preference is sure, and still small.
        ([2300, 1925, 1925, 1925, 1925], 3.75, False),
    ],
)
def test_preferences_that_are_both_unlikely_and_large_ask_for_a_look(
    counts: list[int], score: float, look: bool
) -> None:
    found = ending(counts)
    assert found.score == pytest.approx(score, abs=0.05)
    assert found.look is look
