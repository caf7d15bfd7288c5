"""Sets of own recordings with experts' consensus, and experts' ratings of a set."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.errors import InputError
from tapfall.lesson import Order, grade_of, make_set, read_key, read_set
from tapfall.lesson.ratings import COLUMNS, Rating, blank_sheet, rated, read_ratings
from tapfall.lesson.sets import key_beside
from tapfall.lesson.sheets import rating_sheet
from tapfall.model import Phase

FIXTURES = Path(__file__).parents[2] / "synth_fixtures"
NAMES = ("ordinary", "weak", "noisy")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three recordings; on the last one the experts are 6 mmHg apart."""
    home = tmp_path_factory.mktemp("own")
    rows = ["recording,subject,audio,cuff," + ",".join(
        f"observer_{n}_{what}_mmHg" for n in (1, 2) for what in ("systolic", "diastolic")
    ) + ",observer_1_marks,observer_2_marks"]  # fmt: skip
    for number, name in enumerate(NAMES):
        for suffix in ("flac", "csv"):
            (home / f"{name}.{suffix}").write_bytes((FIXTURES / f"{name}.{suffix}").read_bytes())
        truth = json.loads((FIXTURES / f"{name}.truth.json").read_text())
        high, low = (round(truth["in_noise"][what]["mmHg"]) for what in ("systolic", "diastolic"))
        apart = 6 if name == "noisy" else 2
        for observer in (1, 2):
            marks = "time_s,heard,phase\n" + "".join(
                f"{beat['time_s'] + 0.02 * observer:.3f},1,K2\n"
                for beat in truth["beats"]
                if beat["audible_in_noise"]
            )
            (home / f"{name}-{observer}.csv").write_text(marks)
        cells = (name, f"s{number}", f"{name}.flac", f"{name}.csv", high, low, high + apart, low)
        rows.append(",".join(map(str, cells)) + f",{name}-1.csv,{name}-2.csv")
    (home / "manifest.csv").write_text("\n".join(rows) + "\n")
    return home


