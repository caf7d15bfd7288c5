"""What the protocols want of a sample: just met, and short of it by one or by a little.

The numbers are those of ISO 81060-2, BHS 1993 and ESH-IP 2010 (from memory where no source
stands beside them); the samples are made so that each number can be counted by hand.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from tapfall.study.agreement import table_of
from tapfall.study.agreement.pairs import Pairs, pairs_of
from tapfall.study.agreement.result import Requirement
from tapfall.study.agreement.sample import (
    bhs_requirements,
    esh_requirements,
    iso_requirements,
)


def sample(head: str, rows: Sequence[str]) -> Pairs:
    """Pairs of a table; each row begins with the reference, and the estimate is the same."""
    lines = [f"{row.partition(',')[0]},{row}" for row in rows]
    return pairs_of(table_of("t", "\n".join([f"estimate,{head}", *lines]).encode()))


def references(*told: tuple[int, float]) -> Pairs:
    """So many pairs of nobody at each reference."""
    return sample("reference", [f"{value}" for number, value in told for _ in range(number)])


def subjects(*told: tuple[int, Sequence[float]]) -> Pairs:
    """So many subjects with these references each."""
    people = [values for number, values in told for _ in range(number)]
    rows = [f"{value},{who}" for who, values in enumerate(people) for value in values]
    return sample("reference,subject", rows)


def told(found: Sequence[Requirement], start: str) -> tuple[str, str]:
    """State and words of one requirement."""
    (one,) = [one for one in found if one.wanted.startswith(start)]
    return one.state, one.found


# --- ISO 81060-2 -------------------------------------------------------------------------


def test_a_share_just_short_of_what_is_wanted_is_shown_short() -> None:
    found = iso_requirements("systolic", references((50, 90.0), (951, 120.0)))
    assert told(found, "5 % or more of the reference 100") == ("not met", "4.995 %")


@pytest.mark.parametrize(
    ("people", "state", "found"),
    [
        (subjects((85, [120.0] * 3)), "met", "85"),
        (subjects((84, [120.0] * 3)), "not met", "84"),
    ],
)
def test_iso_wants_85_subjects(people: Pairs, state: str, found: str) -> None:
    assert told(iso_requirements("systolic", people), "85 subjects") == (state, found)
    assert told(bhs_requirements("systolic", people), "85 subjects") == (state, found)


def test_iso_wants_three_pairs_of_each_and_counts_the_fewest() -> None:
    # 4, 3 and 3 pairs are enough, 4, 3 and 2 are not.
    enough = subjects((1, [120.0] * 4), (2, [120.0] * 3))
    assert told(iso_requirements("systolic", enough), "3 pairs or more") == ("met", "3 of one")
    short = subjects((1, [120.0] * 4), (1, [120.0] * 3), (1, [120.0] * 2))
    assert told(iso_requirements("systolic", short), "3 pairs or more") == ("not met", "2 of one")


def test_255_pairs_are_wanted() -> None:
    for count, state in ((255, "met"), (254, "not met")):
        pairs = references((count, 120.0))
        assert told(iso_requirements("systolic", pairs), "255") == (state, f"{count}")
        assert told(bhs_requirements("systolic", pairs), "255") == (state, f"{count}")


@pytest.mark.parametrize(
    ("measure", "low", "highest", "high"),
    [("systolic", 100.0, 160.0, 140.0), ("diastolic", 60.0, 100.0, 85.0)],
)
def test_iso_spread_counts_readings_at_its_bounds(
    measure: str, low: float, highest: float, high: float
) -> None:
    starts = (
        f"5 % or more of the reference {low:g} mmHg or less",
        f"5 % or more of the reference {highest:g} mmHg or more",
        f"20 % or more of the reference {high:g} mmHg or more",
    )
    # Of 100: 5 at the lowest bound, 5 at the highest, 15 more at the one between.
    between = (low + high) / 2
    just = references((5, low), (75, between), (15, high), (5, highest))
    met = [told(iso_requirements(measure, just), start) for start in starts]
    assert met == [("met", "5.0 %"), ("met", "5.0 %"), ("met", "20.0 %")]
    short = references((4, low), (77, between), (15, high), (4, highest))
    unmet = [told(iso_requirements(measure, short), start) for start in starts]
    assert unmet == [("not met", "4.0 %"), ("not met", "4.0 %"), ("not met", "19.0 %")]
    # A tenth of a mmHg beside a bound is beyond it.
    beside = references((5, low + 0.1), (75, between), (15, high - 0.1), (5, highest - 0.1))
    outside = [told(iso_requirements(measure, beside), start)[1] for start in starts]
    assert outside == ["0.0 %", "0.0 %", "5.0 %"]


@pytest.mark.parametrize(("measure", "most"), [("systolic", 12.0), ("diastolic", 8.0)])
def test_references_of_one_subject_lie_within_12_and_8_mmhg(measure: str, most: float) -> None:
    start = f"references of one subject within {most:g} mmHg"
    # The widest gap counts, wherever it stands among a subject's rows.
    at = subjects((1, [80.0 + most, 85.0, 80.0]), (1, [85.0, 80.0, 80.0 + most]), (1, [80.0]))
    assert told(iso_requirements(measure, at), start) == ("met", "0 subjects beyond")
    over = 80.1 + most
    beyond = subjects((1, [over, 85.0, 80.0]), (1, [85.0, 80.0, over]), (1, [80.0]))
    assert told(iso_requirements(measure, beyond), start) == ("not met", "2 subjects beyond")
    # Decimals are no exact numbers: 92.3 - 80.3 and 88.3 - 80.3 come out a little off.
    written = subjects((1, [80.3 + most, 80.3]), (1, [70.1 + most, 70.1]))
    assert told(iso_requirements(measure, written), start)[0] == "met"


def test_the_mean_pressure_has_no_spread_to_meet() -> None:
    pairs = subjects((85, [120.0] * 3))
    found = iso_requirements("mean", pairs)
    assert told(found, "spread of the reference")[0] == "not told"
    assert told(found, "reference readings of a subject")[0] == "not told"
    assert told(bhs_requirements("mean", pairs), "spread of the reference")[0] == "not told"
    assert told(esh_requirements("mean", pairs), "10 to 12 subjects in each")[0] == "not told"
    spread = [one for one in bhs_requirements("systolic", pairs) if one.wanted.startswith("spread")]
    assert spread == []


# --- ages and sexes ----------------------------------------------------------------------


def of_ages(*years: float) -> Pairs:
    return sample(
        "reference,subject,age_years", [f"120,{who},{age:g}" for who, age in enumerate(years)]
    )


@pytest.mark.parametrize(
    ("requirements", "start", "inside", "outside"),
    [
        # Above 12 years, not of 12.
        (iso_requirements, "age above 12 years", (12.1, 90.0), (12.0, 11.0)),
        (bhs_requirements, "age 15 to 80 years", (15.0, 80.0), (14.9, 80.1)),
        (esh_requirements, "age 25 years or more", (25.0, 90.0), (24.9, 3.0)),
    ],
)
def test_ages_at_their_bounds(requirements, start: str, inside, outside) -> None:
    assert told(requirements("systolic", of_ages(*inside)), start) == ("met", "0 subjects outside")
    assert told(requirements("systolic", of_ages(*inside, *outside)), start) == (
        "not met",
        "2 subjects outside",
    )


def of_sexes(women: int, men: int, others: int = 0) -> Pairs:
    sexes = ["female"] * women + ["male"] * men + ["other"] * others
    return sample("reference,subject,sex", [f"120,{who},{sex}" for who, sex in enumerate(sexes)])


@pytest.mark.parametrize(
    ("women", "men", "others", "state"),
    [
        # 30 % of all subjects, whoever the others are.
        (3, 7, 0, "met"),
        (7, 3, 0, "met"),
        (29, 71, 0, "not met"),
        (71, 29, 0, "not met"),
        (3, 6, 1, "met"),
        (3, 6, 2, "not met"),
    ],
)
def test_iso_wants_30_percent_of_each_sex(women: int, men: int, others: int, state: str) -> None:
    words = f"{women} female and {men} male of {women + men + others}"
    found = iso_requirements("systolic", of_sexes(women, men, others))
    assert told(found, "30 % or more of each sex") == (state, words)


@pytest.mark.parametrize(
    ("women", "men", "state"),
    # Ten of each, of however many.
    [(10, 23, "met"), (23, 10, "met"), (9, 24, "not met"), (24, 9, "not met"), (10, 90, "met")],
)
def test_esh_wants_10_of_each_sex(women: int, men: int, state: str) -> None:
    found = esh_requirements("systolic", of_sexes(women, men))
    assert told(found, "10 or more of each sex")[0] == state


# --- arms and cuffs ----------------------------------------------------------------------


def of_arms(cuff: str, *told_cm: tuple[int, float]) -> tuple[Requirement, ...]:
    arms = [arm for number, arm in told_cm for _ in range(number)]
    rows = [f"120,{who},{arm:g},{cuff}" for who, arm in enumerate(arms)]
    return iso_requirements("systolic", sample("reference,subject,arm_cm,cuff_size", rows))


PARTS = ("40 % or more of the arms in each half", "20 % or more of the arms in each outer quarter",
         "10 % or more of the arms in each outer eighth")  # fmt: skip


def test_arms_just_spread_over_the_range_of_a_cuff() -> None:
    # An adult's cuff is for 27 to 34 cm (AHA 2005): 26.5 to 34.5, parted at 30.5 cm; outer
    # quarters below 28.5 and from 32.5, outer eighths below 27.5 and from 33.5.  Of 10 arms:
    low, high = ((1, 26.5), (1, 28.0), (2, 29.0)), ((4, 31.0), (1, 33.0), (1, 34.5))
    found = of_arms("adult", *low, *high)
    assert [told(found, part) for part in PARTS] == [
        ("met", "4 and 6 of 10"),
        ("met", "2 and 2 of 10"),
        ("met", "1 and 1 of 10"),
    ]
    assert all("of 26.5 to 34.5 cm" in one.wanted for one in found if "arms in" in one.wanted)


def test_arms_short_by_one_in_a_part() -> None:
    # Of 10: 3 below 30.5 cm, 1 below 28.5, none below 27.5; then the same from above.
    for arms, words in (
        (((1, 28.0), (2, 29.0), (7, 34.0)), ("3 and 7", "1 and 7", "0 and 7")),
        (((7, 27.0), (2, 31.0), (1, 33.0)), ("7 and 3", "7 and 1", "7 and 0")),
    ):
        found = of_arms("adult", *arms)
        assert [told(found, part) for part in PARTS] == [
            ("not met", f"{one} of 10") for one in words
        ]


def test_an_arm_where_parts_meet_lies_in_the_outer_upper_and_inner_lower_one() -> None:
    # 30.5 cm is of the upper half; 28.5 no more of the lower quarter, 32.5 of the upper one.
    found = of_arms("adult", (1, 27.5), (1, 28.5), (1, 30.5), (1, 32.5), (1, 33.5))
    assert [told(found, part)[1] for part in PARTS] == [
        "2 and 3 of 5",
        "1 and 2 of 5",
        "0 and 1 of 5",
    ]


def test_arms_beyond_the_range_of_the_cuff_lie_in_no_part() -> None:
    found = of_arms("adult", (2, 26.4), (2, 34.6), (1, 27.0), (1, 34.0))
    assert [told(found, part)[1] for part in PARTS] == ["1 and 1 of 6"] * 3


def test_a_cuff_without_a_known_range_tells_no_spread() -> None:
    for cuff, arm in (("child", "30"), ("adult", "")):
        rows = [f"120,1,{arm},{cuff}", f"120,2,30,{cuff}"]
        pairs = sample("reference,subject,arm_cm,cuff_size", rows)
        found = iso_requirements("systolic", pairs)
        assert told(found, "arm circumferences")[0] == "not told"


@pytest.mark.parametrize(
    ("numbers", "share", "state"),
    [
        # Half of an equal share: a quarter of two cuffs, a sixth of three.
        ({"adult": 3, "thigh": 1}, "25.0", "met"),
        ({"adult": 4, "thigh": 1}, "25.0", "not met"),
        ({"small adult": 1, "adult": 4, "thigh": 1}, "16.7", "met"),
        ({"small adult": 1, "adult": 5, "thigh": 1}, "16.7", "not met"),
    ],
)
def test_each_of_several_cuffs_has_half_of_an_equal_share(
    numbers: dict[str, int], share: str, state: str
) -> None:
    cuffs = [cuff for cuff, number in numbers.items() for _ in range(number)]
    pairs = sample("reference,subject,cuff_size", [f"120,{n},{one}" for n, one in enumerate(cuffs)])
    words = ", ".join(f"{cuff} {number}" for cuff, number in numbers.items())
    found = told(iso_requirements("systolic", pairs), f"each of {len(numbers)} cuffs on {share} %")
    assert found == (state, f"{words} of {len(cuffs)}")


# --- BHS 1993 and ESH-IP 2010 ------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "edges"),
    [("systolic", (90.0, 130.0, 160.0, 180.0)), ("diastolic", (60.0, 80.0, 100.0, 110.0))],
)
def test_bhs_wants_8_20_20_20_8_subjects_in_its_bands(
    measure: str, edges: tuple[float, float, float, float]
) -> None:
    one, two, three, four = edges
    # Each band at the end that is its own; a tenth below an edge, or above one, is beyond.
    at = ((8, [one - 0.1]), (20, [one]), (20, [two]), (20, [three + 0.1]), (8, [four + 0.1]))
    other = ((8, [one - 0.1]), (20, [two - 0.1]), (20, [three]), (20, [four]), (8, [four + 0.1]))
    for told_of in (at, other):
        bands = bhs_requirements(measure, subjects(*told_of))[2:7]
        assert [(band.state, band.found) for band in bands] == [
            ("met", "8"), ("met", "20"), ("met", "20"), ("met", "20"), ("met", "8")
        ]  # fmt: skip
    fewer = subjects(*((number - 1, values) for number, values in at))
    assert [band.state for band in bhs_requirements(measure, fewer)[2:7]] == ["not met"] * 5


def test_a_subject_lies_where_the_mean_of_its_references_does() -> None:
    pairs = subjects((1, [80.0, 80.0, 110.0]), (1, [85.0, 85.0, 94.0]))
    # Means of 90 and 88 mmHg.
    bands = bhs_requirements("systolic", pairs)[2:7]
    assert [band.found for band in bands] == ["1", "1", "0", "0", "0"]


def test_esh_wants_33_subjects_of_three_pairs() -> None:
    start = "33 subjects with 3 pairs each"
    for told_of, state, words in (
        (((33, [120.0] * 3),), "met", "33 with 99 pairs in all"),
        (((32, [120.0] * 3),), "not met", "32 with 96 pairs in all"),
        (((34, [120.0] * 3),), "not met", "34 with 102 pairs in all"),
    ):
        assert told(esh_requirements("systolic", subjects(*told_of)), start) == (state, words)
    # 99 pairs in all, but one subject has four and one has two.
    unequal = subjects((31, [120.0] * 3), (1, [120.0] * 2), (1, [120.0] * 4))
    assert told(esh_requirements("systolic", unequal), start) == (
        "not met",
        "33 with 99 pairs in all",
    )


@pytest.mark.parametrize(
    ("measure", "low", "high"), [("systolic", 130.0, 160.0), ("diastolic", 80.0, 100.0)]
)
def test_esh_wants_10_to_12_subjects_in_each_range(measure: str, low: float, high: float) -> None:
    def ranges(*told_of: tuple[int, Sequence[float]]) -> list[tuple[str, str]]:
        found = esh_requirements(measure, subjects(*told_of))
        names = (f"below {low:g}", f"{low:g} to {high:g}", f"above {high:g}")
        return [told(found, f"10 to 12 subjects of reference {name}") for name in names]

    # The range between holds both of its bounds.
    assert ranges((10, [low - 0.1]), (5, [low]), (6, [high]), (12, [high + 0.1])) == [
        ("met", "10"), ("met", "11"), ("met", "12")
    ]  # fmt: skip
    assert ranges((9, [low - 1.0]), (13, [low]), (9, [high + 1.0])) == [
        ("not met", "9"), ("not met", "13"), ("not met", "9")
    ]  # fmt: skip
    assert ranges((12, [low - 1.0]), (10, [low]), (10, [high + 1.0])) == [
        ("met", "12"), ("met", "10"), ("met", "10")
    ]  # fmt: skip
    assert ranges((13, [low - 1.0]), (9, [low]), (13, [high + 1.0])) == [
        ("not met", "13"), ("not met", "9"), ("not met", "13")
    ]  # fmt: skip


# --- two observers -----------------------------------------------------------------------


def test_every_reference_is_by_two_observers() -> None:
    start = "two observers within 4 mmHg"
    both = sample("reference,reference_2", ["120,121", "130,126"])
    assert told(iso_requirements("systolic", both), start) == (
        "met",
        "2 of 2 pairs by two; 0 rows farther apart left out",
    )
    one = sample("reference,reference_2", ["120,121", "130,", "140,145"])
    assert told(iso_requirements("systolic", one), start) == (
        "not met",
        "1 of 2 pairs by two; 1 rows farther apart left out",
    )
    alone = references((3, 120.0))
    assert told(iso_requirements("systolic", alone), start)[0] == "not told"
