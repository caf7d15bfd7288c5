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
    table = table_of("t", text.encode())
    assert [(one.reference_mmhg, one.estimate_mmhg, one.bound) for one in table.rows] == [
        (120.0, 118.5, ""),
        (184.0, 180.0, ">="),
        (None, 60.0, "<="),
        (90.0, None, ""),
    ]
    assert [one.line for one in table.rows] == [2, 3, 4, 5]


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


def test_too_many_rows_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "MAX_ROWS", 50)
    data = b"reference,estimate\n" + b"1,2\n" * 51
    with pytest.raises(InputError, match="more than 50 rows"):
        table_of("t", data)
    assert len(table_of("t", data[:-4]).rows) == 50


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


def test_control_characters_in_names_are_escaped() -> None:
    table = table_of("t", b"reference,estimate,condition\n1,2,a\x1b[2Jb\n")
    assert table.rows[0].condition == "a\\x1b[2Jb"


@given(st.binary(max_size=200))
def test_bytes_are_a_table_or_an_input_error(data: bytes) -> None:
    try:
        table = table_of("t", b"reference,estimate\n" + data)
    except InputError:
        return
    assert table.rows
    agreement(table)
