"""Criteria of the protocols at their edges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.errors import InputError
from tapfall.study.agreement import table_of
from tapfall.study.agreement.pairs import pairs_of
from tapfall.study.agreement.protocols import (
    REMEMBERED_TABLE,
    bhs_grade,
    criterion_1,
    criterion_2_limit,
    esh_counts,
    remembered_limit,
)
from tapfall.study.agreement.result import Requirement
from tapfall.study.agreement.sample import (
    bhs_requirements,
    esh_requirements,
    iso_requirements,
)


def states(found) -> dict[str, str]:
    return {one.wanted: one.state for one in found}


@given(st.floats(-5.0, 5.0))
def test_criterion_2_leaves_85_of_100_within_10(mean: float) -> None:
    limit = criterion_2_limit(mean)
    tail = [0.5 * math.erfc((10 + sign * mean) / limit / math.sqrt(2)) for sign in (1, -1)]
    assert 1.0 - sum(tail) == pytest.approx(0.85, abs=1e-9)
    assert limit == pytest.approx(criterion_2_limit(-mean))


def test_criterion_2_has_the_ends_that_were_read() -> None:
    assert criterion_2_limit(0.0) == pytest.approx(6.95, abs=0.005)
    assert criterion_2_limit(5.0) == pytest.approx(4.81, abs=0.005)
    assert criterion_2_limit(5.0001) is None
    assert criterion_2_limit(math.nan) is None


def test_the_remembered_table_is_near_the_formula() -> None:
    cells = [(row + place / 10, cell) for row, cells in enumerate(REMEMBERED_TABLE)
             for place, cell in enumerate(cells)]  # fmt: skip
    assert len(cells) == 51
    for mean, cell in cells:
        assert cell == pytest.approx(criterion_2_limit(mean), abs=0.025)
        assert remembered_limit(-mean) == cell
    assert [b <= a for (_, a), (_, b) in pairwise(cells)] == [True] * 50


def test_the_remembered_table_is_read_at_the_nearest_tenth() -> None:
    # 6.55 at 2.3 mmHg and 6.51 at 2.4; half a tenth goes to the narrower limit.
    for mean, limit in ((2.346, 6.55), (2.3499, 6.55), (2.35, 6.51), (2.354, 6.51), (2.4, 6.51)):
        assert remembered_limit(mean) == remembered_limit(-mean) == limit
    # Decimals are no exact numbers: 128.35 - 126 is a little less than 2.35.
    gap = 128.35 - 126.0
    assert gap < 2.35
    assert remembered_limit(gap) == 6.51


def test_criterion_1_is_not_rounded() -> None:
    assert criterion_1(5.0, 8.0)
    assert not criterion_1(-5.0001, 1.0)
    assert not criterion_1(0.0, 8.0001)


def test_an_error_of_exactly_5_meets_both_criteria() -> None:
    # Decimals are no exact numbers: 128.3 - 123.3 is a little more than 5.
    gap = 128.3 - 123.3
    assert gap > 5.0
    assert criterion_1(gap, 0.0)
    assert criterion_2_limit(gap) == pytest.approx(4.81, abs=0.005)
    assert remembered_limit(gap) == 4.79


@pytest.mark.parametrize(
    ("percents", "grade"),
    [
        ((60, 85, 95), "A"),
        ((59.9, 85, 95), "B"),
        ((60, 84.9, 95), "B"),
        ((50, 75, 90), "B"),
        ((99, 99, 89.9), "C"),
        ((40, 65, 85), "C"),
        ((40, 65, 84.9), "D"),
        ((0, 0, 0), "D"),
    ],
)
def test_bhs_grades_want_all_three(percents, grade) -> None:
    assert bhs_grade(percents) == grade


#: Percent within 5, 10 and 15 mmHg that each grade wants (table 3 of PMC6431352).
BHS_1993 = (("A", (60, 85, 95)), ("B", (50, 75, 90)), ("C", (40, 65, 85)))


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("short", [0, 1, 2])
def test_a_grade_is_lost_by_a_tenth_of_a_percent_of_one_of_three(place: int, short: int) -> None:
    grade, wanted = BHS_1993[place]
    assert bhs_grade(wanted) == grade
    percents = [99.0, 99.0, 99.0]
    percents[short] = wanted[short] - 0.1
    assert bhs_grade(percents) == "BCD"[place]


def spread(five: int, ten: int, fifteen: int) -> list[list[float]]:
    """99 differences, so many of them within 5, 10 and 15 mmHg."""
    gaps = [(5.0, -5.0)[n % 2] for n in range(five)]
    gaps += [(5.1, -10.0)[n % 2] for n in range(ten - five)]
    gaps += [(10.1, -15.0)[n % 2] for n in range(fifteen - ten)]
    gaps += [15.1] * (99 - fifteen)
    return [gaps[place::33] for place in range(33)]


@pytest.mark.parametrize(
    ("within", "passes"),
    [
        # Two of 73, 87, 96 (table 3 of PMC6431352), all of 65, 81, 93 (from memory).
        ((73, 87, 93), True), ((73, 81, 96), True), ((65, 87, 96), True), ((99, 99, 99), True),
        ((72, 86, 96), False), ((72, 87, 95), False), ((73, 86, 95), False),
        ((64, 87, 96), False), ((73, 80, 96), False), ((73, 87, 92), False),
    ],
)  # fmt: skip
def test_esh_part_1_at_its_counts(within: tuple[int, int, int], passes: bool) -> None:
    found = esh_counts(spread(*within))
    assert found.within == within
    assert found.part_1 is passes


@pytest.mark.parametrize(
    ("two", "none", "passes"), [(24, 3, True), (30, 0, True), (23, 3, False), (24, 4, False)]
)
def test_esh_part_2_at_its_counts(two: int, none: int, passes: bool) -> None:
    # 24 of 33 subjects with two of three within 5 mmHg, at most 3 with none (from memory).
    one = 33 - two - none
    found = esh_counts(
        esh((two, [5.0, -5.0, 5.1]), (one, [5.0, 5.1, -6.0]), (none, [5.1, -5.1, 6.0]))
    )
    assert (found.subjects_two_within_5, found.subjects_none_within_5) == (two, none)
    assert found.part_2 is passes


def test_esh_counts_decimals_of_exactly_5_10_and_15() -> None:
    # 128.3 - 123.3 is a little more than 5, and its like.
    gaps = [128.3 - 123.3, 133.3 - 123.3, 130.1 - 115.1]
    assert gaps[0] > 5.0
    found = esh_counts([gaps] * 33)
    assert found.within == (33, 66, 99)


def test_esh_wants_three_differences_of_each() -> None:
    for people in ([[0.0] * 3] * 32 + [[0.0] * 2], [[0.0] * 3] * 34, [[0.0] * 2] * 33):
        with pytest.raises(InputError, match="allowed 33 subjects with 3 each"):
            esh_counts(people)
    with pytest.raises(InputError, match="not finite"):
        esh_counts([[0.0, 0.0, math.nan]] * 33)


def esh(*rows: tuple[int, list[float]]) -> list[list[float]]:
    return [gaps for number, gaps in rows for _ in range(number)]


def test_esh_passes_at_its_edges() -> None:
    # 24 subjects with all three close; 3 with none; 6 with one: 78 + 0 within 5.
    found = esh_counts(esh((24, [5.0, -5.0, 0.0]), (3, [6.0, 9.0, 10.0]), (6, [1.0, 12.0, 15.0])))
    assert found.within == (78, 87, 99)
    assert (found.subjects_two_within_5, found.subjects_none_within_5) == (24, 3)
    assert (found.part_1, found.part_2) == (True, True)


def test_esh_fails_beyond_them() -> None:
    fewer = esh_counts(esh((23, [5.0, 5.0, 0.0]), (10, [1.0, 9.0, 15.0])))
    assert (fewer.part_1, fewer.part_2) == (True, False)
    none = esh_counts(esh((29, [5.0, 5.0, 0.0]), (4, [6.0, 6.0, 6.0])))
    assert (none.part_1, none.part_2) == (True, False)
    # Two of three are enough, and the third is below its floor.
    floor = esh_counts(esh((22, [0.0] * 3), (10, [5.0, 20.0, 20.0]), (1, [20.0] * 3)))
    assert floor.within[0] >= 73
    assert not floor.part_1
    with pytest.raises(InputError, match="allowed 33 subjects with 3 each"):
        esh_counts([[0.0] * 3] * 32)


def pairs(people: dict[str, list[float]] | None, every: Sequence[float] = ()):
    """Pairs by subject, or of nobody."""
    if people is None:
        lines = [f"{one},{one}" for one in every]
        return pairs_of(table_of("t", "\n".join(["reference,estimate", *lines]).encode()))
    rows = [f"{one},{one},{who}" for who, found in people.items() for one in found]
    head = "reference,estimate,subject"
    return pairs_of(table_of("t", "\n".join([head, *rows]).encode()))


def test_iso_sample() -> None:
    people = {f"{n}": [95.0, 96.0, 97.0] for n in range(5)}
    people |= {f"{n}": [165.0, 165.0, 165.0] for n in range(5, 25)}
    people |= {f"{n}": [120.0, 120.0, 120.0] for n in range(25, 85)}
    found = iso_requirements("systolic", pairs(people))
    assert [one.state for one in found[:7]] == ["met"] * 7
    assert {one.state for one in found[7:]} == {"not told"}
    moved = iso_requirements("systolic", pairs({**people, "0": [95.0, 96.0, 107.5]}))
    assert moved[6].state == "not met"
    assert moved[6].found == "1 subjects beyond"
    low = iso_requirements("diastolic", pairs(people))
    assert [one.state for one in low[3:6]] == ["not met", "met", "met"]


def test_what_no_column_shows_is_not_told() -> None:
    found = iso_requirements("not told", pairs(None, [120.0] * 300))
    assert [one.state for one in found if one.wanted.startswith("255")] == ["met"]
    assert {one.state for one in found if not one.wanted.startswith("255")} == {"not told"}
    assert {one.state for one in esh_requirements("systolic", pairs(None, [120.0]))} == {"not told"}
    assert [one.state for one in bhs_requirements("systolic", pairs(None, [120.0] * 255))].count(
        "met"
    ) == 1


def test_bands_have_no_holes() -> None:
    people = {f"{n}": [value] for n, value in enumerate((89.9, 129.5, 160.0, 160.5, 180.1))}
    found = [one.found for one in bhs_requirements("systolic", pairs(people))[2:7]]
    assert found == ["1"] * 5
    bands = [one.found for one in esh_requirements("systolic", pairs(people))[1:4]]
    assert bands == ["2", "1", "2"]


def state(found: Sequence[Requirement], start: str) -> tuple[str, str]:
    (one,) = [one for one in found if one.wanted.startswith(start)]
    return one.state, one.found


def test_people_of_the_sample() -> None:
    def sample(*rows: str):
        head = "reference,reference_2,estimate,subject,sex,age_years,arm_cm,cuff_size"
        return pairs_of(table_of("t", "\n".join([head, *rows]).encode()))

    rows = [
        f"120,12{n % 3},121,p{n},{('female', 'male')[n >= 3]},{12 + n},{26.6 + 0.7 * n:.1f},adult"
        for n in range(10)
    ]
    found = iso_requirements("systolic", sample(*rows))
    assert state(found, "age above 12") == ("not met", "1 subjects outside")
    assert state(found, "30 % or more of each sex") == ("met", "3 female and 7 male of 10")
    # 26.5 to 34.5 cm: arms 26.6, 27.3 to 32.9; the halves part at 30.5, the quarters at 28.5.
    assert state(found, "40 % or more of the arms in each half") == ("met", "6 and 4 of 10")
    assert state(found, "20 % or more of the arms in each outer q") == ("not met", "3 and 1 of 10")
    assert state(found, "10 % or more of the arms in each outer e") == ("not met", "2 and 0 of 10")
    assert state(found, "two observers") == (
        "met",
        "10 of 10 pairs by two; 0 rows farther apart left out",
    )
    apart = iso_requirements("systolic", sample(*rows, "120,126,121,p1,male,40,30,adult"))
    assert state(apart, "two observers")[1].endswith("1 rows farther apart left out")
    alone = iso_requirements("systolic", sample(*rows, "120,,121,p1,male,40,30,adult"))
    assert state(alone, "two observers")[0] == "not met"
    esh = esh_requirements("systolic", sample(*rows))
    assert state(esh, "10 or more of each sex") == ("not met", "3 female and 7 male of 10")
    assert state(esh, "age 25 years") == ("not met", "10 subjects outside")
    assert state(bhs_requirements("systolic", sample(*rows)), "age 15 to 80")[0] == "not met"


def test_what_one_subject_leaves_out_is_not_told() -> None:
    head = "reference,estimate,subject,sex,age_years,arm_cm,cuff_size\n"
    text = head + "120,121,a,male,40,30,adult\n120,121,b,,,,\n"
    found = iso_requirements("systolic", pairs_of(table_of("t", text.encode())))
    for start in ("age above", "30 % or more of each sex", "arm circumferences"):
        assert state(found, start)[0] == "not told"


def test_several_cuffs_each_want_their_share() -> None:
    rows = "\n".join(f"120,121,p{n},{'thigh' if n == 0 else 'adult'}" for n in range(8))
    text = f"reference,estimate,subject,cuff_size\n{rows}\n"
    found = iso_requirements("systolic", pairs_of(table_of("t", text.encode())))
    assert state(found, "each of 2 cuffs on 25.0 %") == ("not met", "thigh 1, adult 7 of 8")
