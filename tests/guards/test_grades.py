"""The table of grades in the README is that of the code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tapfall.lesson.grades import GRADES, Grade

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def row(grade: Grade) -> list[str]:
    """Cells of a grade's row, from its ratio to its gaps."""
    ranges = [grade.signal_to_noise_db, grade.deflation_mmhg_per_s, grade.heart_rate_per_min]
    ratio, rate, beats = (f"{low:g}-{high:g}" for low, high in ranges)
    low, high = grade.gap_mmhg
    gaps = f"{100 * grade.gap_share:g} %, {low:g}-{high:g} mmHg" if grade.gap_share else "none"
    return [ratio, f"{grade.over_noise_db:g}", rate, beats, gaps]


@pytest.mark.parametrize("grade", GRADES, ids=lambda one: one.name)
def test_the_readme_tells_what_a_grade_is_drawn_from(grade: Grade) -> None:
    (line,) = re.findall(rf"^\| {grade.name} \| (.*) \|$", README, re.MULTILINE)
    assert line.split(" | ")[1:6] == row(grade)
