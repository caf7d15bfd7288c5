"""The line of the difference, and that of its size, at their edges and by hand."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from tapfall.errors import InputError
from tapfall.study.agreement import agreement, proportional_bias, table_of
from tapfall.study.agreement.proportional import line


def test_a_line_wants_ten_pairs() -> None:
    levels = [100.0 + 5.0 * n for n in range(10)]
    assert proportional_bias(levels, levels).slope.value == pytest.approx(0.0)
    with pytest.raises(InputError, match="found 9 values; allowed 10 or more"):
        proportional_bias(levels[:9], levels[:9])
    with pytest.raises(InputError, match="found 10 and 11 values; allowed pairs"):
        proportional_bias(levels, [*levels, 150.0])


def test_a_slope_by_hand() -> None:
    # x 0, 1, 2 and y 0, 1, 5: centred x -1, 0, 1; slope (5 - 0) / 2, mean 2 at 1.
    # Residuals 0.5, -1, 0.5: squares 1.5 with one degree of freedom, error sqrt(1.5 / 2).
    x, y = np.arange(3.0), np.array([0.0, 1.0, 5.0])
    intercept, slope, p_value = line(x, y)
    assert (intercept, slope.value) == pytest.approx((-0.5, 2.5))
    # Student's t of one degree of freedom is tan(pi (p - 1/2)) at p, and the share beyond t on
    # both sides 1 - 2 atan(t) / pi (Cauchy; common practice).
    error = math.sqrt(1.5 / 2.0)
    reach = math.tan(math.pi * 0.475) * error
    assert (slope.low, slope.high) == pytest.approx((2.5 - reach, 2.5 + reach))
    assert p_value == pytest.approx(1.0 - 2.0 * math.atan(2.5 / error) / math.pi)
    # Falling as steeply is as unlikely, in whatever unit.
    assert line(x, 0.01 * y)[2] == pytest.approx(p_value)
    assert line(x, -y)[2] == pytest.approx(p_value)


def test_a_line_without_error_is_certain_or_flat() -> None:
    levels = np.arange(4.0)
    intercept, slope, p_value = line(levels, 1.0 + 2.0 * levels)
    assert (intercept, slope.value, slope.low, slope.high, p_value) == (1.0, 2.0, 2.0, 2.0, 0.0)
    intercept, slope, p_value = line(levels, np.full(4, 4.0))
    assert (intercept, slope.value, slope.low, slope.high, p_value) == (4.0, 0.0, 0.0, 0.0, 1.0)


def test_pairs_at_one_level_have_no_line() -> None:
    # The level is the mean of both: gaps of any size at one mean are no levels.
    gaps = np.arange(12.0)
    with pytest.raises(InputError, match="found every pair at one level"):
        proportional_bias(120.0 + gaps, 120.0 - gaps)
    with pytest.raises(InputError, match="found every pair at one level"):
        proportional_bias([0.0] * 10, [0.0] * 10)
    # What differs in the last digits of floating point alone is one level.
    with pytest.raises(InputError, match="found every pair at one level"):
        proportional_bias(120.0 + gaps + 1e-8 * (gaps % 2), 120.0 - gaps)
    found = proportional_bias(120.0 + gaps + 1e-3 * gaps, 120.0 - gaps)
    assert math.isfinite(found.slope.value)


def test_decimals_that_add_up_to_one_level_have_no_line() -> None:
    # All add up to 240.03, which floating point makes three numbers of.
    rows = [(n / 100, (24003 - n) / 100) for n in range(9000, 15000, 7)]
    assert len({ref + est for ref, est in rows}) == 3
    text = "\n".join(["reference,estimate", *(f"{ref:.2f},{est:.2f}" for ref, est in rows)])
    (group,) = agreement(table_of("t", text.encode())).groups
    (one,) = [each for each in group.results if each.name.startswith("Does the difference")]
    assert one.verdict == "not computed"
    assert one.notes == ("It wants 10 independent pairs, not all at one level.",)


def test_two_levels_have_a_line() -> None:
    # Means of 120 and 140 mmHg, differences 0 and 4 on average: 0.2 mmHg for each mmHg.
    rows = [(120, 120), (119, 121), (121, 119), (119, 121), (121, 119),
            (138, 142), (137, 143), (139, 141), (137, 143), (139, 141)]  # fmt: skip
    text = "\n".join(["reference,estimate", *(f"{ref},{est}" for ref, est in rows)])
    (group,) = agreement(table_of("t", text.encode())).groups
    (one,) = [each for each in group.results if each.name.startswith("Does the difference")]
    assert one.numbers[1].value == pytest.approx(0.2)
    assert one.numbers[0].value == pytest.approx(-24.0)


def test_the_limits_at_a_level_hold_95_in_100() -> None:
    # Bland & Altman 1999, section 3.2: SD grows from 5 at 100 mmHg to 15 at 200 mmHg.
    rng = np.random.default_rng(9)
    level = rng.uniform(100.0, 200.0, 20_000)
    gap = 2.0 + 0.1 * (level - 100.0) + rng.standard_normal(level.size) * (level - 50.0) / 10.0
    estimate, reference = level + gap / 2.0, level - gap / 2.0
    found = proportional_bias(estimate, reference)
    text = "\n".join(f"{ref:.6f},{est:.6f}" for ref, est in zip(reference, estimate, strict=True))
    (group,) = agreement(table_of("t", f"reference,estimate\n{text}".encode())).groups
    (one,) = [each for each in group.results if each.name.startswith("Does the difference")]
    (times,) = re.findall(r"plus (\S+) times", one.notes[0])
    assert float(times) == pytest.approx(1.96 * math.sqrt(math.pi / 2.0), abs=0.005)
    middle = found.intercept + found.slope.value * level
    reach = float(times) * (found.spread_intercept + found.spread_slope.value * level)
    for low, high in ((100.0, 120.0), (140.0, 160.0), (180.0, 200.0)):
        here = (level >= low) & (level < high)
        assert (np.abs(gap - middle)[here] <= reach[here]).mean() == pytest.approx(0.95, abs=0.012)
