"""A dozen recordings on every run: the reader must not fall far below what it reaches.

The floors lie well below what is reached, so that a different draw of the same
groups would pass too; figures of whole groups come from ``python -m tests.accuracy``.
"""

from __future__ import annotations

import pytest

from tests.accuracy.results import GroupResult, group_result, share
from tests.accuracy.run import score_many
from tests.accuracy.scoring import Score

CASES = (
    *(("ordinary", seed) for seed in range(100, 104)),
    *(("breath_6db", seed) for seed in (100, 101)),
    *(("run_up", seed) for seed in (100, 101)),
    *(("systolic_not_reached", seed) for seed in (100, 101)),
    *(("no_sounds", seed) for seed in (100, 101)),
    *(("into_gap", seed) for seed in (100, 101)),
)


@pytest.fixture(scope="module")
def rows() -> list[Score]:
    return score_many(CASES)


@pytest.fixture(scope="module")
def result(rows: list[Score]) -> GroupResult:
    return group_result("small", rows)


def test_every_recording_is_read(rows: list[Score]) -> None:
    assert [row.failure for row in rows if row.failure is not None] == []
    assert [(row.group, row.seed) for row in rows] == list(CASES)


def test_most_recordings_are_right(rows: list[Score], result: GroupResult) -> None:
    assert result.success.some >= 9
    assert share(row.success for row in rows if row.group == "ordinary").some >= 2


def test_values_are_mostly_right_and_seldom_withheld(result: GroupResult) -> None:
    assert (result.systolic.right.value or 0.0) >= 0.6
    assert (result.diastolic.right.value or 0.0) >= 0.6
    assert (result.systolic.abstained.value or 0.0) <= 0.3
    assert (result.diastolic.abstained.value or 0.0) <= 0.3


def test_noise_alone_is_unreadable(result: GroupResult) -> None:
    assert result.unreadable == share([True, True])


def test_a_first_sound_below_a_gap_is_never_ok(result: GroupResult) -> None:
    assert result.into_gap_ok == share([False, False])


def test_sounding_beats_are_found_and_few_invented(result: GroupResult) -> None:
    assert (result.precision.value or 0.0) >= 0.75
    assert (result.recall.value or 0.0) >= 0.7


def test_gaps_are_not_invented(result: GroupResult) -> None:
    assert result.false_gaps.some <= 1


def test_intervals_hold_the_threshold(result: GroupResult) -> None:
    assert result.systolic.covered.all >= 6
    assert (result.systolic.covered.value or 0.0) >= 0.6
    assert (result.diastolic.covered.value or 0.0) >= 0.6
