"""``tapfall listen``, run in this process: what is told, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

import tapfall
from tapfall.model import CAUTION, SIMULATED, Recording, Rule, Settings
from tests.cli.listening import RAW, Listen, read_alike, reading_of
from tests.files.made import log_file

CHOSEN = ["--diastolic", "k4", "--lag", "0", "--manometer-error", "3"]


def test_streams_and_replay_read_as_the_files_do(recording: Recording, listen: Listen) -> None:
    code, lines, err = listen(*RAW, "--cuff", "arm.csv", *CHOSEN)
    assert (code, err) == (0, "")
    settings = Settings(diastolic=Rule.K4, lag_s=0.0, manometer_mmhg=3.0)
    assert reading_of(lines) == read_alike(recording, settings)
    kinds = [line["type"] for line in lines]
    assert kinds[0] == "start"
    assert kinds[-2:] == ["reading", "end"]
    assert set(kinds[1:-2]) == {"event"}
    start = lines[0]
    assert (start["schema"], start["version"]) == ("tapfall.event/1", tapfall.__version__)
    assert start["caution"] == CAUTION
    assert start["source"] is None
    told = [line["kind"] for line in lines if line["type"] == "event"]
    assert {"inflation_started", "deflation_started", "sound_heard", "done"} <= set(told)
    assert "signal_lost" not in told
    assert lines[-1] == {
        "type": "end",
        "why": "input_over",
        "audio_s": len(recording.samples) / 4000.0,
    }

    code, replayed, err = listen("listen", "--replay", "arm.wav", "arm.csv", *CHOSEN)
    assert (code, err) == (0, f"tapfall: {SIMULATED}\n")
    # The record of a replay names its files; all else is the same.
    assert replayed[0]["source"]["audio_name"] == "arm.wav"
    assert reading_of(replayed) == reading_of(lines)
    assert [one for one in replayed if one["type"] == "event"] == lines[1:-2]
    assert replayed[-1] == lines[-1]


def test_rows_that_a_replay_finds_twice_are_flagged(recording: Recording, listen: Listen) -> None:
    rows = Path("arm.csv").read_text().splitlines(keepends=True)
    Path("twice.csv").write_text("".join([*rows[:400], rows[399], *rows[400:]]))
    code, lines, err = listen("listen", "--replay", "arm.wav", "twice.csv")
    assert (code, err) == (0, f"tapfall: {SIMULATED}\n")
    assert reading_of(lines) == read_alike(tapfall.load("arm.wav", "twice.csv"))
    assert "cuff_log_rows_repeated" in reading_of(lines)["flags"]


def test_pressure_in_the_frames(recording: Recording, listen: Listen) -> None:
    time_s = np.arange(len(recording.samples)) / 4000.0
    mmhg = np.interp(time_s, recording.cuff.time_s, recording.cuff.pressure_mmhg)
    frames = np.stack([recording.samples, (mmhg + 20.0) / 400.0], axis=1).clip(-1.0, 0.9999)
    raw = np.round(frames * 32768).astype("<i2")
    raw.tofile("both.raw")
    soundfile.write("both.wav", raw, 4000, "PCM_16")
    scale = ["--cuff-channel", "2", "--cuff-scale", "400", "--cuff-offset", "-20"]
    code, lines, err = listen(
        "listen", "--rate", "4000", "--format", "s16le", *scale, sound="both.raw"
    )
    assert (code, err) == (0, "")
    alike = tapfall.load("both.wav", cuff_channel=2, cuff_scale=400.0, cuff_offset=-20.0)
    assert reading_of(lines) == read_alike(alike)


def test_nothing_measured_is_told_as_unreadable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, listen: Listen
) -> None:
    monkeypatch.chdir(tmp_path)
    np.zeros(40_000, "<f4").tofile("rest.raw")
    Path("rest.csv").write_text("".join(f"{k / 10},1.5\n" for k in range(100)))
    code, lines, err = listen(*RAW, "--cuff", "rest.csv", sound="rest.raw")
    why = "the log holds no deflation slower than 10 mmHg/s over at least 20 mmHg"
    assert (code, err) == (1, f"tapfall: the last reading is unreadable: {why}\n")
    assert [line["type"] for line in lines] == ["start", "reading", "end"]
    assert reading_of(lines)["reasons"] == ["no_deflation"]


def test_what_is_cut_off_at_the_end_is_said(recording: Recording, listen: Listen) -> None:
    Path("cut.raw").write_bytes(Path("arm.raw").read_bytes()[:40_003])
    code, lines, err = listen(*RAW, "--cuff", "arm.csv", sound="cut.raw")
    assert code == 1
    dropped, why = err.splitlines()
    assert dropped == "tapfall: standard input: dropped the last 3 bytes; a frame is 4 bytes"
    assert why.startswith("tapfall: the last reading is unreadable: ")
    assert lines[-1] == {"type": "end", "why": "input_over", "audio_s": 2.5}


STREAM_FAULTS = [
    (b"", b"0,1\n", "standard input: found no sound; allowed raw samples"),
    (bytes(4000), b"", "log: found no rows; allowed lines of time_s,mmHg"),
    (bytes(4000), b"\n\n", "log: found no rows; allowed lines of time_s,mmHg"),
    (
        bytes(4000),
        b"1700000000,1\n",
        "log: found a first time_s of 1700000000, far from the sound's; allowed times on the "
        "clock of the sound, from 0 at its first sample",
    ),
    (
        b"\x00\x00\xc0\x7f",
        b"0,1\n",
        "standard input: found nan at sample 1; allowed finite samples (see the rate and the "
        "format)",
    ),
]


@pytest.mark.parametrize(("sound", "log", "fault"), STREAM_FAULTS)
def test_streams_that_are_refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    listen: Listen,
    sound: bytes,
    log: bytes,
    fault: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("raw").write_bytes(sound)
    Path("log").write_bytes(log)
    code, lines, err = listen(*RAW, "--cuff", "log", sound="raw")
    assert (code, err) == (2, f"tapfall: {fault}\n")
    assert [line["type"] for line in lines] == ["start"]


NUMBERS = "a file, a named pipe or fd:N (an open descriptor, 3 or higher)"
SCALED = ["--cuff-channel", "2", "--cuff-scale", "300"]
USAGE_FAULTS = [
    ([], "found no --rate; allowed --rate and --format, or --replay"),
    (["--rate", "4000"], "found no --format; allowed --rate and --format, or --replay"),
    (RAW[1:], "found neither of --cuff and --cuff-channel; allowed one of them"),
    (
        [*RAW[1:], "--cuff", "c", *SCALED],
        "found both of --cuff and --cuff-channel; allowed one of them",
    ),
    (
        [*RAW[1:], "--cuff", "c", "--cuff-scale", "2"],
        "found --cuff-scale or --cuff-offset; allowed only with --cuff-channel",
    ),
    (
        [*RAW[1:], "--cuff-channel", "2"],
        "found no --cuff-scale; allowed --cuff-channel with mmHg per full scale, not 0",
    ),
    (
        [*RAW[1:], "--cuff-channel", "2", "--cuff-scale", "0"],
        "found --cuff-scale 0; allowed --cuff-channel with mmHg per full scale, not 0",
    ),
    (
        [*RAW[1:], "--cuff-channel", "3", "--cuff-scale", "300"],
        "found --cuff-channel 3; allowed 1 or 2",
    ),
    (
        [*RAW[1:], "--cuff", "c", "--speed", "2"],
        "found --speed without --replay; allowed only with it",
    ),
    (
        [*RAW[1:], *SCALED, "--channel", "1"],
        "found --channel without --replay; allowed only with it",
    ),
    (["--replay", "a", "b", "--rate", "4000"], "found --rate with --replay; allowed one of them"),
    (["--replay", "a", "b", "c"], "found 3 files to replay; allowed a sound and its log"),
    (["--replay", "a"], "found neither of a cuff log and a cuff channel; allowed one of them"),
    (
        ["--rate", "999"],
        "argument --rate: found '999'; allowed 1000 to 1000000 Hz (see tapfall listen --help)",
    ),
    (
        ["--format", "mp3"],
        "argument --format: found 'mp3'; allowed s16le, f32le (see tapfall listen --help)",
    ),
    (
        ["--speed", "0"],
        "argument --speed: found '0'; allowed 0.01 to 1000 times real time (see tapfall listen "
        "--help)",
    ),
    ([*RAW[1:], "--cuff", "none"], f"none: found no such file; allowed {NUMBERS}"),
    ([*RAW[1:], "--cuff", "."], f".: found a folder; allowed {NUMBERS}"),
    ([*RAW[1:], "--cuff", ""], f"'': found an empty name; allowed {NUMBERS}"),
    (
        [*RAW[1:], "--cuff", "a\0b"],
        "a\\x00b: cannot be opened (embedded null byte); allowed " + NUMBERS,
    ),
    ([*RAW[1:], "--cuff", "fd:99"], f"fd:99: found it closed; allowed {NUMBERS}"),
    *(
        ([*RAW[1:], "--cuff", name], f"{name}: found no descriptor; allowed {NUMBERS}")
        for name in ("fd:0", "fd:2", "fd:x", "fd:", "fd:-3", f"fd:{'9' * 30}")
    ),
]


@pytest.mark.parametrize(("argv", "fault"), USAGE_FAULTS)
def test_usage(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    listen: Listen,
    argv: list[str],
    fault: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    log_file(tmp_path, name="c")
    Path("raw").write_bytes(bytes(400))
    assert listen("listen", *argv, sound="raw") == (2, [], f"tapfall: {fault}\n")
