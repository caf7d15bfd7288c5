"""The curve of errors over how much is kept, by hand and where it is thinned."""

from __future__ import annotations

from itertools import pairwise

import pytest

from tapfall.errors import InputError
from tapfall.study.agreement import risk_coverage


def test_the_curve_by_hand() -> None:
    # Of 10 attempts 4 have a value: the surest off by 2, two alike by 4 and 9, the last by 5.
    curve = risk_coverage([4.0, -2.0, -9.0, 5.0], [0.7, 0.9, 0.7, 0.4], 10)
    assert [(one.confidence, one.kept, one.coverage) for one in curve] == [
        (0.9, 1, 0.1),
        (0.7, 3, 0.3),
        (0.4, 4, 0.4),
    ]
    assert [one.mean_absolute_mmhg for one in curve] == [2.0, 5.0, 5.0]
    assert [one.beyond_5 for one in curve] == [0.0, pytest.approx(1 / 3), 0.25]


def test_an_error_of_exactly_5_is_not_beyond() -> None:
    # Decimals are no exact numbers: 128.3 - 123.3 is a little more than 5.
    gap = 128.3 - 123.3
    assert gap > 5.0
    (one,) = risk_coverage([gap, -gap, 5.001], [0.5] * 3, 3)
    assert one.beyond_5 == pytest.approx(1 / 3)


@pytest.mark.parametrize("count", [101, 102, 500, 1000])
def test_a_thinned_curve_keeps_both_ends_and_even_steps_between(count: int) -> None:
    # Errors 1, 2, 3, ... from the surest on: the mean of the first n is (n + 1) / 2.
    errors = [float(n) for n in range(1, count + 1)]
    curve = risk_coverage(errors, [1.0 - n / count for n in range(count)], 2 * count)
    assert len(curve) == 101
    assert (curve[0].kept, curve[0].confidence) == (1, 1.0)
    assert (curve[-1].kept, curve[-1].coverage) == (count, 0.5)
    steps = [two.kept - one.kept for one, two in pairwise(curve)]
    assert min(steps) >= 1
    assert max(steps) - min(steps) <= 1
    for one in curve:
        assert one.mean_absolute_mmhg == pytest.approx((one.kept + 1) / 2)


def test_every_value_has_a_confidence_and_an_attempt() -> None:
    assert risk_coverage([1.0, 2.0], [0.5, 0.6], 2)[-1].coverage == 1.0
    with pytest.raises(InputError, match="found 2 differences, 1 confidences and 5 attempts"):
        risk_coverage([1.0, 2.0], [0.5], 5)
    with pytest.raises(InputError, match="no fewer attempts"):
        risk_coverage([1.0, 2.0], [0.5, 0.6], 1)
