"""The list of a visit, names that lead out of its folder, and tables for spreadsheets."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.errors import InputError, printable
from tapfall.files.tables import FORMULA_STARTS, cell_text, table_text
from tapfall.files.visitlist import inside, is_visit_list, read_visit_list


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "visit.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@pytest.mark.parametrize(
    "text",
    [
        "audio,cuff,arm,time\na.wav,a.csv,left,2026-03-31T09:15\nb.wav,b.csv,,\n",
        "\ufeffaudio;cuff;arm;time\r\na.wav;a.csv;Left;2026-03-31T09:15\r\n\r\nb.wav;b.csv;;\r\n",
        "TIME\tArm\tCuff\tAudio\n2026-03-31 09:15:00\tleft\ta.csv\ta.wav\n\t\tb.csv\tb.wav\n",
    ],
)
def test_lists(tmp_path: Path, text: str) -> None:
    path = written(tmp_path, text)
    first, second = read_visit_list(path)
    assert (first.audio, first.cuff, first.arm) == ("a.wav", "a.csv", "left")
    assert first.time == datetime(2026, 3, 31, 9, 15)
    assert (second.audio, second.cuff, second.arm, second.time) == ("b.wav", "b.csv", None, None)
    assert is_visit_list(path)


def test_arm_and_time_may_be_left_out(tmp_path: Path) -> None:
    (row,) = read_visit_list(written(tmp_path, 'cuff,audio\n"a,1.csv",a.wav\n'))
    assert (row.line, row.cuff, row.arm, row.time) == (2, "a,1.csv", None, None)


WANTED = "a list of recordings (CSV with the columns audio and cuff)"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (b"", f"found 0 bytes; allowed {WANTED}"),
        (b"\n\n", f"found only empty lines; allowed {WANTED}"),
        (b"audio,cuff\n", "found no rows below the header; allowed 1 to 1000"),
        (b"audio,cuff\n\xff\n", f"line 2: found bytes that are not UTF-8; allowed {WANTED}"),
        (b"audio,arm\na,left\n", f"line 1: found no column 'cuff'; allowed {WANTED}"),
        (
            b"audio,cuff,amr\na,b,left\n",
            "line 1: found the column 'amr'; allowed audio, cuff, arm, time, arm_cm, cuff_size",
        ),
        (b"audio,cuff,audio\na,b,c\n", "line 1: found 'audio' twice; allowed once"),
        (
            b"audio,cuff\na\n",
            "line 2: found 1 cell; allowed 2, as in the header",
        ),
        (
            b"audio,cuff,arm\na,b,leg\n\nc,d,=1\n",
            "line 2: arm: found 'leg'; allowed left, right or nothing\n"
            "  line 4: arm: found '=1'; allowed left, right or nothing",
        ),
        (
            b"audio,cuff,time\na,b,09:15\n",
            "line 2: time: found '09:15'; allowed a day and time such as 2026-03-31T09:15, or "
            "nothing",
        ),
        (
            b"audio,cuff,time\na,b,2026-03-31\n",
            "line 2: time: found '2026-03-31'; allowed a day and time such as 2026-03-31T09:15, "
            "or nothing",
        ),
        (
            b"audio,cuff\n" + b"a,b\n" * 1001,
            "found 1001 rows; allowed at most 1000",
        ),
        (
            b'audio,cuff\n"a"x,b\n',
            f"line 2: found what is not CSV (',' expected after '\"'); allowed {WANTED}",
        ),
    ],
)
def test_faults(tmp_path: Path, text: bytes, message: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_visit_list(path)
    assert str(caught.value) == f"{path}: {message}"


@given(data=st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = written(tmp_path_factory.getbasetemp(), b"audio,cuff,arm,time\n" + data)
    try:
        rows = read_visit_list(path)
    except InputError as fault:
        assert str(fault).isprintable() or "\n  " in str(fault)
    else:
        assert rows


def test_cuff_logs_are_not_taken_for_lists(tmp_path: Path) -> None:
    assert not is_visit_list(written(tmp_path, "time_s,pressure_mmHg\n0,180\n"))
    assert not is_visit_list(written(tmp_path, b"\xff\xfe\x00"))
    assert not is_visit_list(tmp_path / "none.csv")
    assert not is_visit_list(tmp_path)


# --- names that lead out -------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["../a.wav", "sub/../../a.wav", "/etc/passwd", "..", "sub/../..", "link/a.wav", "out.wav"],
)
def test_names_do_not_lead_out_of_the_folder(tmp_path: Path, name: str) -> None:
    home, other = tmp_path / "visit", tmp_path / "other"
    for folder in (home, home / "sub", other):
        folder.mkdir()
    (tmp_path / "a.wav").write_bytes(b"x")
    (other / "a.wav").write_bytes(b"x")
    (home / "link").symlink_to(other)
    (home / "out.wav").symlink_to(other / "a.wav")
    with pytest.raises(InputError) as caught:
        inside(home, name)
    assert str(caught.value) == (
        f"'{name}': found a name outside the folder of the list; allowed names inside it"
    )


@pytest.mark.parametrize("name", ["", "a\0.wav"])
def test_names_that_are_none(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="allowed the name of a file"):
        inside(tmp_path, name)


@pytest.mark.parametrize("name", ["a.wav", "sub/a.wav", "sub/../a.wav", "..a.wav", "=1+1.wav"])
def test_names_inside(tmp_path: Path, name: str) -> None:
    (tmp_path / "sub").mkdir()
    assert inside(tmp_path, name) == tmp_path / name


def test_the_folder_itself_may_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    assert inside(tmp_path / "link", "a.wav") == tmp_path / "link" / "a.wav"


@given(st.text(max_size=30))
def test_any_name_is_inside_or_refused(name: str) -> None:
    try:
        place = inside("/nowhere/visit", name)
    except InputError:
        return
    assert Path("/nowhere/visit") in (place, *place.parents)


# --- cells ------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_formulas_become_texts(start: str) -> None:
    assert cell_text(f"{start}1+1") == f"'{start}1+1"


@pytest.mark.parametrize(
    ("cell", "text"),
    [("a=b", "a=b"), (-3.5, "-3.5"), (0, "0"), (None, ""), (True, "yes"), (False, "no"), ("", "")],
)
def test_other_cells(cell: str | float | None, text: str) -> None:
    assert cell_text(cell) == text


@given(st.lists(st.tuples(st.text(max_size=8), st.text(max_size=8)), min_size=1, max_size=5))
def test_no_cell_of_a_table_is_a_formula(rows: list[tuple[str, str]]) -> None:
    text = table_text(("one", "two"), rows)
    back = list(csv.reader(io.StringIO(text, newline="")))
    assert back[0] == ["one", "two"]
    for row, (one, two) in zip(back[1:], rows, strict=True):
        assert not any(cell.startswith(FORMULA_STARTS) for cell in row)
        assert all(cell.isprintable() for cell in row)
        assert [cell.removeprefix("'") for cell in row] == [
            printable(one).removeprefix("'"),
            printable(two).removeprefix("'"),
        ]
