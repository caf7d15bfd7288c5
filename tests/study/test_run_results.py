"""A run: its rows and readings, what is done again and what is not."""

from __future__ import annotations

import csv
import json
import os
import shutil
from concurrent.futures import BrokenExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest

from tapfall.ear import take_reading
from tapfall.errors import InputError, MisuseError, SettingError
from tapfall.files import load, read_reading
from tapfall.model import Rule, Settings
from tapfall.study import Choices, Progress, run
from tapfall.study.agreeing import agreements_of, write_agreements
from tapfall.study.folder import LOCK, TABLES, locked
from tapfall.study.task import Ear, Task, own_ear, work
from tests.study.made import HEADER, Counting, rows_of, study_of, write_manifest


@pytest.fixture
def manifest(tmp_path: Path, made: Path) -> Path:
    """A study of three recordings."""
    return study_of(tmp_path, made, 3)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Where its results go."""
    return tmp_path / "results"


def again(manifest: Path, home: Path, **how: Choices) -> list[str]:
    """Run a study, and return which recordings were read."""
    executor = Counting()
    run(manifest, home, executor=executor, **how)
    return executor.given


def test_rows_and_readings(manifest: Path, home: Path) -> None:
    told: list[Progress] = []
    with ThreadPoolExecutor(2) as executor:
        study = run(manifest, home, executor=executor, told=told.append)
    assert (study.read, study.failed, study.kept, study.dropped) == (3, 0, 0, 0)
    assert [(one.done, one.total, one.failed) for one in told] == [(1, 3, 0), (2, 3, 0), (3, 3, 0)]
    assert told[-1].left_s == 0.0
    assert (told[0].left_s or 0.0) > 0.0
    rows = rows_of(home / "results.csv")
    assert [row["recording"] for row in rows] == ["r0", "r1", "r2"]
    for row in rows:
        name = row["recording"]
        record = read_reading(home / row["reading_file"])
        recording = load(manifest.parent / f"{name}.wav", manifest.parent / f"{name}.csv")
        own = take_reading(recording)
        assert record.source == recording.source
        assert record.reading.beats == own.beats
        assert record.reading.technique != ()
        assert float(row["systolic_mmHg"]) == own.systolic.mmhg
        assert (row["outcome"], row["status"], row["measurements"]) == ("read", own.status, "1")
        assert row["audio_sha256"] == record.source.audio_sha256
        assert recording.simulated
        assert row["simulated"] == "yes"


def test_nothing_is_read_twice(manifest: Path, home: Path) -> None:
    assert again(manifest, home) == ["r0", "r1", "r2"]
    first = (home / "results.csv").read_bytes()
    assert again(manifest, home) == []
    assert (home / "results.csv").read_bytes() == first
    assert run(manifest, home, workers=1).simulated == 3


def test_what_changed_is_read_again(manifest: Path, home: Path, made: Path) -> None:
    again(manifest, home)
    shutil.copy(made / "r4.wav", manifest.parent / "r1.wav")
    assert again(manifest, home) == ["r1"]
    assert again(manifest, home, choices=Choices(settings=Settings(diastolic=Rule.K4))) == [
        "r0",
        "r1",
        "r2",
    ]


def test_other_cells_of_the_manifest_change_no_reading(manifest: Path, home: Path) -> None:
    again(manifest, home)
    header = (*HEADER, "condition", "observer_1_systolic_mmHg")
    rows = [(f"r{n}", "p", f"r{n}.wav", f"r{n}.csv", "@quiet", "118") for n in (2, 0, 1)]
    write_manifest(manifest, header, *rows)
    assert again(manifest, home) == []
    found = rows_of(home / "results.csv")
    assert [(row["recording"], row["subject"]) for row in found] == [
        ("r2", "p"),
        ("r0", "p"),
        ("r1", "p"),
    ]
    assert {row["condition"] for row in found} == {"'@quiet"}
    # But what is stated for the check of the technique does.
    write_manifest(manifest, (*HEADER, "cuff_size"), ("r0", "p", "r0.wav", "r0.csv", "adult"))
    assert again(manifest, home) == ["r0"]


@pytest.mark.parametrize("cut", [1, 30, 400])
def test_a_row_that_was_not_finished(manifest: Path, home: Path, cut: int) -> None:
    again(manifest, home)
    whole = (home / "results.csv").read_bytes()
    (home / "results.csv").write_bytes(whole[:-cut])
    assert again(manifest, home) == ["r2"]
    assert (home / "results.csv").read_bytes() == whole


def test_rows_and_readings_that_are_damaged(manifest: Path, home: Path) -> None:
    again(manifest, home)
    lines = (home / "results.csv").read_bytes().split(b"\n")
    lines[1] = b'"\xff' + lines[1][5:]
    (home / "results.csv").write_bytes(b"\n".join(lines))
    (home / "readings" / "r2.json").write_bytes(b"{}")
    assert again(manifest, home) == ["r0", "r2"]


def test_a_failure_is_a_row_with_its_reason(manifest: Path, home: Path) -> None:
    again(manifest, home)
    (manifest.parent / "r1.wav").write_bytes(b"no sound")
    study = run(manifest, home, executor=Counting())
    assert (study.read, study.failed, study.kept) == (2, 1, 2)
    row = rows_of(home / "results.csv")[1]
    assert (row["outcome"], row["status"], row["systolic_mmHg"]) == ("failed", "", "")
    assert row["reason"].startswith("r1.wav: found data that cannot be read as sound")
    assert str(manifest.parent) not in (home / "results.csv").read_text()
    assert not (home / "readings" / "r1.json").exists()
    assert again(manifest, home) == []  # the same file would fail again
    study = run(manifest, home, executor=Counting())
    assert (study.read, study.failed, study.kept) == (2, 1, 3)


def test_a_worker_that_is_lost_is_one_row_and_tried_again(manifest: Path, home: Path) -> None:
    def lose(name: str) -> None:
        if name == "r1":
            raise BrokenExecutor("gone")

    study = run(manifest, home, executor=Counting(lose))
    assert (study.read, study.failed) == (2, 1)
    row = rows_of(home / "results.csv")[1]
    assert row["reason"].startswith("the worker ended while it read this recording (BrokenExec")
    assert again(manifest, home) == ["r1"]
    assert [one["outcome"] for one in rows_of(home / "results.csv")] == ["read"] * 3


def test_where_every_worker_is_lost_the_study_ends(tmp_path: Path, made: Path, home: Path) -> None:
    study_of(tmp_path, made, 1)
    for n in range(30):
        shutil.copy(tmp_path / "r0.wav", tmp_path / f"n{n}.wav")
    rows = [(f"n{n}", "p", f"n{n}.wav", "r0.csv") for n in range(30)]
    path = write_manifest(tmp_path / "many.csv", HEADER, *rows)

    def lose(_: str) -> None:
        raise BrokenExecutor("gone")

    executor = Counting(lose)
    with pytest.raises(MisuseError, match="20 recordings in a row came to nothing"):
        run(path, home, executor=executor)
    assert len(executor.given) < 30


def test_an_executor_that_takes_no_more(manifest: Path, home: Path) -> None:
    executor = ThreadPoolExecutor(1)
    executor.shutdown()
    with pytest.raises(MisuseError, match="the workers take no more recordings"):
        run(manifest, home, executor=executor)


@pytest.mark.parametrize("at", ["r0", "r2"])
def test_ctrl_c_loses_nothing(manifest: Path, home: Path, at: str) -> None:
    def interrupt(name: str) -> None:
        if name == at:
            raise KeyboardInterrupt

    executor = Counting(interrupt)
    told = r"^\d of 3 recordings are done and kept; the same command goes on with the others$"
    with pytest.raises(KeyboardInterrupt, match=told) as caught:
        run(manifest, home, executor=executor, at_once=1)
    done = executor.given[:-1]
    assert str(caught.value).startswith(f"{len(done)} of 3")
    assert [row["recording"] for row in rows_of(home / "results.csv")] == done
    assert again(manifest, home) == [name for name in ("r0", "r1", "r2") if name not in done]


def derived(home: Path) -> set[str]:
    """Names of the tables that are made of results."""
    return {name for name in TABLES if (home / name).exists()}


def test_tables_never_contradict_the_results(manifest: Path, home: Path) -> None:
    def interrupt(name: str) -> None:
        if name == "r1":
            raise KeyboardInterrupt

    write_agreements(home, agreements_of(run(manifest, home, executor=Counting()).tables))
    whole = derived(home)
    assert "study.json" in whole
    other = Choices(settings=Settings(diastolic=Rule.K4))
    with pytest.raises(KeyboardInterrupt):
        run(manifest, home, executor=Counting(interrupt), at_once=1, choices=other)
    assert derived(home) == set()
    assert again(manifest, home, choices=other) == ["r1", "r2"]
    assert derived(home) == whole
    # Nothing to be read, but other rows.
    write_manifest(manifest, HEADER, ("r1", "p", "r1.wav", "r1.csv"))
    (home / "study.json").unlink()
    (home / "study.json").mkdir()
    with pytest.raises(InputError, match=r"study\.json: cannot be removed"):
        again(manifest, home, choices=other)
    assert len(rows_of(home / "results.csv")) == 3


def test_an_agreement_is_never_of_other_pairs(manifest: Path, home: Path) -> None:
    def with_observer(mmhg: str) -> None:
        header = (*HEADER, "observer_1_systolic_mmHg", "observer_2_systolic_mmHg")
        rows = [(f"r{n}", f"p{n}", f"r{n}.wav", f"r{n}.csv", mmhg, mmhg) for n in range(3)]
        write_manifest(manifest, header, *rows)

    both = {"pairs-agreement.json", "observers-agreement.json"}
    with_observer("118")
    write_agreements(home, agreements_of(run(manifest, home, executor=Counting()).tables))
    assert both < derived(home)
    assert again(manifest, home) == []
    assert both < derived(home)  # the same pairs
    with_observer("120")
    assert again(manifest, home) == []
    assert not both & derived(home)


def test_one_study_at_a_time(manifest: Path, home: Path) -> None:
    with (
        locked(home),
        pytest.raises(InputError, match="found another study at work in this folder"),
    ):
        again(manifest, home)
    assert again(manifest, home) == ["r0", "r1", "r2"]
    assert (home / LOCK).exists()


def test_a_table_of_somebody_else_is_left_alone(manifest: Path, home: Path) -> None:
    home.mkdir()
    (home / "results.csv").write_text("mine\n1\n")
    with pytest.raises(InputError, match="found a file that no study wrote"):
        again(manifest, home)
    assert (home / "results.csv").read_text() == "mine\n1\n"


@pytest.mark.parametrize("name", [*TABLES, "readings/r0.json"])
def test_what_has_a_name_of_a_study_is_left_alone(manifest: Path, home: Path, name: str) -> None:
    (home / name).parent.mkdir(parents=True)
    (home / name).write_text("mine")
    told = f"{name}: found without the results.csv of a study; allowed the folder of a study, or"
    with pytest.raises(InputError, match=told):
        again(manifest, home)
    assert (home / name).read_text() == "mine"
    assert not (home / "results.csv").exists()


def test_all_that_a_study_writes_is_known(manifest: Path, home: Path) -> None:
    study = run(manifest, home, executor=Counting())
    write_agreements(home, agreements_of(study.tables))
    names = {path.name for path in home.iterdir()} - {"results.csv", "readings", LOCK}
    assert {name for name in TABLES if "agreement" not in name} <= names <= set(TABLES)


def test_recordings_that_the_manifest_no_longer_names(manifest: Path, home: Path) -> None:
    again(manifest, home)
    write_manifest(manifest, HEADER, ("r1", "p", "r1.wav", "r1.csv"))
    study = run(manifest, home, executor=Counting())
    assert (study.read, study.kept, study.dropped) == (1, 1, 2)
    assert [row["recording"] for row in rows_of(home / "results.csv")] == ["r1"]


def test_hostile_cells_do_nothing(tmp_path: Path, made: Path, home: Path) -> None:
    study_of(tmp_path, made, 2)
    header = (*HEADER, "condition", "notes", "=2+2\n", "<script>")
    path = write_manifest(
        tmp_path / "hostile.csv",
        header,
        ("../../up", "=cmd|' /C calc'!A0", "r0.wav", "r0.csv", "+1", "a\r\nb\x00\x1b[2J", "-", "@"),
        ("<img src=x>", "p", "r1.wav", "r1.csv", "", "", "<script>alert(1)</script>", "\ufeff"),
    )
    before = {one for one in tmp_path.rglob("*") if home not in one.parents}
    study = run(path, home, executor=Counting())
    assert study.read == 2
    assert {one for one in tmp_path.rglob("*") if home not in one.parents} - before == {home}
    names = sorted(one.name for one in (home / "readings").iterdir())
    assert len(names) == 2
    assert all(name.replace("-", "").replace(".json", "").isalnum() for name in names)
    for table in home.glob("*.csv"):
        text = table.read_bytes().decode("utf-8")
        assert text.replace("\n", "").isprintable()
        for row in csv.reader(text.splitlines(), strict=True):
            assert not [
                cell
                for cell in row
                if cell.startswith(("=", "+", "@", "\t", "\r"))
                or (cell.startswith("-") and not cell[1:2].isdigit())
            ]
    executor = Counting()
    run(path, home, executor=executor)
    assert executor.given == []


def test_a_file_swapped_for_a_link_meanwhile(tmp_path: Path, made: Path) -> None:
    secret = tmp_path / "secret.wav"
    shutil.copy(made / "r0.wav", secret)
    (tmp_path / "a.wav").symlink_to(secret)
    task = Task(
        recording="r",
        audio=str(tmp_path.resolve() / "a.wav"),
        cuff=str((made / "r0.csv").resolve()),
        arm_cm=None,
        cuff_size=None,
        choices=Choices(),
        ear=own_ear(),
    )
    outcome = work(task)
    assert outcome.record is None
    assert outcome.reason == "a.wav: found a link; allowed the file that was checked"


def test_a_worker_with_another_ear_reads_nothing(tmp_path: Path) -> None:
    task = Task(
        recording="r",
        audio="a.wav",
        cuff="a.csv",
        arm_cm=None,
        cuff_size=None,
        choices=Choices(),
        ear=Ear(version="0.0.0", fitted_sha256="0" * 64),
    )
    outcome = work(task)
    assert (outcome.record, outcome.key) == (None, "")
    assert "found another tapfall on the worker" in (outcome.reason or "")


def test_the_pressure_as_a_channel_of_the_sound(tmp_path: Path, home: Path) -> None:
    import numpy as np
    import soundfile

    rng = np.random.default_rng(1)
    pressure = np.interp(np.arange(30_000), [0, 8000, 28_000, 30_000], [0, 0.6, 0.1, 0])
    both = np.stack([0.01 * rng.standard_normal(30_000), pressure], axis=1)
    soundfile.write(tmp_path / "both.wav", both, 1000)
    path = write_manifest(tmp_path / "m.csv", HEADER, ("r", "p", "both.wav", ""))
    choices = Choices(channel=1, cuff_channel=2, cuff_scale=300.0)
    study = run(path, home, executor=Counting(), choices=choices)
    assert (study.read, study.failed) == (1, 0)
    record = json.loads((home / "readings" / "r.json").read_text())
    assert record["status"] == "unreadable"
    assert record["source"]["audio_sha256"] == record["source"]["cuff_sha256"]
    assert again(path, home, choices=choices) == []


@pytest.mark.parametrize("how", [{"workers": 0}, {"at_once": 2000}])
def test_numbers_of_workers(manifest: Path, home: Path, how: dict[str, int]) -> None:
    with pytest.raises(SettingError, match="allowed 1 to 1024"):
        run(manifest, home, **how)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written(manifest: Path, home: Path) -> None:
    home.mkdir(mode=0o500)
    with pytest.raises(InputError, match="cannot be written in"):
        again(manifest, home)


def test_a_place_that_is_no_folder(manifest: Path, home: Path) -> None:
    home.write_text("x")
    with pytest.raises(InputError, match="cannot be written in"):
        again(manifest, home)
