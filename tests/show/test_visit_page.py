"""The page of a visit in cases that its command does not show: what is missing, both arms."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

from tapfall.show.visit_page import Shown, visit_html
from tapfall.visit import Arm, Lost, Taken, visit
from tests.visit.made import not_reached, reading, series, unreadable


def page(taken: list[Taken], **how: object) -> str:
    """The page of readings without recordings, blanks made one."""
    text = visit_html(
        visit(taken), [Shown(taken=one, recording=None, source=None) for one in taken], **how
    )  # type: ignore[arg-type]
    return " ".join(text.split())


def test_where_nothing_could_be_averaged_the_page_says_so() -> None:
    told = page([Taken(reading=unreadable(), label="first"), Taken(reading=not_reached(189.0))])
    assert "<title>Nothing could be averaged" in told
    assert "no reading could be averaged" in told
    assert "dashed lines at the averages" not in told
    assert "none. " in told


def test_a_single_reading_is_no_average() -> None:
    told = page([Taken(reading=reading(128.0, 82.0), arm=Arm.RIGHT, label="only")])
    assert "a single reading, no average, right arm" in told
    assert "<title>128/82 mmHg" in told
    assert "Systolic and diastolic of 1 reading with" in told
    assert '<h2 id="average" tabindex="-1">Single reading</h2>' in told
    assert "nothing: a single reading. ACC/AHA 2025" in told
    assert "dashed lines at the single reading" in told
    assert ">Average<" not in told
    assert ">Counted<" in told
    more = page(series((128, 82), (130, 84)))
    assert '<h2 id="average" tabindex="-1">Average</h2>' in more
    assert "a single reading" not in more


def test_an_arm_with_one_reading_has_no_average() -> None:
    told = page(series((140, 90), (140, 90)) + series((128, 85), arm=Arm.RIGHT))
    assert "Average, left arm" in told
    assert "Single reading, right arm" in told


def test_times_are_told_as_day_and_hour() -> None:
    at = datetime.fromisoformat
    one = Taken(reading=reading(), time=at("2026-03-31T09:15:20+02:00"))
    same = Taken(reading=reading(), time=at("2026-03-31T09:16:20+02:00"))
    told = page([one, same])
    assert "<td>2026-03-31 09:15</td>" in told
    assert "<td>2026-03-31 09:16</td>" in told
    other = replace(same, time=at("2026-03-31T07:16:20+00:00"))
    told = page([one, other])
    assert "<td>2026-03-31 09:15+02:00</td>" in told
    assert "<td>2026-03-31 07:16+00:00</td>" in told
    plain = page([replace(one, time=at("2026-03-31")), replace(one, time=None)])
    assert "<td>2026-03-31 00:00</td>" in plain


def test_both_arms_stand_beside_each_other() -> None:
    # Left minus right: 140 - 128 and 90 - 85.
    both = series((140, 90), (140, 90)) + series((128, 85), (128, 85), arm=Arm.RIGHT)
    told = page(both)
    assert "Left minus right" in told
    assert "+12.0 / +5.0" in told
    assert "Average, left arm" in told
    assert "Average, right arm" in told


def test_readings_without_arm_or_range() -> None:
    told = page(series((128, 82), (130, 84), arm=None, half=None))
    assert "average of 2 readings" in told
    assert "not known" in told
    assert "the range is not known" in told


def test_a_sure_category_stands_by_itself() -> None:
    # 150/95 with 1 mmHg either way lies within stage 2 (140 or 90 on: ACC/AHA 2025).
    told = page(series((160, 100), (160, 100), half=1.0))
    assert "category uncertain" not in told
    assert re.search(r"stage 2", told)


def test_no_rounding_hides_that_an_average_is_very_high() -> None:
    # Above 180 or 120 mmHg is very high (ACC/AHA 2017), 180.0 and 120.0 themselves are not.
    told = page(series((180.04, 120.04), (180.04, 120.04)))
    assert "<td>180.04</td>" in told
    assert "<td>120.04</td>" in told
    assert "<td>180.0</td>" not in told


def test_what_was_lost_is_told_with_its_reason() -> None:
    told = page(series((128, 82), (130, 84)), lost=[Lost(name="gone.wav", reason="<b>no file")])
    assert "gone.wav" in told
    assert "&lt;b&gt;no file" in told
    assert "<b>no file" not in told
