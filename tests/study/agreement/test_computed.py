"""Which statistic is given of which pairs, in which unit, worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from tapfall.study.agreement import agreement, limits_of_agreement, pairs_needed, table_of
from tapfall.study.agreement.result import Group, Number, Result


def group_of(head: str, *rows: str, scheme: str = "acc-aha-2025") -> Group:
    """The group of a table with one measure and no conditions."""
    (group,) = agreement(table_of("t", "\n".join([head, *rows]).encode()), scheme).groups
    return group


def result(group: Group, start: str) -> Result:
    return next(one for one in group.results if one.name.startswith(start))


def number(group: Group, start: str, name: str) -> Number:
    return next(one for one in result(group, start).numbers if one.name == name)


def of_gaps(gaps: Sequence[float], who: Sequence[str] | None = None, reference: int = 120) -> Group:
    rows = [f"{reference},{reference + gap:g}" for gap in gaps]
    if who is None:
        return group_of("reference,estimate", *rows)
    named = [f"{row},{one}" for row, one in zip(rows, who, strict=True)]
    return group_of("reference,estimate,subject", *named)


# --- limits ------------------------------------------------------------------------------


def test_two_subjects_are_enough_for_limits_between_them() -> None:
    group = of_gaps([1.0, 3.0], "ab")
    assert [one.name for one in group.results[:2]] == [
        "Limits of agreement",
        "Limits of agreement of 1986",
    ]
    assert number(group, "Limits", "mean difference").value == 2.0
    assert number(group, "Limits", "SD").value == pytest.approx(math.sqrt(2.0))


def test_one_subject_has_limits_of_its_own_pairs() -> None:
    group = of_gaps([1.0, 3.0, 5.0], "aaa")
    assert group.results[0].name == "Limits of agreement within one subject"
    assert group.drawn is not None
    assert group.drawn.name == group.results[0].name
    assert number(group, "Limits", "SD").value == 2.0
    assert number(group, "Limits", "upper limit").value == pytest.approx(3.0 + 1.96 * 2.0)
    assert group.results[0].used == 3


def test_subjects_that_repeat_have_four_kinds_of_limits() -> None:
    # Means of subjects 2 and 7; first pairs 1 and 6.
    group = of_gaps([1.0, 3.0, 6.0, 8.0], "aabb")
    first, second, third, fourth = group.results[:4]
    assert group.drawn is not None
    assert group.drawn.name == first.name == "Limits of agreement, pairs of replicates"
    # Mean squares: between 2 x (2.5^2 + 2.5^2) / 1 = 25; within (1 + 1 + 1 + 1) / 2 = 2.
    assert [one.value for one in first.numbers[4:]] == [25.0, 2.0]
    assert first.used == 4
    # Replicates of the estimate 121, 123 and 126, 128: within 2, 1.96 sqrt(2 x 2) = 3.92; of
    # the reference none differs.
    assert second.name == "Limits of agreement, true value constant"
    assert [one.value for one in second.numbers[4:]] == pytest.approx([3.92, 0.0])
    for one, name, width in ((third, "first pair of each", 1.96), (fourth, "of 1986", 2.0)):
        assert name in one.name
        assert one.used == 2
        mean, sd, low, high = (each.value for each in one.numbers)
        assert (mean, sd) == (3.5, pytest.approx(5.0 / math.sqrt(2.0)))
        assert (low, high) == pytest.approx((3.5 - width * sd, 3.5 + width * sd))


# --- ratio and shares --------------------------------------------------------------------


def test_a_ratio_is_of_all_pairs_and_wants_none_to_be_zero() -> None:
    group = group_of("reference,estimate", "100,110", "100,121")
    mean = number(group, "Ratio", "geometric mean ratio")
    assert mean.value == pytest.approx(math.sqrt(1.1 * 1.21))
    logs = limits_of_agreement([math.log(1.1), math.log(1.21)])
    assert mean.low == pytest.approx(math.exp(logs.mean.low or 0.0))
    upper = number(group, "Ratio", "upper limit")
    assert upper.value == pytest.approx(math.exp(logs.upper.value))
    assert result(group, "Ratio").used == 2
    zero = group_of("reference,estimate", "0,110", "100,121")
    assert result(zero, "Ratio").verdict == "not computed"
    assert result(zero, "Ratio").notes == ("A value is zero: it has no logarithm.",)


def test_a_ratio_of_subjects_that_repeat_rests_on_the_subjects() -> None:
    rows = ["100,110,a", "100,111,a", "100,121,b", "100,120,b"]
    found = result(group_of("reference,estimate,subject", *rows), "Ratio")
    assert found.source.endswith("of pairs of replicates")
    # Of one subject alone it rests on the pairs.
    alone = [row.replace("b", "a") for row in rows]
    found = result(group_of("reference,estimate,subject", *alone), "Ratio")
    assert not found.source.endswith("of pairs of replicates")
    logs = limits_of_agreement([math.log(one / 100.0) for one in (110, 111, 121, 120)])
    assert found.numbers[2].value == pytest.approx(math.exp(logs.upper.value))
    once = group_of("reference,estimate,subject", "100,110,a", "100,121,b")
    assert not result(once, "Ratio").source.endswith("of pairs of replicates")


def test_shares_are_percents_of_pairs_and_of_attempts() -> None:
    # Of 5 pairs 2 within 5, 3 within 10, 4 within 15; 10 attempts with 3 abstentions, 2 bounds.
    pairs = [f"120,{120 + gap}" for gap in (0, 5, -10, 15, 16)]
    more = ["120,", "121,", "122,", "120,>=110", "120,<=130", ",120"]
    group = group_of("reference,estimate", *pairs, *more)
    numbers = result(group, "Share").numbers
    names = [f"within {mmhg} mmHg, of " for mmhg in (5, 10, 15)]
    assert [one.name for one in numbers] == [f"{name}the pairs" for name in names] + [
        f"{name}all attempts" for name in names
    ]
    assert [one.value for one in numbers] == pytest.approx([40.0, 60.0, 80.0, 20.0, 30.0, 40.0])
    assert {one.unit for one in numbers} == {"%"}
    # 2 of 5 by Clopper & Pearson: 5.27 to 85.34 % (a table of binomial intervals, from memory).
    assert (numbers[0].low, numbers[0].high) == pytest.approx((5.27, 85.34), abs=0.01)
    assert numbers[3].low is None
    assert result(group, "Share").notes == ()


def test_shares_of_pairs_alone_are_told_once() -> None:
    # Rows without a reference are no attempts.
    group = group_of("reference,estimate", "120,121", "120,122", ",120")
    assert len(result(group, "Share").numbers) == 3


def test_shares_of_subjects_that_repeat_have_no_interval() -> None:
    found = result(of_gaps([1.0, 2.0, 9.0], "aab"), "Share")
    assert found.notes == ("No interval: pairs of one subject are not independent.",)
    assert [(one.low, one.high) for one in found.numbers] == [(None, None)] * 3
    assert result(of_gaps([1.0, 2.0, 9.0], "abc"), "Share").numbers[0].low is not None


# --- one pair of each subject ------------------------------------------------------------


def test_a_line_icc_and_kappa_rest_on_the_first_pair_of_each() -> None:
    first = [f"{ref},{ref + 2 * (n % 3)},s{n}" for n, ref in enumerate(range(100, 160, 5))]
    later = [f"{ref},{ref + 60},s{n}" for n, ref in enumerate(range(100, 160, 5))]
    head = "reference,estimate,subject,measure"
    once = group_of(head, *(f"{row},systolic" for row in first))
    often = group_of(head, *(f"{row},systolic" for row in [*first, *later]))
    for start in ("Does the difference", "ICC", "Weighted kappa", "Independent pairs"):
        one, two = result(once, start), result(often, start)
        assert one.numbers == two.numbers
        assert (one.used, two.used) == (12, 12)


def test_a_line_wants_ten_subjects() -> None:
    def rows(count: int) -> list[str]:
        return [f"{100 + 5 * n},{101 + 6 * n}" for n in range(count)]

    ten, nine = (group_of("reference,estimate", *rows(count)) for count in (10, 9))
    assert result(ten, "Does the difference").verdict == ""
    assert result(nine, "Does the difference").verdict == "not computed"
    assert (result(nine, "Does the difference").used, result(ten, "Does").used) == (0, 10)
    # The estimate is 1 + 1.2 x above 100: over the mean the difference grows by 0.2 / 1.1.
    assert number(ten, "Does the difference", "slope").value == pytest.approx(0.2 / 1.1)


def test_equal_differences_at_several_levels_have_a_flat_line() -> None:
    group = group_of("reference,estimate", *(f"{100 + 5 * n},{101 + 5 * n}" for n in range(10)))
    assert number(group, "Does the difference", "intercept").value == pytest.approx(1.0)
    assert number(group, "Does the difference", "slope").value == pytest.approx(0.0, abs=1e-9)


def test_icc_wants_two_subjects_that_differ() -> None:
    assert result(of_gaps([0.0, 0.0, 0.0]), "ICC").verdict == "not computed"
    group = group_of("reference,estimate,subject", "120,121,a", "130,131,a")
    assert result(group, "ICC").verdict == "not computed"
    # [[121, 120], [133, 130]]: MSR 2 x 60.5, MSC 2 x 2, MSE 1; ICC 120 / (122 + 2 x 3 / 2).
    group = group_of("reference,estimate", "120,121", "130,133")
    assert number(group, "ICC", "ICC").value == pytest.approx(120.0 / 125.0)


@pytest.mark.parametrize(
    ("measure", "rows", "same"),
    [
        # ACC/AHA: systolic from 130 and from 140, diastolic from 80 and from 90 mmHg on.
        ("systolic", ("129,129", "129,130", "130,130", "140,139"), 50.0),
        ("diastolic", ("79,79", "79,80", "80,80", "90,89"), 50.0),
    ],
)
def test_kappa_parts_categories_at_their_lower_bounds(
    measure: str, rows: tuple[str, ...], same: float
) -> None:
    group = group_of("reference,estimate,measure", *(f"{row},{measure}" for row in rows))
    assert number(group, "Weighted kappa", "same category").value == same


def test_kappa_by_hand() -> None:
    # ACC/AHA systolic: 110 normal (0), 125 elevated (1), 135 stage 1 (2), 150 stage 2 (3).
    # Ranks 0 1 2 3 against 0 1 2 2: squares seen 1, by chance the mean of all 16 squares:
    # (0+1+4+4 + 1+0+1+1 + 4+1+0+0 + 9+4+1+1) / 16 = 2, of 4 pairs 8: kappa 1 - 1 / 8.
    rows = [
        f"{ref},{est},systolic" for ref, est in ((110, 110), (125, 125), (135, 135), (135, 150))
    ]
    group = group_of("reference,estimate,measure", *rows)
    assert number(group, "Weighted kappa", "kappa").value == pytest.approx(1.0 - 1.0 / 8.0)
    assert number(group, "Weighted kappa", "same category").value == 75.0


def test_kappa_wants_a_measure_and_two_categories() -> None:
    found = result(of_gaps([1.0, 2.0]), "Weighted kappa")
    assert found.notes == ("It wants a measure: systolic or diastolic.",)
    group = group_of("reference,estimate,measure", "120,121,mean", "130,131,mean")
    assert result(group, "Weighted kappa").verdict == "not computed"
    group = group_of("reference,estimate,measure", "110,111,systolic", "112,113,systolic")
    found = result(group, "Weighted kappa")
    assert found.notes == ("All lie in one category: kappa is not defined.",)


def test_sample_sizes_are_told_for_1_2_and_3_mmhg() -> None:
    group = of_gaps([-2.0, 0.0, 2.0, 4.0])
    sd = math.sqrt(20.0 / 3.0)
    found = result(group, "Independent pairs")
    assert [one.name for one in found.numbers] == [f"pairs for +-{n} mmHg" for n in (1, 2, 3)]
    assert [one.value for one in found.numbers] == [
        pairs_needed(sd, wanted) for wanted in (1.0, 2.0, 3.0)
    ]
    equal = result(of_gaps([1.0, 1.0, 1.0]), "Independent pairs")
    assert equal.notes == ("All differences are equal: the SD is unknown.",)
    alone = result(of_gaps([1.0, 2.0, 3.0], "aaa"), "Independent pairs")
    assert alone.notes == ("It wants two subjects or more.",)
    assert result(of_gaps([1.0, 2.0], "ab"), "Independent pairs").verdict == ""


# --- last digits -------------------------------------------------------------------------


def test_last_digits_are_told_of_all_that_was_written() -> None:
    # 3 end in 0, 2 in another even digit, 4 are odd, 1 is not whole; two rows are no pairs.
    written = ["120", "130", "140", "122", "128", "121", "123", "125", "129", "120.5"]
    rows = [f"{one},{'120' if place > 1 else ''}" for place, one in enumerate(written)]
    found = result(group_of("reference,estimate", *rows), "Last digits")
    assert [one.value for one in found.numbers[:4]] == [3, 2, 4, 1]
    # Fewer than 25 even ones tell nothing of chance.
    assert [one.value for one in found.numbers[4:]] == [None, None, None]
    assert (found.used, found.paired) == (10, 8)
    assert len(found.notes) == 1


def test_digits_that_were_preferred_are_named() -> None:
    for digits, count in (((0,) * 30, 2), ((0, 2, 4, 6, 8) * 6, 1)):
        rows = [f"{100 + 10 * (n % 8) + last},120" for n, last in enumerate(digits)]
        found = result(group_of("reference,estimate", *rows), "Last digits")
        assert len(found.notes) == count
