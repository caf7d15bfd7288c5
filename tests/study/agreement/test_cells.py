"""Cells of a table of pairs at the bounds of what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tapfall.errors import InputError
from tapfall.study.agreement import cells
from tapfall.study.agreement.rows import together

REFERENCE = cells.pressure("reference", "a number or nothing")


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (REFERENCE, "0", 0.0),
        (REFERENCE, "400", 400.0),
        (REFERENCE, "+120.25", 120.25),
        (cells.estimate, "0", (0.0, 0)),
        (cells.estimate, ">=400", (400.0, 1)),
        (cells.estimate, "<= 0", (0.0, -1)),
        (cells.estimate, ">= 120.5", (120.5, 1)),
        (cells.confidence, "0", 0.0),
        (cells.confidence, "1", 1.0),
        (cells.confidence, "0.5", 0.5),
        (cells.age_years, "0", 0.0),
        (cells.age_years, "130", 130.0),
        (cells.arm_cm, "8", 8.0),
        (cells.arm_cm, "80", 80.0),
        (cells.measure, "SYSTOLIC", "systolic"),
        (cells.measure, "Mean", "mean"),
        (cells.sex, "Female", "female"),
        (cells.sex, "", ""),
        (cells.cuff_size, "Large-Adult", "large adult"),
        (cells.cuff_size, "Size-7", "Size-7"),
        (cells.cuff_size, "", ""),
        (cells.subject, "x" * 60, "x" * 60),
        (cells.simulated, "Yes", 1.0),
        (cells.simulated, "no", 0.0),
        (cells.simulated, "", 0.0),
    ],
)
def test_what_a_cell_means(parse: Callable[[str], Any], text: str, value: object) -> None:
    assert parse(text) == value


@pytest.mark.parametrize("parse", [REFERENCE, cells.confidence, cells.age_years, cells.arm_cm])
def test_an_empty_cell_is_not_a_number(parse: Callable[[str], float]) -> None:
    assert math.isnan(parse(""))


def test_a_bound_without_a_number_is_told_whole() -> None:
    with pytest.raises(InputError, match="found '>=abc'; allowed a number behind >="):
        cells.estimate(">=abc")


def test_an_empty_estimate_bounds_nothing() -> None:
    value, bound = cells.estimate("")
    assert math.isnan(value)
    assert bound == 0


@pytest.mark.parametrize(
    ("parse", "text", "wanted"),
    [
        (REFERENCE, "-0.1", "allowed 0 to 400 mmHg"),
        (REFERENCE, "400.1", "allowed 0 to 400 mmHg"),
        (cells.estimate, "<=400.1", "estimate: found '400.1'; allowed 0 to 400 mmHg"),
        (cells.estimate, ">=-1", "allowed 0 to 400 mmHg"),
        (cells.estimate, ">= ", "estimate: found '>= '; allowed a number behind >="),
        (cells.estimate, "<=", "estimate: found '<='; allowed a number behind <="),
        (cells.estimate, "=>120", "allowed a number, >= or <= and one, or nothing"),
        (cells.confidence, "-0.01", "allowed 0 to 1"),
        (cells.confidence, "1.01", "allowed 0 to 1"),
        (cells.confidence, "nan", "allowed 0 to 1"),
        (cells.age_years, "-0.1", "allowed 0 to 130 years"),
        (cells.age_years, "130.1", "allowed 0 to 130 years"),
        (cells.arm_cm, "7.9", "allowed 8 to 80 cm"),
        (cells.arm_cm, "80.1", "allowed 8 to 80 cm"),
        (cells.arm_cm, "inf", "allowed 8 to 80 cm"),
        (cells.measure, "", "measure: found ''"),
        (cells.sex, "m", "allowed female, male, other, or nothing"),
        (cells.subject, "", "subject: found nothing"),
        (cells.subject, "x" * 61, "subject: found .*; allowed at most 60 letters"),
        (cells.cuff_size, "x" * 61, "cuff_size: found .*; allowed at most 60 letters"),
        (cells.name("condition"), "x" * 61, "condition: found .*; allowed at most 60 letters"),
    ],
)
def test_what_a_cell_may_not_be(parse: Callable[[str], Any], text: str, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted):
        parse(text)


@pytest.mark.parametrize(
    ("first", "second", "reference"),
    [
        # Observers more than 4 mmHg apart give no reference (ISO 81060-2, from memory).
        (120.0, 124.0, 122.0),
        (124.0, 120.0, 122.0),
        (120.0, 124.01, None),
        (124.01, 120.0, None),
        # 124.3 - 120.3 comes out a little off 4, either way.
        (120.3, 124.3, 122.3),
        (128.1, 124.1, 126.1),
        (120.0, math.nan, 120.0),
        (math.nan, 124.0, 124.0),
    ],
)
def test_two_observers_give_their_mean(
    first: float, second: float, reference: float | None
) -> None:
    given = np.array([first]), np.array([second])
    (value,), (apart,) = together(*given)
    assert bool(apart) is (reference is None)
    if reference is None:
        assert math.isnan(value)
    else:
        assert value == pytest.approx(reference)


def test_two_observers_that_wrote_nothing_are_not_apart() -> None:
    (value,), (apart,) = together(np.array([math.nan]), np.array([math.nan]))
    assert math.isnan(value)
    assert not apart
