"""What the sheets to print say."""

from __future__ import annotations

import re
import zlib
from pathlib import Path

from tapfall.lesson.sheets import answer_sheet, rules_text, teacher_sheet
from tests.lesson import made

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SET = made.lesson()


def text_of(sheet: bytes) -> str:
    """The words of a sheet, in the order they were drawn."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", sheet, re.S)
    drawn = b"".join(zlib.decompress(one) for one in streams)
    lines = re.findall(rb"BT\s(.*?)\sET", drawn, re.S)
    parts = (b"".join(re.findall(rb"\(((?:\\.|[^\\)])*)\)", line)) for line in lines)
    return re.sub(r"\\(.)", r"\1", b" ".join(parts).decode("latin-1"))


def test_what_counts_stands_on_both_sheets_and_in_the_readme() -> None:
    assert rules_text() in text_of(answer_sheet(SET))
    assert rules_text() in text_of(teacher_sheet(made.key(SET), title="x"))
    assert rules_text() in " ".join(README.split())


def test_the_answer_sheet_goes_with_the_page() -> None:
    assert "The manometer that goes with the sounds is in the listening page" in text_of(
        answer_sheet(SET)
    )
    for page in (README, (Path(__file__).parents[2] / "examples/EDUCATOR.md").read_text()):
        assert "manometer" in page
        assert not re.search(r"folder `\w+` with its answer sheet", page)


def test_the_teachers_table_tells_its_units() -> None:
    told = text_of(teacher_sheet(made.key(SET), title="x"))
    assert "Pressures are true ones, in mmHg;" in told
    assert "A beat: by how many mmHg the cuff falls from beat to beat." in told
