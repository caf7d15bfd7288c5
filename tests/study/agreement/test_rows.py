"""The table as columns: parts by name, rows one by one, and what is taken of them."""

from __future__ import annotations

import numpy as np

from tapfall.study.agreement import table_of
from tapfall.study.agreement.rows import Row, Table

TEXT = (
    "reference,reference_2,estimate,subject,condition,measure,confidence,age_years,arm_cm\n"
    "120,122,123,a,calm,systolic,0.9,40,30\n"
    "80,,>=70,b,noise,diastolic,,50,31\n"
    "130,140,,a,calm,systolic,0.5,40,30\n"
    ",,<=90,c,noise,systolic,0.2,,\n"
)


def made(text: str = TEXT) -> Table:
    return table_of("t", text.encode())


def test_rows_are_what_stands_in_the_file() -> None:
    assert made().rows == (
        Row(reference_mmhg=121.0, estimate_mmhg=123.0, subject="a", condition="calm",
            measure="systolic", confidence=0.9),
        Row(reference_mmhg=80.0, estimate_mmhg=70.0, bound=">=", subject="b", condition="noise",
            measure="diastolic"),
        Row(reference_mmhg=None, estimate_mmhg=None, subject="a", condition="calm",
            measure="systolic", confidence=0.5, apart=True),
        Row(reference_mmhg=None, estimate_mmhg=90.0, bound="<=", subject="c", condition="noise",
            measure="systolic", confidence=0.2),
    )  # fmt: skip


def test_columns_that_are_missing_are_empty() -> None:
    table = made("reference,estimate\n120,121\n")
    assert table.rows == (Row(reference_mmhg=120.0, estimate_mmhg=121.0),)
    assert table.second_mmhg is None
    assert table.conditions == ("",)
    assert table.apart.tolist() == [False]
    for column in (table.confidence, table.age_years, table.arm_cm):
        assert np.isnan(column).tolist() == [True]


def test_a_column_that_is_there_is_read() -> None:
    table = made()
    assert table.conditions == ("calm", "noise")
    assert table.second_mmhg is not None
    assert table.second_mmhg[:1].tolist() == [122.0]
    assert table.age_years[:3].tolist() == [40.0, 50.0, 40.0]
    assert table.arm_cm[:3].tolist() == [30.0, 31.0, 30.0]


def test_parts_keep_the_order_of_the_file_and_of_their_names() -> None:
    table = made()
    parts = table.parts("measure")
    assert [name for name, _ in parts] == ["systolic", "diastolic"]
    systolic, diastolic = (part for _, part in parts)
    assert systolic.rows == (table.rows[0], table.rows[2], table.rows[3])
    assert diastolic.rows == (table.rows[1],)
    # What no row of a part has is no part of it.
    assert [name for name, _ in diastolic.parts("condition")] == ["noise"]
    assert [name for name, _ in systolic.parts("condition")] == ["calm", "noise"]
    assert [part.age_years[0] for _, part in diastolic.parts("condition")] == [50.0]
    assert [part.arm_cm[0] for _, part in diastolic.parts("condition")] == [31.0]


def test_without_a_column_the_whole_table_is_its_only_part() -> None:
    table = made("reference,estimate\n120,121\n")
    assert table.parts("measure") == [("", table)]
    one = made("reference,estimate,measure\n120,121,systolic\n")
    assert one.parts("measure") == [("systolic", one)]
    assert one.take(np.zeros(1, dtype=bool)).parts("measure") == []


def test_rows_are_taken_by_mask_or_by_place() -> None:
    table = made()
    by_mask = table.take(np.array([False, True, False, True]))
    by_place = table.take(np.array([1, 3]))
    assert by_mask.rows == by_place.rows == (table.rows[1], table.rows[3])
    alone = made("reference,estimate\n120,121\n130,131\n").take(np.array([1]))
    assert alone.second_mmhg is None
    assert alone.rows[0].reference_mmhg == 130.0
