"""``tapfall study``, run as a user runs it."""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.cli.study import progress_text
from tapfall.cli.study_options import MOST_WORKERS
from tapfall.cli.study_text import _number
from tapfall.files import save
from tapfall.model import CAUTION, Recording
from tapfall.study import Progress, running
from tests.study.made import HEADER, rows_of, write_manifest

Output = pytest.CaptureFixture[str]
OBSERVED = ("observer_1_systolic_mmHg", "observer_1_diastolic_mmHg")


@pytest.fixture
def folder(simulated: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a study of two recordings, one of which cannot be read."""
    save(simulated, tmp_path / "arm.wav", tmp_path / "arm.csv")
    (tmp_path / "bad.wav").write_text("no sound")
    rows = [("good", "p1", "arm.wav", "arm.csv", "121", "79")]
    rows += [("bad", "p2", "bad.wav", "arm.csv", "130", "80")]
    write_manifest(tmp_path / "study.csv", (*HEADER, *OBSERVED), *rows)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_study(folder: Path, capsys: Output) -> None:
    assert main(["study", "study.csv", "-o", "out", "--workers", "1"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert lines[0] == "2 recordings of 2 subjects: 1 read, 1 failed"
    assert lines[1] == "Simulated: no person was measured in 1 of 1 recording read."
    assert lines[2] == "Of those read: 1 ok, 0 review, 0 unreadable"
    assert lines[3:5] == ["", "Failed:"]
    assert lines[5].startswith("  bad: bad.wav: found data that cannot be read as sound")
    table = lines.index("mmHg".ljust(36) + " pairs  no value    mean      SD  within 4")
    assert lines[table + 1].startswith("systolic: tapfall - observers            1         1 ")
    assert (
        "Of those without a value (tapfall - observers) 1 systolic and 1 diastolic are of "
        "recordings that could not be read."
    ) in " ".join(lines[table:])
    assert "In out: results.csv, readings, tables, study.json" in lines
    assert " ".join(out.split()).endswith(CAUTION)
    assert max(map(len, lines)) <= 80
    record = json.loads((folder / "out" / "study.json").read_text())
    counts = {"recordings": 2, "read": 1, "failed": 1, "subjects": 2, "simulated": 1}
    assert record["counts"] == counts
    assert record["caution"] == CAUTION
    assert main(["study", "study.csv", "-o", "out", "--workers", "1"]) == 0
    assert "2 of them were done before and have not changed" in capsys.readouterr().out
    rows = rows_of(folder / "out" / "results.csv")
    assert [(row["recording"], row["outcome"]) for row in rows] == [
        ("good", "read"),
        ("bad", "failed"),
    ]


def test_the_page_counts_failed_recordings_apart(folder: Path) -> None:
    given = ["study", "study.csv", "-o", "out", "--workers", "1", "--report", "r.html"]
    assert main(given) == 0
    page = (folder / "r.html").read_text()
    told = "Of those abstained 1 is of recordings that could not be read (see results.csv); they"
    assert page.count(told) == 2  # systolic and diastolic, in all rows
    assert "Errors by level, arm and noise</h2>" in page
    assert "devices" not in page


def test_what_was_taken_for_a_note_and_what_is_a_copy(folder: Path, capsys: Output) -> None:
    for name in ("b", "c"):
        for suffix in (".wav", ".csv"):
            shutil.copy(f"arm{suffix}", f"{name}{suffix}")
    rows = [(name, "p1", f"{name}.wav", f"{name}.csv", "7") for name in ("b", "c", "arm")]
    rows += [("other", "p1", "arm.wav", "b.csv", "8"), *[("bad", "p2", "bad.wav", "arm.csv", "")]]
    write_manifest(folder / "study.csv", (*HEADER, "ward"), *rows)
    assert main(["study", "study.csv", "-o", "out", "--workers", "1", "--report", "r.html"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "Columns kept without a meaning: ward" in text
    copies = "Equal files under several names, each counted as a recording: b = c = arm = other"
    assert copies in text
    page = (folder / "r.html").read_text()
    assert f"{copies}." in page
    assert "4 read (4 ok, 0 review, 0 unreadable), 1 failed." in page
    assert "<td>bad</td>" in page
    assert "bad.wav: found data that cannot be read as sound" in page
    assert "copies" not in (folder / "out" / "study.json").read_text()


def test_many_failures_are_told_in_short(folder: Path, capsys: Output) -> None:
    rows = []
    for number in range(8):
        (folder / f"{number}.wav").write_text("no sound")
        rows.append((f"bad{number}", "p2", f"{number}.wav", "arm.csv"))
    write_manifest(folder / "study.csv", HEADER, *rows)
    assert main(["study", "study.csv", "-o", "out", "--workers", "1"]) == 1
    out = capsys.readouterr().out
    assert "bad4: 4.wav: found" in out
    assert "bad5" not in out
    assert "\n  and 3 more: see results.csv\n" in out
    assert max(map(len, out.splitlines())) <= 80


def test_nothing_could_be_read(folder: Path, capsys: Output) -> None:
    write_manifest(folder / "study.csv", HEADER, ("bad", "p2", "bad.wav", "arm.csv"))
    assert main(["study", "study.csv", "-o", "out", "--workers", "1"]) == 1
    assert capsys.readouterr().out.startswith("1 recording of 1 subject: 0 read, 1 failed")


def test_every_fault_of_a_manifest(folder: Path, capsys: Output) -> None:
    write_manifest(folder / "study.csv", HEADER, *[("r", "p", "no.wav", "arm.csv")] * 15)
    assert main(["study", "study.csv", "-o", "out"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    lines = err.splitlines()
    assert lines[0] == "tapfall: study.csv: found 15 faults; allowed a manifest without any"
    assert lines[1:] == [
        f"  line {line}, column audio: found 'no.wav': no such file; allowed the name of a file"
        for line in range(2, 17)
    ]
    assert not (folder / "out").exists()


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (["--workers", "0"], f"found '0'; allowed a whole number, 1 to {MOST_WORKERS}"),
        (["--workers", "1", "--scheduler", "tcp://x"], "found --workers with --scheduler"),
        (["--cuff-scale", "3"], "found a cuff scale or offset; allowed only with a cuff channel"),
    ],
)
def test_options_that_cannot_be(
    folder: Path, capsys: Output, options: list[str], fault: str
) -> None:
    assert main(["study", "study.csv", "-o", "out", *options]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert fault in line


def test_the_number_of_workers_is_the_librarys() -> None:
    assert MOST_WORKERS == running.MOST_WORKERS


def test_progress_is_for_terminals(
    folder: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert main(["study", "study.csv", "-o", "out", "--workers", "1"]) == 0
    err = capsys.readouterr().err
    assert "| 1 of 2" in err
    assert "| 2 of 2, 1 failed" in err
    assert err.endswith("\r" + " " * 78 + "\r")


def test_nothing_is_minus_nothing() -> None:
    assert [_number(one, "+.1f") for one in (-0.04, 0.04, -0.06, None)] == [
        "0.0",
        "0.0",
        "-0.1",
        "-",
    ]


def test_progress_text() -> None:
    one = Progress(done=5, total=10, failed=0, kept=0, left_s=59.0)
    half = f"|{'=' * 12}{' ' * 12}|"
    assert progress_text(one) == f"{half} 5 of 10, less than a minute left"
    assert progress_text(replace(one, left_s=61.0)) == f"{half} 5 of 10, about 2 minutes left"
    assert progress_text(replace(one, left_s=7200.0)) == f"{half} 5 of 10, about 2.0 hours left"
    assert progress_text(replace(one, left_s=None)) == f"{half} 5 of 10"
    assert progress_text(replace(one, done=10, left_s=0.0)) == f"|{'=' * 24}| 10 of 10"
