"""``tapfall lesson mark``: classes, several sets, every output, and what is refused."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.convert import to_json
from tapfall.lesson import write_key
from tests.lesson.test_mark import answers_of, items, key_of

Output = pytest.CaptureFixture[str]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two keys, a class in one CSV, and a later session on the second set as JSON."""
    first, second = items(15, 3), items(15, 4)
    write_key(tmp_path / "a-key.json", key_of(first))
    write_key(tmp_path / "b-key.json", replace(key_of(second), set_id="cd34", grade="4"))
    lines = ["set_id;learner;item;systolic_mmHg;diastolic_mmHg"]
    for learner, name in (("k-1", "misses gaps"), ("k-2", "careful"), ("k-3", "K4 for K5")):
        lines += [
            f"ab12;{learner};{one.item};{one.systolic_mmhg};{one.diastolic_mmhg}"
            for one in answers_of(first, name, 7).answers
        ]
    (tmp_path / "class.csv").write_text("\n".join(lines) + "\n")
    later = replace(answers_of(second, "careful", 8, saved="2026-03-01"), set_id="cd34")
    (tmp_path / "k-1.json").write_text(json.dumps(to_json(later)))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_class_and_its_progress(home: Path, capsys: Output) -> None:
    given = ["lesson", "mark", "a-key.json", "class.csv", "k-1.json", "--key", "b-key.json"]
    files = ["--csv", "v.csv", "--learners", "l.csv", "--json", "m.json", "--report", "m.html"]
    assert main([*given, *files, "--pass", "4:90,bias:2"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert max(map(len, said.out.splitlines())) <= 80
    assert "3 learners, 4 sessions, 2 of 3 who were examined passed" in said.out
    assert "within 4 mmHg in 90 %, mean error within 2 mmHg" in " ".join(said.out.split())
    with (home / "l.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["learner"], row["set_id"], row["session"]) for row in rows] == [
        ("k-1", "ab12", "1"),
        ("k-1", "cd34", "2"),
        ("k-2", "ab12", "1"),
        ("k-3", "ab12", "1"),
    ]
    assert [row["passed"] for row in rows] == ["no", "yes", "yes", "no"]
    assert [row["missed_gap"] for row in rows] == ["yes", "no", "no", "no"]
    assert rows[3]["muffling"] == "yes"
    assert (home / "v.csv").read_text().count("\n") == 1 + 4 * 30
    record = json.loads((home / "m.json").read_text())
    assert record["schema"] == "tapfall.marks/1"
    assert record["group"]["learners"] == 3
    page = (home / "m.html").read_text(encoding="utf-8")
    assert "Learners and progress" in page
    assert "1 of 2" in page


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (
            ["a-key.json", "class.csv", "k-1.json"],
            "tapfall: k-1.json: answers of k-1: set_id: found 'cd34'; allowed 'ab12', that of",
        ),
        (
            ["a-key.json", "item.csv"],
            "tapfall: item.csv: line 2: item: found 'item-99'; allowed 'item-01' to 'item-15', of "
            "the key",
        ),
        (
            ["a-key.json", "item.json"],
            "item.json: answers, number 1, item: found 'item-99'; allowed 'item-01' to 'item-15', ",
        ),
        (
            ["a-key.json", "class.csv", "again.csv"],
            "tapfall: again.csv: answers of K-1: found two sessions on the set 'ab12' without a "
            "date; allowed one, or the column 'saved' with the day of each",
        ),
        (["a-key.json", "class.csv", "class.csv"], "tapfall: class.csv: answers of k-1: found "),
        (["a-key.json", "--key", "b-key.json", "k-1.json", "k-1.json"], "twice; allowed once"),
        (
            ["a-key.json", "comma.csv"],
            "comma.csv: line 2: systolic_mmHg: found '100,5'; allowed whole mmHg, 0 to 340, or",
        ),
        (
            ["a-key.json", "class.csv", "--report", "m.html", "--set", "none"],
            "tapfall: none: found no such folder; allowed the set's folder",
        ),
        (
            ["a-key.json", "class.csv", "--report", "m.html", "--set", "."],
            "tapfall: set.json: found no such file",
        ),
        (["a-key.json", "class.csv", "--key", "a-key.json"], "two keys of the set 'ab12'"),
        (["a-key.json", "class.csv", "--csv", "x.csv", "--learners", "./x.csv"], "two outputs"),
        (["a-key.json", "class.csv", "--learners", "class.csv"], "overwrites no input"),
        (["a-key.json", "class.csv", "--pass", "bias:2,bias:3"], "--pass: found"),
        (["a-key.json", "bad.csv"], "bad.csv: line 3: systolic_mmHg: found '=1+1'; allowed whole"),
        (["a-key.json", "class.csv", "--set", "set"], "--set: found no --report"),
    ],
)
def test_what_cannot_be_marked_is_one_line(
    home: Path, capsys: Output, given: list[str], told: str
) -> None:
    head = "set_id,learner,item,systolic_mmHg,diastolic_mmHg"
    (home / "bad.csv").write_text(f"{head}\nab12,k,item-01,120,80\nab12,k,item-02,=1+1,80\n")
    (home / "item.csv").write_text(f"{head}\nab12,k,item-99,120,80\n")
    (home / "again.csv").write_text(f"{head}\nab12,K-1,item-01,120,80\n")
    (home / "comma.csv").write_text(
        f"{head}\nab12,k,item-01,100,5\n".replace(",", ";").replace("100;5", "100,5;80")
    )
    wrong = to_json(answers_of(items(15, 3), "careful", 7))
    wrong["answers"][0]["item"] = "item-99"
    (home / "item.json").write_text(json.dumps(wrong))
    before = sorted(home.iterdir())
    assert main(["lesson", "mark", *given]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err
    assert said.err.count("\n") == 1
    assert sorted(home.iterdir()) == before
