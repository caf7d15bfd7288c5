"""``tapfall lesson``: sets and marks from the command line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tapfall.cli import main
from tapfall.convert import to_json
from tapfall.lesson import Answers, Mode, Written, read_key, read_set
from tests.lesson import made
from tests.lesson.learners import perfect


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lesson")
    given = ["lesson", "make", "--grade", "2", "--count", "4", "--seed", "7", "--random-zero"]
    assert main([*given, "--mode", "examine", "-o", str(folder / "set")]) == 0
    key = read_key(folder / "set-key.json")
    rng = np.random.default_rng(3)
    answers = Answers(
        set_id=key.set_id,
        learner="k-1",
        saved="2026-01-05T10:00:00Z",
        mode=Mode.EXAMINE,
        answers=tuple(perfect(one, rng) for one in key.items),
    )
    (folder / "answers.json").write_text(json.dumps(to_json(answers)))
    return folder


def test_what_make_says_fits_a_terminal_and_warns(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["lesson", "make", "--grade", "1", "--count", "1", "--seed", "7", "--mode", "examine"]
    assert main([*given, "-o", str(tmp_path / "s")]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= max(80, len(str(tmp_path)) + 20)
    for words in ("So short a seed", "Headphones", "not a medical device", "simulated"):
        assert words in said


@pytest.mark.parametrize("grade", ["1", "2", "3", "4", "5", "6"])
def test_the_first_line_fits_a_terminal(
    grade: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = replace(made.lesson(15), set_id="01a2cd71c86a")
    told = Written(
        folder=Path("set"),
        key_path=Path("set-key.json"),
        teacher_path=Path("set-key-sheet.pdf"),
        lesson=lesson,
        key=made.key(lesson),
    )
    monkeypatch.setattr("tapfall.lesson.make_set", lambda *_: told)
    assert main(["lesson", "make", "--grade", grade, "--count", "15", "-o", "set"]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 80
    assert "15 items, set 01a2cd71c86a" in " ".join(said.split())


def test_a_drawn_seed_is_long_and_stands_in_the_key_alone(tmp_path: Path) -> None:
    given = ["lesson", "make", "--grade", "1", "--count", "1", "-o", str(tmp_path / "s")]
    assert main(given) == 0
    seed = read_key(tmp_path / "s-key.json").seed
    assert seed is not None
    assert seed > 2**40
    assert str(seed) not in (tmp_path / "s" / "set.json").read_text()
    assert len(read_set(tmp_path / "s").items) == 1


def test_a_perfect_reader_passes(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = ["lesson", "mark", str(home / "set-key.json"), str(home / "answers.json")]
    files = ["--csv", str(home / "m.csv"), "--report", str(home / "m.html")]
    assert main([*given, *files, "--set", str(home / "set")]) == 0
    said = capsys.readouterr().out
    assert "1 learner, 1 session, 1 of 1 who were examined passed" in " ".join(said.split())
    assert (home / "m.csv").read_text().count("\n") == 9
    assert (home / "m.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_links_lead_to_the_set_of_the_key_and_the_page_stays_outside(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["lesson", "make", "--grade", "1", "--count", "1", "-o", str(tmp_path / "other")]
    assert main(given) == 0
    given = ["lesson", "mark", str(home / "set-key.json"), str(home / "answers.json")]
    capsys.readouterr()
    page = tmp_path / "m.html"
    assert main([*given, "--report", str(page), "--set", str(tmp_path / "other")]) == 2
    assert capsys.readouterr().err.startswith(f"tapfall: {tmp_path}/other: found the set '")
    page = home / "set" / "m.html"
    assert main([*given, "--report", str(page), "--set", str(home / "set")]) == 2
    assert "found an output with the answers in the folder of the" in capsys.readouterr().err
    assert not page.exists()


@pytest.mark.parametrize("option", ["--csv", "--learners", "--json", "--report"])
@pytest.mark.parametrize("place", ["set", "link"])
def test_nothing_that_tells_the_answers_goes_to_the_learners(
    home: Path, option: str, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if not (home / "link").exists():
        (home / "link").symlink_to("set")
    output = home / place / f"marks.{'html' if option == '--report' else 'csv'}"
    given = ["lesson", "mark", str(home / "set-key.json"), str(home / "answers.json")]
    before = sorted((home / "set").iterdir())
    assert main([*given, option, str(output)]) == 2
    assert capsys.readouterr().err == (
        f"tapfall: {output}: found an output with the answers in the folder of the learners; "
        "allowed elsewhere\n"
    )
    deep = home / "set" / "deep"
    deep.mkdir()
    page = ["--report", str(home / "m.html"), "--set", str(home / "set")]
    name = "m.html" if option == "--report" else "marks.csv"
    files = [option, str(deep / name)]  # the last --report counts
    assert main([*given, *page, *files]) == 2
    deep.rmdir()
    assert sorted((home / "set").iterdir()) == before


def test_json_alone_stands_on_standard_output(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["lesson", "mark", str(home / "set-key.json"), str(home / "answers.json")]
    assert main([*given, "--json", "-"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["schema"] == "tapfall.marks/1"
    assert record["sessions"][0]["errors"][0]["count"] == 4


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["make", "--grade", "7", "-o", "x"], "invalid choice: '7'"),
        (
            ["make", "--grade", "1", "--count", "0", "-o", "{home}/n"],
            "allowed a whole number, 1 or more",
        ),
        (["make", "--grade", "1", "-o", "{home}"], "holds something"),
        (["make", "--grade", "1", "-o", ""], "empty name"),
        (
            ["make", "--grade", "1", "-o", "{home}/n", "-x"],
            "unrecognized arguments: -x (see tapfall lesson make --help)",
        ),
        (["mark", "{home}/answers.json", "{home}/answers.json"], "schema: found"),
        (["mark", "{home}/set-key.json", "{home}/none.json"], "no such file"),
        (["mark", "{home}/set-key.json", "{home}/answers.json", "--pass", "x"], "--pass: found"),
        (
            ["mark", "{home}/set-key.json", "{home}/answers.json", "--csv", "{home}/answers.json"],
            "overwrites no input",
        ),
        (
            ["mark", "{home}/set-key.json", "{home}/answers.json", "--report", "{home}/a.txt"],
            "ends in .html",
        ),
        (
            ["mark", "{home}/set-key.json", "{home}/answers.json", "--csv", "-"],
            "--csv: found '-'; allowed the name of a file",
        ),
    ],
)
def test_what_cannot_be_done_is_one_line(
    home: Path, given: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["lesson", *(one.format(home=home) for one in given)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err
    assert said.err.count("\n") == 1
