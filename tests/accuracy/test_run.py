"""Running many recordings: failures are rows, processes change nothing."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapfall.model import Reading
from tests.accuracy import splits
from tests.accuracy.__main__ import main
from tests.accuracy.run import score_many, score_one


def broken(recording: Any) -> Reading:
    """A reader that always fails."""
    raise ValueError(f"found {recording.rate_hz:.0f} Hz")


def test_a_recording_that_raises_is_a_failed_row() -> None:
    row = score_one("ordinary", 3, "tests.accuracy.test_run:broken")
    assert not row.success
    assert row.failure is not None
    assert "ValueError: found " in row.failure
    assert "in broken" in row.failure


def test_an_unknown_group_is_a_failed_row() -> None:
    row = score_one("nowhere", 3)
    assert row.failure is not None
    assert "nowhere" in row.failure


def test_rows_keep_the_order_of_the_cases_over_processes() -> None:
    cases = [("ordinary", 5), ("no_sounds", 4), ("ordinary", 4)]
    alone = score_many(cases)
    together = score_many(cases, workers=2)
    assert [(row.group, row.seed) for row in together] == cases
    assert [replace(row, seconds=0.0) for row in together] == [
        replace(row, seconds=0.0) for row in alone
    ]


def test_missing_files_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    split = splits.split_of(0)
    monkeypatch.setattr(splits, "DATA", tmp_path)
    splits.beat_times_s.cache_clear()
    wanted = 3 + len(split.speech) + len(split.sounds) + len(split.chest)
    try:
        assert splits.real_files(split) == (0, wanted)
        (tmp_path / "heart_sounds").mkdir()
        for name in split.chest:
            (tmp_path / "heart_sounds" / name).touch()
        assert splits.real_files(split) == (len(split.chest), wanted)
        assert main(["--groups", "ordinary", "--per-group", "1", "--workers", "1"]) == 0
    finally:
        splits.beat_times_s.cache_clear()
    assert capsys.readouterr().out.splitlines()[1] == (
        f"{wanted - len(split.chest)} of {wanted} files of real beats and sounds are missing "
        "(see TAPFALL_DATA): simulated ones stand in"
    )


def test_the_command_prints_and_saves(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows, found = tmp_path / "rows.csv", tmp_path / "found.json"
    options = ["--groups", "ordinary", "--per-group", "1", "--workers", "1"]
    assert main([*options, "--save-rows", str(rows), "--json", str(found)]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("development split, seeds 0 to 0, tapfall.ear:take_reading\n")
    assert "\nordinary " in printed
    with rows.open(newline="", encoding="utf-8") as file:
        assert [row["group"] for row in csv.DictReader(file)] == ["ordinary"]
    parsed = json.loads(found.read_text(encoding="utf-8"))
    assert [result["group"] for result in parsed] == ["ordinary", "all"]
    assert sorted(item.name for item in tmp_path.iterdir()) == ["found.json", "rows.csv"]


def test_the_command_fails_where_a_recording_raised(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--groups", "ordinary", "--per-group", "1", "--workers", "1"]
    assert main([*options, "--reader", "tests.accuracy.test_run:broken"]) == 1
    assert "FAILED ordinary seed 0\nTraceback" in capsys.readouterr().out


def test_the_command_shows_one_recording(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--show", "0", "ordinary"]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("ordinary 0: ")
    assert "late_ms" in printed


def test_an_unknown_group_names_the_known_ones() -> None:
    with pytest.raises(SystemExit, match="no such group: nowhere; known are ordinary, "):
        main(["--groups", "nowhere"])
