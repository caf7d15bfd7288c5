"""The protocols' criteria for one group: their numbers by hand, and what is said with them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from tapfall.study.agreement import table_of
from tapfall.study.agreement.judged import judged
from tapfall.study.agreement.pairs import pairs_of
from tapfall.study.agreement.result import Result

MET, NOT_MET = "criterion met on this sample", "criterion not met on this sample"


def results(people: Sequence[Sequence[float]] | None, every: Sequence[float] = ()) -> list[Result]:
    """What is judged of differences by subject, or of nobody; every reference is 120."""
    if people is None:
        rows = ["reference,estimate", *(f"120,{120 + gap:.6f}" for gap in every)]
    else:
        told = [(who, gap) for who, gaps in enumerate(people) for gap in gaps]
        rows = ["reference,estimate,subject", *(f"120,{120 + gap:.6f},{who}" for who, gap in told)]
    return list(judged(pairs_of(table_of("t", "\n".join(rows).encode())), "systolic"))


def values(result: Result) -> list[float | None]:
    return [one.value for one in result.numbers]


def test_criterion_1_is_of_all_pairs_with_the_sd_of_a_sample() -> None:
    # 1, 3, 5, 7: mean 4, squares 9 + 1 + 1 + 9 over 3.
    first = results([[1.0, 3.0, 5.0], [7.0]])[0]
    assert values(first) == pytest.approx([4.0, math.sqrt(20.0 / 3.0)])
    assert first.verdict == MET
    # Three pairs at -8 m, m and 8 m: an SD of 8 m.
    for size, verdict in ((8.0, MET), (8.001, NOT_MET)):
        first = results(None, [-size, 0.0, size])[0]
        assert values(first) == pytest.approx([0.0, size])
        assert first.verdict == verdict


def test_criterion_2_is_of_the_means_of_subjects_at_the_mean_of_criterion_1() -> None:
    # Means 2 and 5 of unequal numbers: SD 3 / sqrt(2); the mean is 3.8, that of the five pairs.
    second = results([[1.0, 3.0], [4.0, 5.0, 6.0]])[1]
    assert values(second)[:2] == pytest.approx([3.8, 3.0 / math.sqrt(2.0)])
    assert second.verdict == MET
    # 3.8 mmHg allow 5.77 by the table as remembered.
    assert second.numbers[3].value == 5.77
    assert second.numbers[2].value == pytest.approx(5.77, abs=0.02)
    assert "at the mean error of criterion 1" in second.source
    # Criterion 1 is beyond its mean, so no SD is allowed, though the subjects' means come to 4.
    first, second = results([[0.0], [8.0] * 9])[:2]
    assert (first.verdict, second.verdict) == (NOT_MET, NOT_MET)
    assert second.numbers[2].value is None


def test_criterion_2_wants_two_subjects() -> None:
    for found in (results(None, [1.0, 2.0]), results([[1.0, 2.0]])):
        second = found[1]
        assert (second.verdict, second.numbers) == ("not computed", ())
        assert "the table does not tell them" in second.notes[-1]
    assert results([[1.0], [2.0]])[1].verdict == MET


@pytest.mark.parametrize(
    ("mean", "sd", "verdict", "otherwise"),
    [
        # At 5 mmHg the formula allows 4.81, the table as remembered 4.79.
        (5.0, 4.80, MET, True),
        (5.0, 4.785, MET, False),
        (5.0, 4.82, NOT_MET, False),
        # At 4.8 mmHg the table has 5.01, the formula 4.99.
        (4.8, 4.995, NOT_MET, True),
        (4.8, 5.02, NOT_MET, False),
        (4.8, 4.9, MET, False),
        # Beyond 5 mmHg neither allows any.
        (5.1, 1.0, NOT_MET, False),
    ],
)
def test_a_table_that_would_decide_otherwise_is_told(
    mean: float, sd: float, verdict: str, otherwise: bool
) -> None:
    # Two subjects, each sd / sqrt(2) from their mean: an SD of sd.
    gap = sd / math.sqrt(2.0)
    second = results([[mean - gap], [mean + gap]])[1]
    assert values(second)[:2] == pytest.approx([mean, sd], abs=1e-5)
    assert second.verdict == verdict
    assert any("would decide otherwise" in note for note in second.notes) == otherwise


def test_bhs_counts_within_5_10_and_15_mmhg() -> None:
    # Of 20: 12 within 5, 17 within 10, 19 within 15 mmHg: 60, 85 and 95 %, just grade A.
    gaps = [5.0] * 6 + [-5.0] * 6 + [10.0] * 3 + [-10.0] * 2 + [10.1, -15.0, 15.1]
    third = results(None, gaps)[2]
    assert values(third) == pytest.approx([60.0, 85.0, 95.0])
    assert [one.name for one in third.numbers] == [f"within {mmhg} mmHg" for mmhg in (5, 10, 15)]
    assert third.verdict == "grade A on this sample"
    # One more beyond 5 mmHg: 55 %, grade B.
    assert results(None, [5.1, *gaps[1:]])[2].verdict == "grade B on this sample"


#: 24 subjects of three close, six of one close, three of none close.
ESH = [[0.0, 5.0, -5.0]] * 24 + [[1.0, 12.0, -15.0]] * 6 + [[6.0, 9.0, 10.0]] * 3


def test_esh_counts_subjects_wherever_their_rows_stand() -> None:
    found = results(ESH)[3]
    assert (found.verdict, values(found)) == (MET, [78, 87, 99, 24, 3])
    rows = ["reference,estimate,subject"]
    for place in range(3):
        rows += [f"120,{120 + gaps[place]},{who}" for who, gaps in enumerate(ESH)]
    mixed = judged(pairs_of(table_of("t", "\n".join(rows).encode())), "systolic")[3]
    assert (mixed.verdict, mixed.numbers) == (found.verdict, found.numbers)


def test_esh_wants_both_of_its_parts() -> None:
    # One subject fewer with two close: part 2 alone fails.
    people = [*ESH[1:], [0.0, 7.0, -7.0]]
    assert values(results(people)[3]) == [76, 87, 99, 23, 3]
    assert results(people)[3].verdict == NOT_MET
    # Two of three close in 24 and none in three, but of all within 5 mmHg only 54: part 1.
    people = [[0.0, 5.0, -16.0]] * 24 + [[1.0, 16.0, -16.0]] * 6 + [[6.0, 9.0, 10.0]] * 3
    assert values(results(people)[3]) == [54, 63, 63, 24, 3]
    assert results(people)[3].verdict == NOT_MET


def test_esh_suits_no_other_number_of_subjects() -> None:
    for people in (ESH[1:], [*ESH[1:], [1.0, 2.0]], [*ESH, [1.0, 2.0, 3.0]]):
        found = results(people)[3]
        assert (found.verdict, found.numbers) == ("not computed", ())
        assert found.notes[-1].startswith("Its counts are those of 99 differences")
    assert results(None, [0.0] * 99)[3].verdict == "not computed"


def test_what_is_missing_of_a_sample_is_counted_and_named() -> None:
    for one in results([[1.0, 3.0, 5.0], [7.0, 8.0, 9.0]]):
        states = [want.state for want in one.requirements]
        unmet, untold = states.count("not met"), states.count("not told")
        assert unmet > 0
        assert untold > 0
        assert f"does not meet {unmet} and does not tell {untold} of {len(states)}" in one.notes[0]
        named = [note for note in one.notes if note.startswith("Not met: ")]
        assert len(named) == unmet
        assert "A criterion met on this sample validates nothing." in one.notes
        assert (one.used, one.paired, one.abstained, one.bounded) == (6, 6, 0, 0)
