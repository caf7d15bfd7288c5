"""``tapfall visit``, run as a user runs it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from tapfall.cli import main
from tapfall.cli.visit_options import VISIT_DEFAULT
from tapfall.files import save, write_reading
from tapfall.model import CAUTION, Diastolic, Reading, Source, State, Status
from tapfall.standards import ARMS_TO_AVOID, NO_DIAGNOSIS, VERY_HIGH_CAUTION
from tapfall.synth import Scenario, simulate
from tapfall.visit import GUIDELINES, SCHEMES, visit_schema
from tapfall.visit.make import DEFAULT
from tests.visit.made import not_reached, reading, unreadable

FIXTURES = Path(__file__).parents[2] / "synth_fixtures"

Output = pytest.CaptureFixture[str]

#: Folders of machines do not belong into what is written.
SECRET = "secret-folder"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with three readings."""
    for number, pair in enumerate([(142.0, 88.0), (137.0, 86.0), (139.6, 84.0)], 1):
        write(tmp_path / f"r{number}.json", reading(*pair, beat_s=float(number)))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(path: Path, one: Reading) -> None:
    name = path.stem
    source = Source(
        audio_name=f"{name}.wav", audio_sha256="ab", cuff_name=f"{name}.csv", cuff_sha256="cd"
    )
    write_reading(path, one, source)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_readings(folder: Path, capsys: Output) -> None:
    assert main(["visit", "r1.json", "r2.json", "r3.json", "--average", "esc-2024"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert lines[0] == "138/85 mmHg   average of 2 readings"
    assert lines[2:8] == [
        "Systolic        138.3 mmHg   (136.3 to 140.3)",
        "Diastolic       85.0 mmHg   (83.0 to 87.0)",
        "To 2 mmHg       138/86 mmHg   for display only",
        "Pulse pressure  53.3 mmHg",
        "Mean arterial   102.8 mmHg   diastolic + pulse pressure / 3",
        "Averaged        ESC 2024: of 3 readings or more the last two readings",
    ]
    assert "stage 1 (ACC/AHA 2025); category uncertain: stage 1 or stage 2" in flat(out)
    assert "r1.json                       -      142/88            ok          no" in lines
    # A reading of 139.6 is not shown as 140.
    assert "r3.json                       -      139.6/84          ok          yes" in lines
    for caution in (CAUTION, NO_DIAGNOSIS, ARMS_TO_AVOID):
        assert flat(out).count(caution) == 1
    assert "rounding, also that to 2 mmHg, is for display only" in flat(out)
    assert max(map(len, lines)) <= 80
    assert not any(line.endswith(" ") for line in lines)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("average", ["acc-aha-2025", "esh-2023", "jsh-2019"])
def test_every_visit_fits_eighty_columns(
    folder: Path, capsys: Output, average: str, scheme: str
) -> None:
    write(folder / ("a very long name of a reading that goes on" * 4 + ".json"), unreadable())
    names = sorted(path.name for path in folder.iterdir())
    arms = "left,right,left,right"
    code = main(["visit", *names, "--average", average, "--scheme", scheme, "--arm", arms])
    assert code == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_list_of_names(capsys: Output) -> None:
    assert main(["visit", "--list"]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    for one in (*GUIDELINES.values(), *SCHEMES.values()):
        assert f"  {one.name:<14}{one.title} ({one.date})" in out.splitlines()
        assert flat(one.source) in flat(out)


def test_the_defaults_are_one() -> None:
    assert VISIT_DEFAULT == DEFAULT
    assert VISIT_DEFAULT in GUIDELINES
    assert VISIT_DEFAULT in SCHEMES


def test_json(folder: Path, capsys: Output) -> None:
    given = ["visit", "r1.json", "r2.json", "--arm", "left"]
    assert main([*given, "--json", "-"]) == 0
    out, err = capsys.readouterr()
    record = json.loads(out)
    assert err == ""
    jsonschema.Draft202012Validator(visit_schema()).validate(record)
    assert record["schema"] == "tapfall.visit/1"
    assert record["average"]["systolic"] == {"mmHg": 139.5, "low_mmHg": 137.5, "high_mmHg": 141.5}
    assert record["average"]["arm"] == "left"
    assert [one["audio_name"] for one in record["sources"]] == ["r1.wav", "r2.wav"]
    assert main([*given, "--json", "visit.json"]) == 0
    assert capsys.readouterr().out.startswith("139.5/87 mmHg   average of 2 readings, left arm\n")
    assert json.loads(Path("visit.json").read_text()) == record


def test_saved_readings_of_simulated_recordings(folder: Path, arm: Path, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--json", "arm.json"]) == 0
    words = "no person was measured in 1 of 2 readings."
    capsys.readouterr()
    assert main(["visit", "arm.json", "r1.json", "--report", "visit.html"]) == 0
    assert f"\nSimulated: {words}\n" in capsys.readouterr().out
    assert f"<strong>Simulated:</strong> {words}</p>" in Path("visit.html").read_text()
    assert main(["visit", "r1.json", "r2.json"]) == 0
    assert "Simulated" not in capsys.readouterr().out


def test_a_bound_is_shown_as_one(folder: Path, capsys: Output) -> None:
    write(folder / "high.json", not_reached(106.3))
    both = replace(not_reached(106.3), diastolic=Diastolic(state=State.NOT_REACHED, high_mmhg=71.0))
    write(folder / "both.json", both)
    assert main(["visit", "r1.json", "high.json", "both.json", "--report", "visit.html"]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    row = "high.json                     -      at least 106 / 80 review      no"
    why = "left out because a person should check it (--include-review counts it)"
    assert f"\n{row}\n    {why}\n" in out
    assert "both.json                     -      at least 106 / at most 71 review      no\n" in out
    assert "<td>at least 106 / 80</td>" in Path("visit.html").read_text()


def test_review_readings(folder: Path, capsys: Output) -> None:
    write(folder / "r4.json", reading(150.0, 90.0, status=Status.REVIEW))
    given = ["visit", "r1.json", "r4.json", "--json", "-"]
    assert main(given) == 0
    assert json.loads(capsys.readouterr().out)["average"]["count"] == 1
    assert main([*given, "--include-review"]) == 0
    average = json.loads(capsys.readouterr().out)["average"]
    assert (average["count"], average["review_count"]) == (2, 1)


def test_very_high_values_are_told_first(folder: Path, capsys: Output) -> None:
    write(folder / "r4.json", reading(190.0, 90.0, status=Status.REVIEW))
    assert main(["visit", "r1.json", "r2.json", "r4.json"]) == 0
    out = flat(capsys.readouterr().out)
    assert out.count(VERY_HIGH_CAUTION) == 1
    assert out.index(VERY_HIGH_CAUTION) < out.index("Note:")


def test_nothing_could_be_averaged(folder: Path, capsys: Output) -> None:
    write(folder / "u.json", unreadable())
    assert main(["visit", "u.json"]) == 1
    out, err = capsys.readouterr()
    assert out.startswith("Nothing could be averaged.\n")
    assert "u.json                        -      -                 unreadable  no" in out
    assert "No reading could be used: measure again." in out
    assert err == ""
    # JSH 2019 wants two stable readings.
    assert main(["visit", "r1.json", "r2.json", "--average", "jsh-2019"]) == 1


def test_one_bad_recording_does_not_lose_the_others(folder: Path, capsys: Output) -> None:
    Path(SECRET).mkdir()
    Path(SECRET, "bad.json").write_text("{")
    given = ["visit", "r1.json", str(Path(SECRET, "bad.json").resolve()), "r2.json", "none.json"]
    assert main([*given, "--arm", "left,right,left,right"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("139.5/87 mmHg   average of 2 readings, left arm\n")
    assert "bad.json: line 1: found what is not JSON" in out
    assert "none.json: found no such file; allowed a reading in JSON" in flat(out)
    assert main([*given, "--json", "-"]) == 0
    out = capsys.readouterr().out
    assert [one["name"] for one in json.loads(out)["lost"]] == ["bad.json", "none.json"]
    assert SECRET not in out


def test_all_bad(folder: Path, capsys: Output) -> None:
    assert main(["visit", "none.json", "gone.json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("tapfall: none.json: found no such file; allowed a reading in JSON")
    assert err.count("\n") == 1


def test_one_recording_twice_counts_once(folder: Path, capsys: Output) -> None:
    assert main(["visit", "r1.json", "r1.json"]) == 0
    out = capsys.readouterr().out
    assert "a single reading, no average" in out
    assert "the same measurement as r1.json" in out


# --- recordings ------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds two recordings of one person and lists of them."""
    place = tmp_path_factory.mktemp("two")
    for seed in (3, 4):
        recording = simulate(Scenario(seed=seed)).recording
        save(recording, place / f"a{seed}.wav", place / f"a{seed}.csv")
    (place / "visit.csv").write_text(
        "audio,cuff,arm,time\n"
        "a4.wav,a4.csv,left,2026-03-31T09:17\n"
        "a3.wav,a3.csv,left,2026-03-31T09:15\n"
    )
    (place / "hostile.csv").write_text(
        "audio,cuff,arm,time\n"
        "a3.wav,a3.csv,right,\n"
        "../two/a4.wav,a4.csv,right,\n"
        "/etc/passwd,a4.csv,,\n"
        "=cmd|'/c calc'!A1,@x,,\n"
        "a\x1b[2Jb.wav,a4.csv,,\n"
    )
    return place


def test_pairs_and_lists_are_one(
    two: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(two)
    pairs = ["a3.wav", "a3.csv", "a4.wav", "a4.csv", "--arm", "left"]
    records = []
    for given in (pairs, ["visit.csv"], [str(two / "visit.csv")]):
        assert main(["visit", *given, "--json", "-"]) == 0
        records.append(json.loads(capsys.readouterr().out))
    assert records[0]["average"] == records[1]["average"] == records[2]["average"]
    assert records[0]["average"]["count"] == 2
    assert [one["label"] for one in records[1]["readings"]] == ["a3.wav", "a4.wav"]
    assert [one["time"] for one in records[1]["readings"]] == [
        "2026-03-31T09:15:00",
        "2026-03-31T09:17:00",
    ]
    assert len(records[1]["sources"]) == 2


def test_saved_readings_keep_their_arm_and_their_mark(
    two: Path, tmp_path: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    pairs = {
        side: [str(two / f"a{seed}.{end}") for end in ("wav", "csv")]
        for side, seed in (("left", 3), ("right", 4))
    }
    for side, pair in pairs.items():
        assert main(["read", *pair, "--arm", side, "--json", f"{side}.json"]) == 0
    assert main(["read", *pairs["left"], "--json", "none.json"]) == 0
    capsys.readouterr()
    names = ["left.json", "right.json", "none.json"]
    assert main(["visit", *names, "--arm", "right", "--json", "-", "--table", "t.csv"]) == 0
    found = json.loads(capsys.readouterr().out)["readings"]
    assert [one["arm"] for one in found] == ["left", "right", "right"]
    assert [one["simulated"] for one in found] == [True] * 3
    rows = list(csv.DictReader(io.StringIO(Path("t.csv").read_text(encoding="utf-8"))))
    assert [(row["arm"], row["simulated"]) for row in rows][:2] == [
        ("left", "yes"),
        ("right", "yes"),
    ]


def test_a_bound_stands_in_the_table(capsys: Output, tmp_path: Path) -> None:
    given = [str(FIXTURES / f"under_inflated.{end}") for end in ("flac", "csv")]
    table = tmp_path / "t.csv"
    assert main(["visit", *given, "--table", str(table)]) == 1
    capsys.readouterr()
    row = next(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))
    assert row["systolic_mmHg"] == ""
    assert float(row["systolic_at_least_mmHg"]) > float(row["diastolic_mmHg"])


def test_hostile_names(two: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(two)
    before = sorted(path.name for path in two.iterdir())
    assert main(["visit", "hostile.csv", "--table", "table.csv"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.replace("\n", "").isprintable()
    assert max(map(len, out.splitlines())) <= 80
    outside = "found a name outside the folder of the list; allowed names inside it"
    assert f"'../two/a4.wav': {outside}" in flat(out)
    assert f"'/etc/passwd': {outside}" in flat(out)
    rows = list(csv.reader(io.StringIO(Path("table.csv").read_text(encoding="utf-8"))))
    Path("table.csv").unlink()
    assert sorted(path.name for path in two.iterdir()) == before
    assert rows[0][:5] == ["reading", "arm", "time", "status", "systolic_mmHg"]
    assert {len(row) for row in rows} == {len(rows[0])}
    assert [row[0] for row in rows[1:]] == [
        "a3.wav",
        "../two/a4.wav",
        "/etc/passwd",
        "'=cmd|'/c calc'!A1",
        r"a\x1b[2Jb.wav",
    ]
    assert [row[3] for row in rows[1:]] == ["ok", "lost", "lost", "lost", "lost"]
    assert not any(cell[:1] in tuple("=+@") for row in rows for cell in row)


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        ([], "the following arguments are required: INPUT"),
        (["x.wav"], "found 'x.wav' without its cuff log; allowed readings (.json), sounds"),
        (["none.wav"], "none.wav: found no such file; allowed readings (.json), sounds each"),
        (["."], ".: found a folder; allowed readings (.json), sounds each followed by its cuff"),
        (["empty.csv"], "empty.csv: found 0 bytes; allowed readings (.json), sounds each"),
        (["r1.json", "--average", "esc"], "average: found 'esc'; allowed acc-aha-2025, esc-2024"),
        (["r1.json", "--scheme", "who"], "scheme: found 'who'; allowed acc-aha-2025, acc-aha-2017"),
        (["r1.json", "--arm", "leg"], "argument --arm: found 'leg'; allowed left, right, or one"),
        (
            ["r1.json", "r2.json", "r3.json", "--arm", "left,right"],
            "--arm: found 2 arms for 3 recordings; allowed one for all or one for each",
        ),
        (
            ["r1.json", "--arm", "left,right"],
            "--arm: found 2 arms for 1 recording; allowed one for all or one for each",
        ),
        (["r1.json", "--json", "r1.json"], "r1.json: found an input; allowed an output"),
        (["r1.json", "--table", "r1.json"], "r1.json: found an input; allowed an output"),
        (["list.csv", "--table", "x.wav"], "x.wav: found an input; allowed an output that"),
        (["list.csv", "--table", "list.csv"], "list.csv: found an input; allowed an output that"),
        (
            ["r1.json", "--json", "o.x", "--table", "./o.x"],
            "o.x: found two outputs under one name; allowed a name for each",
        ),
        (["bad.csv"], "bad.csv: line 1: found the column 'amr'; allowed audio, cuff, arm, time, "),
        (["r1.json", "--json", "none/o.json"], "none/o.json: cannot be written"),
    ],
)
def test_faults(folder: Path, capsys: Output, argv: list[str], text: str) -> None:
    Path("list.csv").write_text("audio,cuff\nx.wav,x.csv\n")
    Path("x.wav").write_bytes(b"x")
    Path("empty.csv").touch()
    Path("bad.csv").write_text("audio,cuff,amr\nx.wav,x.csv,left\n")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["visit", *argv]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"tapfall: {text}")
    assert err.count("\n") == 1
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
