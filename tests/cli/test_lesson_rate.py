"""``tapfall lesson rate``: sheets that experts filled in."""

from __future__ import annotations

from pathlib import Path

import pytest

from tapfall.cli import main
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
