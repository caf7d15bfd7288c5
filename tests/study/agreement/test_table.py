"""Tables as they come: hostile cells are refused in one line, nothing is made up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.errors import InputError
from tapfall.study.agreement import agreement, table, table_of
from tapfall.study.agreement.table import read_table

HEAD = "reference,estimate,subject,condition,measure,confidence\n"


def test_cells_of_every_kind() -> None:
    text = "﻿Estimate;REFERENCE;subject\r\n 118.5 ;120;a\r\n>= 180;184;b\r\n<=60;;c\r\n;90;d\r\n"
    found = table_of("t", text.encode())
    assert [(one.reference_mmhg, one.estimate_mmhg, one.bound) for one in found.rows] == [
        (120.0, 118.5, ""),
        (184.0, 180.0, ">="),
        (None, 60.0, "<="),
        (90.0, None, ""),
    ]
    assert [one.subject for one in found.rows] == ["a", "b", "c", "d"]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_commas_where_cells_are_not_parted_by_commas(delimiter: str) -> None:
    lines = ("reference|estimate|condition|confidence", "120,5|119|a, b|0,75", "90|>=88,5|c|")
    rows = table_of("t", "\n".join(lines).replace("|", delimiter).encode()).rows
    assert [one.reference_mmhg for one in rows] == [120.5, 90.0]
    assert [(one.estimate_mmhg, one.bound) for one in rows] == [(119.0, ""), (88.5, ">=")]
    assert [(one.condition, one.confidence) for one in rows] == [("a, b", 0.75), ("c", None)]


def test_a_second_comma_is_no_decimal_one() -> None:
    with pytest.raises(InputError, match="line 3: reference: found '1,2,8'; allowed a number"):
        table_of("t", b"reference;estimate\n120,5;119\n1,2,8;119\n")


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("nan,1,a,,systolic,", "reference: found 'nan'; allowed a number or nothing"),
        ("120,inf,a,,systolic,", "estimate: found 'inf'"),
        ("120,1e2,a,,systolic,", "estimate: found '1e2'"),
        ("120,1_0,a,,systolic,", "estimate: found '1_0'"),
        ("120,١٢٠,a,,systolic,", "estimate: found"),
        ("120,=1+1,a,,systolic,", r"estimate: found '=1\+1'"),
        ("120,-5,a,,systolic,", "estimate: found '-5'; allowed 0 to 400 mmHg"),
        ("401,5,a,,systolic,", "reference: found '401'; allowed 0 to 400 mmHg"),
        ("120,>=,a,,systolic,", "allowed a number behind >="),
        ("120,>120,a,,systolic,", "estimate: found '>120'"),
        (">=120,120,a,,systolic,", "reference: found '>=120'"),
        ("120,120,,,systolic,", "subject: found nothing"),
        ("120,120,a,,sistolic,", "measure: found 'sistolic'; allowed systolic, diastolic, mean"),
        ("120,120,a,,,", "measure: found ''"),
        ("120,120,a,,systolic,1.01", "confidence: found '1.01'; allowed 0 to 1"),
        ("120,120,a,,systolic", "found 5 cells; allowed 6"),
        ('"120,5",120,a,,systolic,', "reference: found '120,5'"),
        ("120,120," + "x" * 61 + ",,systolic,", "subject: found 'xxxx"),
        ("120,1\x1b[2J,a,,systolic,", r"estimate: found '1\\x1b\[2J'"),
        ('120,"1,a,,systolic,', "found what is not CSV"),
    ],
)
def test_hostile_cells(row: str, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted) as fault:
        table_of("pairs.csv", (HEAD + "120,121,a,,systolic,0.5\n" + row + "\n").encode())
    message = str(fault.value)
    assert message.startswith("pairs.csv: line 3: ")
    assert "\n" not in message and message.isprintable()


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        (b"", "found only empty lines"),
        (b"reference,estimate\n", "found no rows below the header"),
        (b"reference,estimat\n1,2\n", "found the column 'estimat'; allowed reference"),
        (b"reference,subject\n1,2\n", "found no column 'estimate'"),
        (b"reference,estimate,estimate\n1,2,3\n", "found 'estimate' twice"),
        (b"\xff\xfe", "not UTF-8"),
        (
            b"reference,estimate,condition\n" + b"".join(b"1,2,%d\n" % n for n in range(21)),
            "found 21 conditions; allowed at most 20",
        ),
    ],
)
def test_tables_that_are_none(data: bytes, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted):
        table_of("t", data)


def test_too_many_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "MAX_ROWS", 3)
    with pytest.raises(InputError, match="found more than 3 rows; allowed at most so"):
        table_of("t", b"reference,estimate\n" + b"1,2\n" * 4)
    assert len(table_of("t", b"reference,estimate\n" + b"1,2\n" * 3)) == 3


def test_rows_beyond_one_batch_are_as_those_within(monkeypatch: pytest.MonkeyPatch) -> None:
    body = "".join(f"{100 + n % 7},{101 + n % 5},p{n % 4},c{n % 3},systolic,\n" for n in range(40))
    whole = table_of("t", (HEAD + body).encode())
    monkeypatch.setattr(table, "_AT_ONCE", 7)
    monkeypatch.setattr(table, "_REMEMBERED", 2)
    parts = table_of("t", (HEAD + body).encode())
    assert parts.rows == whole.rows
    assert agreement(parts) == agreement(whole)
    with pytest.raises(InputError, match=r"t: line 42: reference: found 'x'"):
        table_of("t", (HEAD + body + "x,1,a,,systolic,\n").encode())


def test_two_observers_are_one_reference_or_none() -> None:
    text = "reference,reference_2,estimate\n120,124,121\n120,124.1,121\n,80,81\n90,,91\n,,70\n"
    found = table_of("t", text.encode())
    assert [(one.reference_mmhg, one.apart) for one in found.rows] == [
        (122.0, False),
        (None, True),
        (80.0, False),
        (90.0, False),
        (None, False),
    ]
    (group,) = agreement(found).groups
    counts = group.counts
    assert (counts.paired, counts.observers_apart, counts.without_reference) == (3, 1, 1)
    assert any("more than 4 mmHg apart" in note for note in group.notes)


@pytest.mark.parametrize(
    ("column", "cell", "wanted"),
    [
        ("sex", "f", "sex: found 'f'; allowed female, male, other, or nothing"),
        ("age_years", "131", "age_years: found '131'; allowed 0 to 130 years, or nothing"),
        ("arm_cm", "wide", "arm_cm: found 'wide'; allowed 8 to 80 cm, or nothing"),
        ("cuff_size", "x" * 61, "cuff_size: found 'xxx"),
        ("reference_2", "nan", "reference_2: found 'nan'"),
    ],
)
def test_cells_of_people(column: str, cell: str, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted):
        table_of("t", f"reference,estimate,{column}\n120,121,{cell}\n".encode())


def test_every_fault_is_listed_once(tmp_path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("reference,estimate\nx,1\n1,y\n1,2\n")
    with pytest.raises(InputError) as fault:
        read_table(path)
    first, second = str(fault.value).splitlines()
    assert first.endswith(
        "line 2: reference: found 'x'; allowed a number or nothing, such as 120.5"
    )
    assert second.startswith("  line 3: estimate")


def test_a_huge_file_is_refused(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "MAX_BYTES", 1000)
    path = tmp_path / "t.csv"
    path.write_bytes(b"reference,estimate\n" + b" " * 1000)
    with pytest.raises(InputError):
        read_table(path)


def test_twenty_conditions_are_allowed() -> None:
    data = b"reference,estimate,condition\n" + b"".join(b"1,2,%d\n" % n for n in range(20))
    assert len(table_of("t", data).conditions) == 20


def test_a_file_of_just_the_largest_size_is_read_whole(
    tmp_path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(b"reference,estimate\n120,121\n130,139")
    monkeypatch.setattr(table, "MAX_BYTES", path.stat().st_size)
    assert [one.estimate_mmhg for one in read_table(path).rows] == [121.0, 139.0]


def test_control_characters_in_names_are_escaped() -> None:
    found = table_of("t", b"reference,estimate,condition\n1,2,a\x1b[2Jb\n")
    assert found.rows[0].condition == "a\\x1b[2Jb"


@given(st.binary(max_size=200))
def test_bytes_are_a_table_or_an_input_error(data: bytes) -> None:
    try:
        found = table_of("t", b"reference,estimate\n" + data)
    except InputError:
        return
    assert found.rows
    agreement(found)
