"""``tapfall demo`` and ``tapfall simulate``."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import tapfall
from tapfall.cli import main
from tapfall.cli.options import DIASTOLIC_MMHG, SYSTOLIC_MMHG
from tapfall.files import read_reading
from tapfall.synth import (
    Person,
    builtin_names,
    load_builtin,
    load_scenario,
    sample,
    simulate,
    truth_to_dict,
)
from tapfall.synth.fields import field_table

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def names(folder: str) -> list[str]:
    return sorted(path.name for path in Path(folder).iterdir())


def fault(capsys: Output, *argv: str) -> str:
    assert main(argv) == 2
    out, err = capsys.readouterr()
    assert out == ""
    return err


@pytest.mark.parametrize(("argv", "folder"), [([], "tapfall-demo"), (["a/b"], "a/b")])
def test_demo(capsys: Output, argv: list[str], folder: str) -> None:
    assert main(["demo", *argv]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("recording.wav with recording.csv\n")
    files = [f"recording.{suffix}" for suffix in ("wav", "csv", "truth.json", "toml")]
    files += ["reading.json", "reading.png"]
    assert names(folder) == sorted(files)
    last = out.rpartition("\n\n")[2]
    assert last.startswith(f"In {folder}: ")
    assert all(name in last for name in files)
    recording = tapfall.load(f"{folder}/recording.wav", f"{folder}/recording.csv")
    record = read_reading(f"{folder}/reading.json")
    assert record.reading == tapfall.take_reading(recording)
    assert record.source == recording.source
    truth = json.loads(Path(folder, "recording.truth.json").read_text())["in_quiet"]
    for name in ("systolic", "diastolic"):
        read = getattr(record.reading, name).mmhg
        assert read == pytest.approx(truth[name]["mmHg"], abs=4.0)


@pytest.mark.parametrize("argv", [("demo", ""), ("simulate", "normal", "-o", "")])
def test_a_folder_without_a_name(capsys: Output, argv: tuple[str, ...]) -> None:
    assert fault(capsys, *argv) == (
        "tapfall: '': found an empty name; allowed a folder to write in\n"
    )
    assert names(".") == []


def test_a_folder_that_cannot_be_made(capsys: Output) -> None:
    Path("file").touch()
    assert fault(capsys, "demo", "file") == (
        "tapfall: file: cannot be made a folder (File exists); allowed a folder to write in\n"
    )
    assert fault(capsys, "simulate", "normal", "-o", "file/x") == (
        "tapfall: file/x: cannot be made a folder (Not a directory); allowed a folder to write in\n"
    )


def test_list(capsys: Output) -> None:
    assert main(["simulate", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    entries = "\n".join(lines).replace("\n" + " " * 24, " ").split("\n")
    assert [entry.split()[0] for entry in entries] == list(builtin_names())
    assert all(entry.endswith(load_builtin(entry.split()[0]).description) for entry in entries)
    assert names(".") == []


def test_simulate_counts_on_from_the_seed(capsys: Output) -> None:
    assert main(["simulate", "normal", "--seed", "7", "--count", "2", "-o", "made"]) == 0
    assert names("made") == [
        f"normal-{seed}.{suffix}"
        for seed in (7, 8)
        for suffix in ("csv", "toml", "truth.json", "wav")
    ]
    assert capsys.readouterr() == (
        "made/normal-7.wav made/normal-7.csv\nmade/normal-8.wav made/normal-8.csv\n",
        "",
    )
    sounds = [Path(f"made/normal-{seed}.wav").read_bytes() for seed in (7, 8)]
    assert sounds[0] != sounds[1]
    assert load_scenario("made/normal-8.toml") == replace(load_builtin("normal"), seed=8)


def test_the_same_seed_makes_the_same_files(capsys: Output) -> None:
    for folder in ("one", "two"):
        assert main(["simulate", "normal", "--seed", "7", "-o", folder]) == 0
    for name in names("one"):
        assert Path("one", name).read_bytes() == Path("two", name).read_bytes()


@pytest.mark.parametrize("argv", [("demo", "made"), ("simulate", "normal", "-o", "made")])
def test_what_the_same_scenario_made_is_made_again(capsys: Output, argv: tuple[str, ...]) -> None:
    for _ in range(2):
        assert main(argv) == 0
    # Changed by hand, and kept.
    (scenario,) = Path("made").glob("*.toml")
    scenario.write_text(scenario.read_text().replace("120", "121"))
    changed = scenario.read_text()
    capsys.readouterr()
    assert fault(capsys, *argv) == (
        f"tapfall: {scenario}: found there already; allowed another folder, or what the same "
        "scenario made\n"
    )
    assert scenario.read_text() == changed


@pytest.mark.parametrize("name", ["normal-2.wav", "normal-2.csv", "normal-2.truth.json"])
def test_simulate_overwrites_nothing_of_others(capsys: Output, name: str) -> None:
    Path(name).write_text("mine")
    told = fault(capsys, "simulate", "normal", "--count", "2", "-o", ".")
    assert told.startswith(f"tapfall: {name}: found there already; allowed another folder, or")
    assert (names("."), Path(name).read_text()) == ([name], "mine")


@pytest.mark.parametrize("name", ["recording.wav", "recording.csv", "reading.json", "reading.png"])
def test_demo_overwrites_nothing_of_others(capsys: Output, name: str) -> None:
    Path(name).write_text("mine")
    assert fault(capsys, "demo", ".").startswith(f"tapfall: {name}: found there already; allowed")
    assert (names("."), Path(name).read_text()) == ([name], "mine")


def test_simulate_a_person(capsys: Output) -> None:
    argv = ["--systolic", "170", "--diastolic", "105", "--seed", "4"]
    assert main(["simulate", *argv]) == 0
    made = load_scenario("tapfall-simulated/person-4.toml")
    assert (made.person.systolic_mmhg, made.person.diastolic_mmhg) == (170.0, 105.0)
    assert (made.cuff.top_mmhg, made.cuff.end_mmhg) == (200.0, 80.0)
    truth = json.loads(Path("tapfall-simulated/person-4.truth.json").read_text())["in_quiet"]
    assert truth["systolic"]["mmHg"] == pytest.approx(170.0, abs=8.0)
    assert truth["diastolic"]["mmHg"] == pytest.approx(105.0, abs=8.0)


@pytest.mark.parametrize(("argv", "seeds"), [(["--seed", "7"], (7, 8)), ([], (0, 1))])
def test_simulate_persons_of_the_population(
    capsys: Output, argv: list[str], seeds: tuple[int, ...]
) -> None:
    assert main(["simulate", "--count", "2", *argv, "-o", "made"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        f"made/person-{seed}.wav made/person-{seed}.csv" for seed in seeds
    ]
    for seed in seeds:
        assert load_scenario(f"made/person-{seed}.toml") == sample(seed)
        truth = json.loads(Path(f"made/person-{seed}.truth.json").read_text())
        assert truth == truth_to_dict(simulate(sample(seed)).truth)
    assert len(names("made")) == 8


def test_help_and_readme_tell_the_population_that_is_drawn(capsys: Output) -> None:
    assert main(["simulate", "--help"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    readme = " ".join((Path(__file__).parents[2] / "README.md").read_text().split())
    persons = [sample(seed).person for seed in range(2000)]
    for words, name, low, high in (
        ("systolic 90-200", "systolic_mmhg", 90, 200),
        ("diastolic 50-110 mmHg", "diastolic_mmhg", 50, 110),
        ("heart rate 50-110 per minute", "heart_rate_per_min", 50, 110),
    ):
        assert words in told
        assert words in readme
        values = [getattr(person, name) for person in persons]
        assert low <= min(values) < low + 10
        assert high - 10 < max(values) <= high


def test_the_pressures_that_can_be_given_are_those_of_scenarios() -> None:
    allowed = {name: span for name, _, span, *_ in field_table(Person)}
    for span, name in ((SYSTOLIC_MMHG, "systolic_mmhg"), (DIASTOLIC_MMHG, "diastolic_mmhg")):
        assert "{} to {}".format(*span) == allowed[name]


def test_simulate_a_file(capsys: Output) -> None:
    Path("mine.toml").write_text("seed = 3\n[person]\nsystolic_mmhg = 130\n")
    assert main(["simulate", "mine.toml", "-o", "made"]) == 0
    assert names("made") == [f"mine-3.{part}" for part in ("csv", "toml", "truth.json", "wav")]
    assert load_scenario("made/mine-3.toml") == load_scenario("mine.toml")


def noise_file(path: str, *, broken: bool = False) -> None:
    samples = np.random.default_rng(1).normal(0, 0.1, 30_000).astype(np.float32)
    samples[17] = np.nan if broken else 0.0
    soundfile.write(path, samples, 8000, subtype="FLOAT")


@pytest.mark.parametrize("given", ["world/mine.toml", "{here}/world/mine.toml"])
@pytest.mark.parametrize("folder", ["made", "world", "a/b/c"])
def test_a_scenario_with_a_noise_file_can_be_given_again(
    capsys: Output, tmp_path: Path, given: str, folder: str
) -> None:
    Path("world").mkdir()
    Path("world/mine.toml").write_text('[[room.noises]]\nkind = "file"\npath = "talk.wav"\n')
    noise_file("world/talk.wav")
    given = given.format(here=tmp_path)
    for _ in range(2):  # the second time it knows its own
        assert main(["simulate", given, "--seed", "3", "-o", folder]) == 0
    written = f"{folder}/mine-3.toml"
    assert str(tmp_path) not in Path(written).read_text()
    assert main(["simulate", written, "-o", "again"]) == 0
    for suffix in ("wav", "csv", "truth.json"):
        first, again = Path(f"{folder}/mine-3.{suffix}"), Path(f"again/mine-3-3.{suffix}")
        assert first.read_bytes() == again.read_bytes()


def test_simulate_a_series_from_a_file(capsys: Output) -> None:
    Path("mine.toml").write_text('[person]\nrhythm = "series"\nintervals_path = "beats.csv"\n')
    Path("beats.csv").write_text("beat_time_s\n0\n0.8\n1.7\n2.6\n")
    assert main(["simulate", "mine.toml", "-o", "made"]) == 0
    Path("beats.csv").unlink()
    assert main(["simulate", "made/mine-0.toml", "-o", "again"]) == 0
    assert Path("again/mine-0-0.wav").read_bytes() == Path("made/mine-0.wav").read_bytes()
    Path("beats.csv").write_text("beat_time_s\n0\n0.8\n5.7\n")
    capsys.readouterr()
    assert fault(capsys, "simulate", "mine.toml", "-o", "wrong") == (
        "tapfall: mine.toml: person.intervals_path: beats.csv: line 4: found 4.9 s from beat to "
        "beat; allowed 0.25 to 4 s\n"
    )


def test_a_broken_noise_file_leaves_nothing_behind(capsys: Output) -> None:
    Path("mine.toml").write_text('[[room.noises]]\nkind = "file"\npath = "talk.wav"\n')
    noise_file("talk.wav", broken=True)
    assert fault(capsys, "simulate", "mine.toml", "-o", "made") == (
        "tapfall: noise.path: found 'talk.wav', whose sample 18 is nan; "
        "allowed finite samples of at most 1e+12\n"
    )
    assert names("made") == []


def test_a_failure_in_between_leaves_nothing_behind(
    capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr("tapfall.synth.truth_to_dict", lambda truth: {"mmHg": float("nan")})
        assert main(["simulate", "normal", "-o", "made"]) == 3
    assert names("made") == []
    assert main(["simulate", "normal", "-o", "made"]) == 0


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        (
            [],
            "found nothing to simulate; allowed the name of a built-in scenario (see tapfall "
            "simulate --list), a .toml file, --systolic or --diastolic, or --count\n",
        ),
        (["--seed", "3"], "found nothing to simulate; allowed"),
        (["--list", "normal"], "found a scenario beside --list; allowed --list alone"),
        (["--list", "--count", "2"], "found --count beside --list; allowed --list alone"),
        (["../normal"], "../normal: found no built-in scenario of that name"),
        (["none.toml"], "none.toml: found no such file; allowed a TOML file"),
        (
            ["normal", "--systolic", "1000"],
            "argument --systolic: found '1000'; allowed 60 to 260 mmHg",
        ),
        (["--diastolic", "nan"], "argument --diastolic: found 'nan'; allowed 20 to 180 mmHg"),
        (
            ["normal", "--systolic", "60", "--diastolic", "90"],
            "person.systolic_mmhg: found 60; allowed at least 10 mmHg above",
        ),
        (
            ["normal", "--count", "0"],
            "argument --count: found '0'; allowed a whole number, 1 to 100000",
        ),
        (["normal", "--seed", "-1"], "argument --seed: found '-1'; allowed a whole number, 0 to "),
    ],
)
def test_faults(capsys: Output, argv: list[str], text: str) -> None:
    assert fault(capsys, "simulate", *argv).startswith(f"tapfall: {text}")
    assert names(".") == []
