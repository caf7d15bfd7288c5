"""``tapfall lesson rate``: sheets that experts filled in."""

from __future__ import annotations

from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.errors import InputError
from tapfall.lesson.ratings import COLUMNS, read_ratings
from tapfall.lesson.sets import write_key, write_set
from tests.lesson import made

SET = made.lesson(2)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "set").mkdir()
    write_set(tmp_path / "set" / "set.json", SET)
    write_key(tmp_path / "set-key.json", made.key(SET))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", ["sheet.csv", "sheet.pdf"])
def test_a_sheet_that_stands_there_is_not_written_over(
    home: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["lesson", "rate", "set", "-o", name]) == 0
    (home / name).write_text("filled in")
    assert main(["lesson", "rate", "set", "-o", name]) == 2
    assert capsys.readouterr().err == (
        f"tapfall: {name}: found there already; allowed another -o, or removing it, which loses "
        "what was filled in\n"
    )
    assert (home / name).read_text() == "filled in"


def filled(home: Path, *rows: str, delimiter: str = ",", name: str = "sheet.csv") -> str:
    text = "\n".join([",".join(COLUMNS), *rows]) + "\n"
    (home / name).write_text(text.replace(",", delimiter) if delimiter != "," else text)
    return name


def test_sheets_are_read_as_people_fill_them_in(home: Path) -> None:
    rows = ["set-7,e1,item-01,4,K1 K2,131.5,-,good", "set-7,,item-02,5,,,,"]
    one, two = read_ratings(filled(home, *rows))
    assert (one.rater, two.rater, one.first_mmhg, one.last_mmhg) == ("e1", "e1", 131.5, None)
    name = filled(home, *rows, delimiter=";")
    (home / name).write_text((home / name).read_text().replace("131.5", "131,5"))
    assert read_ratings(name)[0].first_mmhg == 131.5


def test_rows_without_a_rating_are_not_counted(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = filled(home, "set-7,e1,item-01,4,,,,", "set-7,,item-02,,,,,", "set-7,e1,item-02,,-,,,hm")
    assert len(read_ratings(name)) == 1
    assert main(["lesson", "rate", "set-key.json", name]) == 0
    assert capsys.readouterr().out.splitlines()[1].split()[:3] == ["first", "1", "1"]
    with pytest.raises(InputError, match=r"sheet\.csv: found no ratings"):
        read_ratings(filled(home, "set-7,e1,item-01,,,,,"))


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("set-7,e,item-01,,,999,,", "first_mmHg: found '999'; allowed mmHg, 0 to 340, or nothing"),
        (
            "set-7,e,item-01,,,90,120,",
            "last_mmHg: found 120 beside a first of 90; allowed one that is no higher",
        ),
        ("set-8,e,item-01,4,,,,", "set_id: found 'set-8'; allowed 'set-7', of the keys"),
        (
            "set-7,e,item-09,4,,,,",
            "item: found 'item-09'; allowed 'item-01', 'item-02', of the key",
        ),
        (
            "set-7,E,item-02,4,,,,",
            "found 'item-02' by 'E' twice (also in sheet.csv: line 2); allowed once",
        ),
        (
            "set-7,,item-01,4,,,,\nset-7,f,item-01,3,,,,",
            "rater: found nothing; allowed a code in each row, or one code in the sheet",
        ),
    ],
)
def test_what_cannot_be_rated_is_told_by_file_and_line(
    home: Path, row: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    name = filled(home, "set-7,e,item-02,4,K1,,,", row)
    assert main(["lesson", "rate", "set-key.json", name]) == 2
    assert capsys.readouterr().err == f"tapfall: sheet.csv: line 3: {told}\n"
