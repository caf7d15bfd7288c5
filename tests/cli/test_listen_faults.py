"""``tapfall listen`` on input that fails: what was measured before the fault is told."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from tapfall.cli import feeds
from tapfall.model import Recording
from tests.cli.listening import RAW, Line, Listen, read_alike, reading_of

RATE_HZ = 4000


def rows(recording: Recording, until_s: float = math.inf) -> str:
    """The lines of the log before a time."""
    table = zip(recording.cuff.time_s.tolist(), recording.cuff.pressure_mmhg.tolist(), strict=True)
    return "".join(f"{time_s},{mmhg}\n" for time_s, mmhg in table if time_s < until_s)


def until(recording: Recording, *, sound_s: float, log_s: float) -> Recording:
    """The recording, had it ended earlier."""
    cuff = recording.cuff
    kept = cuff.time_s < log_s
    cuff = replace(cuff, time_s=cuff.time_s[kept], pressure_mmhg=cuff.pressure_mmhg[kept])
    return replace(recording, samples=recording.samples[: round(sound_s * RATE_HZ)], cuff=cuff)


def values_of(lines: list[Line]) -> tuple[float, float]:
    """Systolic and diastolic of the one reading."""
    reading = reading_of(lines)
    return reading["systolic"]["mmHg"], reading["diastolic"]["mmHg"]


def check_told(lines: list[Line]) -> None:
    """The lines end as those of a whole measurement do, and say why."""
    assert [line["type"] for line in lines[-3:]] == ["event", "reading", "end"]
    assert lines[-3]["kind"] == "done"
    assert lines[-1]["why"] == "fault"


@pytest.mark.parametrize(
    ("at_s", "line", "fault"),
    [
        (50.0, "50.0,garb", "found pressure_mmHg 'garb'; allowed a finite number"),
        (50.0, "50.0,nan", "found pressure_mmHg 'nan'; allowed a finite number"),
        (50.0, "49,60", "found time_s 49 after 49.98; allowed times that increase"),
        (55.0, "55.0,-99.9", "found pressure_mmHg -99.9; allowed -20 to 400"),
    ],
)
def test_a_bad_line_is_the_end_of_the_log(
    recording: Recording, listen: Listen, at_s: float, line: str, fault: str
) -> None:
    good = rows(recording, at_s)
    Path("bad").write_text(f"{good}{line}\n60,0\n")
    code, lines, err = listen(*RAW, "--cuff", "bad")
    assert code == 2
    assert err == f"tapfall: bad: line {good.count(chr(10)) + 1}: {fault}\n"
    check_told(lines)
    read = read_alike(until(recording, sound_s=lines[-1]["audio_s"], log_s=at_s))
    assert reading_of(lines) == read
    assert read["diastolic"]["state"] == "observed"


def test_a_sample_that_is_no_number_is_the_end_of_the_sound(
    recording: Recording, listen: Listen
) -> None:
    samples = recording.samples.astype("<f4")
    samples[50 * RATE_HZ + 100] = np.nan
    samples.tofile("bad.raw")
    code, lines, err = listen(*RAW, "--cuff", "arm.csv", sound="bad.raw")
    assert code == 2
    assert err == (
        "tapfall: standard input: found nan at sample 200101; allowed finite samples (see the "
        "rate and the format)\n"
    )
    check_told(lines)
    assert lines[-1]["audio_s"] == 50.025
    assert reading_of(lines)["diastolic"]["state"] == "observed"


@pytest.mark.parametrize(
    ("value", "bad", "fault"),
    [(0, np.nan, "found nan at sample 200101; "), (1, 99.0, "found 2030.86 mmHg at 50.027 s; ")],
)
def test_a_bad_frame_is_the_end_of_both(
    recording: Recording, listen: Listen, value: int, bad: float, fault: str
) -> None:
    time_s = np.arange(len(recording.samples)) / RATE_HZ
    mmhg = np.interp(time_s, recording.cuff.time_s, recording.cuff.pressure_mmhg)
    frames = np.stack([recording.samples, mmhg / 400.0], axis=1).astype("<f4")
    frames[50 * RATE_HZ + 100, value] = bad
    frames.tofile("bad.raw")
    scale = ["--cuff-channel", "2", "--cuff-scale", "400"]
    code, lines, err = listen(*RAW, *scale, sound="bad.raw")
    assert code == 2
    assert err.startswith(f"tapfall: standard input: {fault}")
    check_told(lines)
    assert 50.0 < lines[-1]["audio_s"] <= 50.25
    assert reading_of(lines)["diastolic"]["state"] == "observed"


def test_a_sensor_that_stays_away_after_the_release(
    recording: Recording, listen: Listen, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Sound is heard no faster than time goes by: here it flies.
    flying = SimpleNamespace(monotonic=lambda: 1e4 * time.monotonic())
    monkeypatch.setattr(feeds, "time", flying)
    silence = np.zeros(160 * RATE_HZ, "<f4")
    np.concatenate([recording.samples.astype("<f4"), silence]).tofile("long.raw")
    read_end, write_end = os.pipe()
    with os.fdopen(write_end, "w") as cuff:
        cuff.write(rows(recording, 54.5))
        cuff.flush()
        code, lines, err = listen(*RAW, "--cuff", f"fd:{read_end}", sound="long.raw")
    os.close(read_end)
    assert code == 2
    assert err.startswith(f"tapfall: fd:{read_end}: found no more rows: the sound has got to 204.")
    assert err.endswith("the log to 54.5 s; allowed rows also at rest, at most 150 s behind\n")
    check_told(lines)
    expected = read_alike(recording)
    assert values_of(lines) == (expected["systolic"]["mmHg"], expected["diastolic"]["mmHg"])


@pytest.mark.parametrize("last", ["50.0", "50.0,5"])
def test_a_file_that_is_cut_reads_as_the_pipe_does(
    recording: Recording, listen: Listen, last: str
) -> None:
    text = rows(recording, 50.0) + last
    Path("cut").write_text(text)
    read_end, write_end = os.pipe()
    with os.fdopen(write_end, "w") as cuff:
        cuff.write(text)
    code, piped, err = listen(*RAW, "--cuff", f"fd:{read_end}")
    os.close(read_end)
    assert (code, err.partition(": ")[2]) == (
        0,
        f"fd:{read_end}: dropped the last line, which has no line end\n",
    )
    code, lines, err = listen(*RAW, "--cuff", "cut")
    assert (code, err) == (0, "tapfall: cut: dropped the last line, which has no line end\n")
    assert lines == piped
    assert lines[-1]["why"] == "input_over"
    assert reading_of(lines)["diastolic"]["state"] == "observed"


@pytest.mark.parametrize(("at_s", "types"), [(3.0, {"start"}), (8.0, {"start", "event"})])
def test_before_anything_was_measured_the_stream_breaks_off(
    recording: Recording, listen: Listen, at_s: float, types: set[str]
) -> None:
    Path("bad").write_text(rows(recording, at_s) + "oops\n")
    code, lines, err = listen(*RAW, "--cuff", "bad")
    assert (code, err.count("\n")) == (2, 1)
    assert {line["type"] for line in lines} == types


def test_a_reading_that_was_told_is_not_told_again(recording: Recording, listen: Listen) -> None:
    later_s = np.arange(58.5, 70.0, 0.1)
    rest = "".join(f"{time_s:.1f},0\n" for time_s in later_s)
    Path("bad").write_text(f"{rows(recording)}{rest}oops\n")
    silence = np.zeros(12 * RATE_HZ, "<f4")
    np.concatenate([recording.samples.astype("<f4"), silence]).tofile("long.raw")
    code, lines, _ = listen(*RAW, "--cuff", "bad", sound="long.raw")
    assert code == 2
    check_told(lines)
    expected = read_alike(recording)
    assert values_of(lines) == (expected["systolic"]["mmHg"], expected["diastolic"]["mmHg"])


@pytest.mark.parametrize("left", [False, True])
def test_live_pipes_need_not_end(recording: Recording, left: bool) -> None:
    """Both inputs stay open after the bad line; the reader may have left by then."""
    read_end, write_end = os.pipe()
    label = f"fd:{read_end}"
    with (
        os.fdopen(write_end, "w") as cuff,
        subprocess.Popen(
            [sys.executable, "-m", "tapfall", *RAW, "--cuff", label],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            pass_fds=[read_end],
        ) as process,
    ):
        os.close(read_end)
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        late = threading.Timer(60.0, process.kill)  # what waits for an event has to end
        late.start()
        cuff.write(rows(recording, 50.0))
        cuff.flush()
        process.stdin.write(Path("arm.raw").read_bytes()[: 50 * RATE_HZ * 4])
        process.stdin.flush()
        told = [json.loads(process.stdout.readline())]
        while told[-1].get("kind") != "listened_far_enough":
            told.append(json.loads(process.stdout.readline()))
        late.cancel()
        if left:
            process.stdout.close()
        cuff.write("50.0,garb\n")
        cuff.flush()
        if not left:
            told += [json.loads(line) for line in process.stdout]
            check_told(told)
            assert reading_of(told)["systolic"]["state"] == "observed"
        assert process.wait(timeout=60) == 2
        fault = process.stderr.read().decode()
    assert fault == (
        f"tapfall: {label}: line 2501: found pressure_mmHg 'garb'; allowed a finite number\n"
    )
