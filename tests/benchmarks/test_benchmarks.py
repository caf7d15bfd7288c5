"""The pieces of the benchmark run and count right; no time is judged here."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile

from tapfall.files import load
from tests.benchmarks.__main__ import machine, markdown, memory_row, reading_rows, start_rows
from tests.benchmarks.measure import Row, medians_s, program
from tests.benchmarks.recording import Files, make
from tests.benchmarks.streaming import import_row, streaming_rows, time_pushes


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Files:
    return make(tmp_path_factory.mktemp("benchmark"), rate_hz=4000)


def test_the_recording_is_60_seconds_long(files: Files) -> None:
    info = soundfile.info(files.audio)
    assert (info.samplerate, info.frames) == (4000, 240_000)


def test_a_recording_longer_than_there_is_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"not 900\.0"):
        make(tmp_path, rate_hz=4000, seconds=900.0)


def test_ratios_of_reading(files: Files) -> None:
    rows = reading_rows(files, runs=1)
    assert [row.target for row in rows] == [4.0, 1.0]
    assert all(row.ratio > 0 for row in rows)


def test_ratios_of_starting(files: Files) -> None:
    helped, read = start_rows(files, runs=1)
    assert helped.ratio > 0.5
    assert read.what.startswith("tapfall read, cold, ")


def test_memory_counts_at_least_the_sound(files: Files) -> None:
    row = memory_row(files)
    assert 1.0 < row.ratio < 100.0
    assert row.target == pytest.approx(3.0 + 10.0 / 0.96)


def test_candidates_take_turns_and_the_median_counts() -> None:
    calls: list[str] = []
    found = medians_s({"a": lambda: calls.append("a"), "b": lambda: calls.append("b")}, runs=2)
    assert "".join(calls) == "baabba"
    assert set(found) == {"a", "b"}


def test_the_table_is_markdown() -> None:
    row = Row(what="x, 2 s", against="y, 1 s", ratio=2.0, target=3.0)
    assert markdown([row]).splitlines()[-1] == "| x, 2 s | y, 1 s | 2.00 | 3 |"


def test_the_machine_is_described() -> None:
    text = machine()
    assert "cores" in text
    assert "numpy" in text
    assert Path(program("tapfall")).exists()


def test_pushes_are_timed_and_those_with_a_reading_are_known(files: Files) -> None:
    pushes = time_pushes(load(files.audio, files.cuff), push_s=0.5)
    assert pushes.seconds.size == pushes.judged.size == 120
    assert 5 < pushes.judged.sum() < 60
    assert pushes.seconds.min() > 0


def test_ratios_of_streaming_and_of_the_import(files: Files) -> None:
    spent, slow = streaming_rows(files, runs=1)
    assert 0 < spent.ratio < 1
    assert slow.ratio > 0
    assert import_row(runs=1).ratio > 0.5
