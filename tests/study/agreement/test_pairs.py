"""Rows sorted into pairs: what is counted, whose it is, and what is known of the people."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.study.agreement import table_of
from tapfall.study.agreement.pairs import Pairs, pairs_of


def pairs(head: str, *rows: str) -> Pairs:
    return pairs_of(table_of("t", "\n".join([head, *rows]).encode()))


def test_every_row_is_counted_in_one_place() -> None:
    found = pairs(
        "reference,reference_2,estimate",
        "120,,122",  # a pair
        "120,124,122",  # a pair by two observers
        "120,,",  # an abstention
        "120,,>=110",  # a bound
        "120,130,122",  # observers apart
        "120,130,",
        "120,130,<=100",
        ",,122",  # without a reference
        ",,",  # holds nothing: no row
        ",,>=100",
    )
    counts = found.counts
    assert (counts.rows, counts.paired, counts.abstained, counts.bounded) == (9, 2, 1, 1)
    assert (counts.observers_apart, counts.without_reference) == (3, 2)
    assert found.difference.tolist() == [2.0, 0.0]
    assert (len(found), found.two_observers) == (2, 1)


@pytest.mark.parametrize(
    ("row", "clash"),
    [
        # A bound excludes what lies strictly on its other side.
        ("169.9,>=170", 1), ("170,>=170", 0), ("171,>=170", 0),
        ("169,<=170", 0), ("170,<=170", 0), ("170.1,<=170", 1),
        # A number excludes nothing, however far, and a bound without a reference neither.
        ("100,170", 0), ("200,170", 0), (",>=170", 0),
    ],
)  # fmt: skip
def test_bounds_that_exclude_their_reference(row: str, clash: int) -> None:
    assert pairs("reference,estimate", row, "120,120").bounded_clash == clash


def test_subjects_count_from_0_in_the_order_of_their_first_pairs() -> None:
    # Of b the first row is no pair; c has none at all.
    found = pairs(
        "reference,estimate,subject,sex,age_years,arm_cm,cuff_size",
        "120,,b,male,1,10,adult",
        "120,,c,other,2,20,adult",
        "120,121,a,female,30,31,thigh",
        "120,122,b,male,40,41,adult",
        "120,123,a,female,50,51,adult",
        "120,124,b,male,60,61,thigh",
        "120,125,b,male,60,61,thigh",
    )
    assert found.subject is not None
    assert found.subject.tolist() == [0, 1, 0, 1, 1]
    assert found.independent.tolist() == [0, 1]
    assert (found.subjects, found.counts.subjects, found.repeated) == (2, 2, True)
    assert found.per_subject.tolist() == [2, 3]
    assert found.subject_means(found.difference).tolist() == pytest.approx([2.0, 11 / 3])
    people = found.people
    assert people is not None
    assert (people.sexes, people.cuffs) == (("female", "male"), ("thigh", "adult"))
    assert (people.ages_years.tolist(), people.arms_cm.tolist()) == ([30.0, 40.0], [31.0, 41.0])


def test_one_pair_of_each_subject_is_no_repetition() -> None:
    found = pairs("reference,estimate,subject", "120,121,a", "120,122,b", "120,,a")
    assert not found.repeated
    assert found.independent.tolist() == [0, 1]


def test_without_subjects_each_row_is_another_person() -> None:
    found = pairs("reference,estimate,sex", "120,121,male", "120,122,male", "130,128,male")
    assert (found.subject, found.subjects, found.counts.subjects) == (None, None, None)
    assert found.people is None
    assert not found.repeated
    assert found.independent.tolist() == [0, 1, 2]
    assert found.per_subject.tolist() == [1, 1, 1]
    assert found.subject_means(found.difference).tolist() == [1.0, 2.0, -2.0]


def test_people_whose_columns_are_missing_are_unknown() -> None:
    people = pairs("reference,estimate,subject", "120,121,a", "120,122,b").people
    assert people is not None
    assert (people.sexes, people.cuffs) == (("", ""), ("", ""))
    assert np.isnan(people.ages_years).all()
    assert np.isnan(people.arms_cm).all()


def test_all_that_observers_wrote_is_kept_also_in_rows_that_are_no_pairs() -> None:
    found = pairs("reference,reference_2,estimate", "120,121,", "130,,130", ",140,140", "150,170,1")
    first, second = found.written
    assert first.tolist() == [120.0, 130.0, 150.0]
    assert second.tolist() == [121.0, 140.0, 170.0]
    one = pairs("reference,estimate", "120,", "130,130")
    (alone,) = one.written
    assert alone.tolist() == [120.0, 130.0]
    assert one.two_observers == 0
