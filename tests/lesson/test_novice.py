"""Difficulty, measured on a few items of the ends and the middle of the grades."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.lesson import Order, grade_of, make_items
from tapfall.lesson.novice import Difficulty, difficulty, novice_answer


@pytest.fixture(scope="module")
def measured() -> list[Difficulty]:
    return [difficulty(grade_of(name), 8, 2) for name in ("1", "3", "6")]


def test_the_novice_errs_more_from_grade_to_grade(measured: list[Difficulty]) -> None:
    errors = [one.novice_mmhg for one in measured]
    assert errors[0] < 3.0
    assert errors[0] + 3.0 < errors[1] < errors[2] + 6.0
    assert errors[2] > 8.0


def test_the_reading_is_less_sure_in_the_last_grade(measured: list[Difficulty]) -> None:
    assert measured[0].confidence > 0.95
    assert measured[2].confidence < measured[0].confidence - 0.05


def test_a_novice_reads_clear_sounds_almost_right() -> None:
    rng = np.random.default_rng(1)
    for made in make_items(Order(grade=grade_of("1"), count=4, seed=4, random_zero=True)):
        said = novice_answer(made, rng)
        assert said.systolic_mmhg is not None
        assert said.systolic_mmhg - made.key.offset_mmhg == pytest.approx(
            made.key.systolic_mmhg, abs=8.0
        )