def test_the_consensus_becomes_the_key_and_the_rest_is_left_out(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["lesson", "own", str(home / "manifest.csv"), "-o", str(home / "set"), "--seed", "3"]
    assert main([*given, "--random-zero", "--mode", "examine"]) == 0
    said = capsys.readouterr().out
    assert "2 items, 1 left out without a consensus: noisy\n" in said
    assert "may hold speech" in said
    lesson, key = read_set(home / "set"), read_key(home / "set-key.json")
    truths = set()
    for name in NAMES[:2]:
        truth = json.loads((FIXTURES / f"{name}.truth.json").read_text())["in_noise"]
        truths.add(round(truth["systolic"]["mmHg"]) + 1.0)
    assert {item.systolic_mmhg for item in key.items} == truths
    assert all(item.beats for item in key.items)
    for item, answers in zip(lesson.items, key.items, strict=True):
        assert max(beat.time_s for beat in answers.beats) < item.seconds
    names = [path.name for path in (home / "set").iterdir()]
    assert not any(name in path for name in NAMES for path in names)


def test_without_any_consensus_there_is_no_set(home: Path, tmp_path: Path) -> None:
    text = (home / "manifest.csv").read_text().splitlines()
    path = home / "apart.csv"
    path.write_text("\n".join([text[0], text[3]]) + "\n")
    given = ["lesson", "own", str(path), "-o", str(tmp_path / "set")]
    assert main(given) == 2
    assert not (tmp_path / "set").exists()


def test_ratings_stand_beside_the_grade(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = make_set(Order(grade=grade_of("2"), count=2, seed=5, random_zero=True), tmp_path / "set")
    sheet = tmp_path / "sheet.csv"
    assert main(["lesson", "rate", str(tmp_path / "set"), "-o", str(sheet)]) == 0
    assert sheet.read_text() == blank_sheet(made.lesson)
    lines = [",".join(COLUMNS)]
    for item in made.key.items:
        heard = [beat.mmhg + item.offset_mmhg for beat in item.beats if beat.audible]
        phases = '"k1, K2;K3 K4"'
        lines.append(
            f"{made.lesson.set_id},x-1,{item.name},4,{phases},{heard[0]:.0f},{heard[-1]:.0f},"
        )
    sheet.write_text("\n".join(lines) + "\n")
    found = rated(made.key, read_ratings(sheet))
    assert (found.grade, found.raters, found.ratings, found.realistic) == ("2", 1, 2, 4.0)
    assert found.phases_share == 1.0
    assert found.first_mmhg == pytest.approx(0.0, abs=0.5)
    capsys.readouterr()
    assert main(["lesson", "rate", str(made.key_path), str(sheet)]) == 0
    said = capsys.readouterr().out
    assert main(["lesson", "rate", str(made.folder), str(sheet)]) == 0
    assert capsys.readouterr().out == said
    assert max(map(len, said.splitlines())) <= 80
    assert said.splitlines()[1].split()[:5] == ["2", "1", "2", "4.0", "(0.0)"]
    # With the key of another set beside it, each grade has its row.
    other = make_set(Order(grade=grade_of("1"), count=1, seed=6), tmp_path / "other")
    given = ["lesson", "rate", str(other.key_path), str(sheet), "--key", str(made.key_path)]
    assert main(given) == 0
    rows = [line.split() for line in capsys.readouterr().out.splitlines()[1:3]]
    assert [(row[0], row[2]) for row in rows] == [("1", "0"), ("2", "2")]
    assert main(["lesson", "rate", str(other.key_path), str(sheet)]) == 2
    assert (
        f"sheet.csv: line 2: set_id: found '{made.lesson.set_id}'; allowed '"
        in capsys.readouterr().err
    )


def test_a_sheet_to_print_holds_nothing_of_the_key(tmp_path: Path) -> None:
    made = make_set(Order(grade=grade_of("2"), count=2, seed=5), tmp_path / "set")
    assert main(["lesson", "rate", str(made.folder), "-o", str(tmp_path / "s.pdf")]) == 0
    pdf = (tmp_path / "s.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert pdf == rating_sheet(made.lesson)


def test_a_sheet_is_written_as_its_name_says_or_not_at_all(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = make_set(Order(grade=grade_of("2"), count=1, seed=5), tmp_path / "set")
    assert main(["lesson", "rate", str(made.folder), "-o", str(tmp_path / "s.txt")]) == 2
    assert "s.txt; allowed a name in .csv or .pdf" in capsys.readouterr().err
    assert not (tmp_path / "s.txt").exists()


def test_a_set_in_the_folder_one_stands_in_has_its_key_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert main(["lesson", "make", "--grade", "1", "--count", "1", "--seed", "1", "-o", "."]) == 0
    assert (tmp_path / "here-key.json").exists()
    assert key_beside("..") == tmp_path.resolve().with_name(f"{tmp_path.name}-key.json")


def test_naming_phases_that_are_not_there_gains_nothing(tmp_path: Path) -> None:
    made = make_set(Order(grade=grade_of("2"), count=1, seed=5), tmp_path / "set")
    item = made.key.items[0]
    only = replace(item, beats=tuple(one for one in item.beats if one.phase == "K1"))
    key = replace(made.key, items=(only,))
    one = Rating(set_id=key.set_id, rater="x", item=item.name, realistic=None,
                 phases=tuple(Phase)[1:5], first_mmhg=None, last_mmhg=None)  # fmt: skip
    assert rated(key, [one]).phases_share == 0.25
    with pytest.raises(InputError, match="'item-01' by 'X' twice"):
        rated(key, [one, replace(one, rater="X")])


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("s,x,item-01,6,K1,,,", "realistic_1_to_5: found '6'"),
        ("s,,item-01,4,K1,,,", "rater: found nothing"),
        ("s,x,item-01,4,K9,,,", "phases: found 'K9'"),
        ("s,x,item-01,4,K1,=1,,", "first_mmHg: found '=1'"),
        ("s,x,item-01", "found 3 cells"),
    ],
)
def test_a_sheet_that_is_none_is_told_by_its_line(tmp_path: Path, row: str, told: str) -> None:
    path = tmp_path / "s.csv"
    path.write_text(",".join(COLUMNS) + "\n" + row + "\n")
    with pytest.raises(InputError, match=f"line 2: {told}"):
        read_ratings(path)


@pytest.mark.parametrize("given", [[], ["a.csv", "-o", "b.csv"]])
def test_rating_does_one_thing(given: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson", "rate", "set", *given]) == 2
    assert "allowed one of them" in capsys.readouterr().err
