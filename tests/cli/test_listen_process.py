"""``tapfall listen`` as a process: pipes, descriptors, signals, readers who leave or are slow."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import tapfall
from tapfall.cli.streams import Intake, Stopping
from tapfall.files import record_of, save
from tapfall.model import SIMULATED, Recording

LISTEN = [sys.executable, "-m", "tapfall", "listen"]
RAW = [*LISTEN, "--rate", "4000", "--format", "s16le"]
Done = subprocess.CompletedProcess[bytes]
REPLAY = [*LISTEN, "--replay", "arm.wav", "arm.csv"]


@pytest.fixture(scope="module")
def raw(simulated: Recording) -> bytes:
    """The sound of the folder, as raw samples."""
    return np.round(simulated.samples * 32767).astype("<i2").tobytes()


@pytest.fixture(scope="module")
def piped(simulated: Recording, raw: bytes, tmp_path_factory: pytest.TempPathFactory) -> Done:
    """The command with sound and log in two pipes."""
    folder = tmp_path_factory.mktemp("piped")
    save(simulated, folder / "arm.wav", folder / "arm.csv")
    os.mkfifo(folder / "cuff")

    def write() -> None:
        with (folder / "cuff").open("wb") as pipe:
            pipe.write((folder / "arm.csv").read_bytes())

    writer = threading.Thread(target=write)
    writer.start()
    done = subprocess.run(
        [*RAW, "--cuff", str(folder / "cuff")], input=raw, capture_output=True, check=False
    )
    writer.join()
    return done


def lines_of(out: bytes) -> list[dict[str, Any]]:
    """Lines as values; the last one ends with a line break."""
    assert out.endswith(b"\n")
    return [json.loads(line) for line in out.splitlines()]


def readings_of(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The readings among lines."""
    return [line["reading"] for line in lines if line["type"] == "reading"]


def test_a_named_pipe(arm: Path, raw: bytes, piped: Done) -> None:
    assert (piped.returncode, piped.stderr) == (0, b"")
    (reading,) = readings_of(lines_of(piped.stdout))
    sound = np.frombuffer(raw, "<i2").astype(np.int16)
    log = tapfall.load("arm.wav", "arm.csv").cuff
    alike = tapfall.take_reading(Recording(samples=sound, rate_hz=4000.0, cuff=log))
    expected = json.loads(json.dumps(record_of(alike)))
    assert {**reading, "flags": [f for f in reading["flags"] if f != "revised"]} == expected


def test_live_pipes_are_heard_as_they_come_and_a_signal_ends_them(arm: Path, raw: bytes) -> None:
    """Half of both streams comes, then nothing more, then SIGINT: what came is read."""
    read_end, write_end = os.pipe()
    process = subprocess.Popen(
        [*RAW, "--cuff", f"fd:{read_end}"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        pass_fds=[read_end],
    )
    os.close(read_end)
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    half_s = 38.0
    rows = Path("arm.csv").read_text().splitlines(keepends=True)
    early = [rows[0], *(row for row in rows[1:] if float(row.partition(",")[0]) < half_s)]
    with os.fdopen(write_end, "wb") as cuff:
        cuff.write("".join([*early, "38.0,9"]).encode())
        cuff.flush()
        process.stdin.write(raw[: int(half_s * 8000)])
        process.stdin.flush()
        told = []
        while not told or told[-1].get("kind") != "sound_heard":
            told.append(json.loads(process.stdout.readline()))
        process.send_signal(signal.SIGINT)
        rest = lines_of(process.stdout.read())
    assert (process.wait(), process.stderr.read()) == (0, b"")
    process.stdin.close()
    process.stdout.close()
    process.stderr.close()
    (reading,) = readings_of(rest)
    assert reading["systolic"]["state"] == "observed"
    assert rest[-1]["type"] == "end"
    assert rest[-1]["why"] == "stopped"
    assert rest[-1]["audio_s"] <= half_s


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_signal_ends_a_replay_in_its_time(arm: Path, name: str) -> None:
    process = subprocess.Popen(
        [*REPLAY, "--speed", "5"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert json.loads(process.stdout.readline())["type"] == "start"
    process.send_signal(getattr(signal, name))
    out, err = process.communicate(timeout=60)
    why = "the log holds no deflation slower than 10 mmHg/s over at least 20 mmHg"
    assert (process.returncode, err.decode().splitlines()) == (
        1,
        [f"tapfall: {SIMULATED}", f"tapfall: stopped; the last reading is unreadable: {why}"],
    )
    lines = lines_of(out)
    assert [line["type"] for line in lines[-2:]] == ["reading", "end"]
    assert lines[-1]["why"] == "stopped"
    assert lines[-1]["audio_s"] < 30.0
    assert lines[-2]["reading"]["reasons"] == ["no_deflation"]


def test_a_hang_up_that_is_ignored_ends_nothing() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with Stopping() as stopping:
            signal.raise_signal(signal.SIGHUP)
            assert not stopping.asked
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_second_signal_ends_it_at_once() -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", SLOW_TO_END], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    process.send_signal(signal.SIGINT)
    assert process.stdout.readline() == b"asked\n"
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (7, b"")
    assert err == b""


SLOW_TO_END = """
import sys, time
from tapfall.cli.streams import Stopping
try:
    with Stopping() as stopping:
        print("ready", flush=True)
        while not stopping.asked:
            time.sleep(0.01)
        print("asked", flush=True)
        time.sleep(600)
except KeyboardInterrupt:
    sys.exit(7)
"""


def test_a_reader_who_leaves_ends_it(arm: Path) -> None:
    process = subprocess.Popen(
        [*REPLAY, "--speed", "50"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    said = f"tapfall: {SIMULATED}\n".encode()
    assert (process.wait(timeout=60), process.stderr.read()) == (0, said)
    process.stderr.close()


def test_a_full_disk_is_told(arm: Path) -> None:
    with open("/dev/full", "w") as full:  # noqa: PTH123 - a device
        done = subprocess.run(REPLAY, stdout=full, stderr=subprocess.PIPE, check=False)
    assert (done.returncode, done.stderr.decode()) == (
        2,
        "tapfall: standard output: cannot be written (No space left on device); "
        "allowed a place with room\n",
    )


@pytest.mark.skipif(not hasattr(fcntl, "F_SETPIPE_SZ"), reason="pipes of a set size")
def test_a_slow_reader_loses_nothing(arm: Path, raw: bytes, piped: Done) -> None:
    Path("arm.raw").write_bytes(raw)
    with Path("arm.raw").open("rb") as sound:
        process = subprocess.Popen([*RAW, "--cuff", "arm.csv"], stdin=sound, stdout=subprocess.PIPE)
    assert process.stdout is not None
    fcntl.fcntl(process.stdout.fileno(), fcntl.F_SETPIPE_SZ, 4096)
    parts = []
    while part := os.read(process.stdout.fileno(), 2048):
        parts.append(part)
        time.sleep(0.01)
    assert process.wait() == 0
    process.stdout.close()
    assert b"".join(parts) == piped.stdout


def test_a_terminal_is_no_sound(arm: Path) -> None:
    leader, follower = pty.openpty()
    done = subprocess.run(
        [*RAW, "--cuff", "arm.csv"], stdin=follower, capture_output=True, check=False
    )
    os.close(leader)
    os.close(follower)
    assert (done.returncode, done.stdout, done.stderr.decode()) == (
        2,
        b"",
        "tapfall: standard input: found a terminal; allowed raw sound, from a pipe or a file\n",
    )


def test_closed_input_is_told(arm: Path) -> None:
    done = subprocess.run(
        ["sh", "-c", 'exec "$@" <&-', "sh", *RAW, "--cuff", "arm.csv"],
        capture_output=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (
        2,
        b"tapfall: standard input: found it closed; allowed raw sound\n",
    )


def test_an_intake_holds_no_more_than_it_may() -> None:
    read_end, write_end = os.pipe()
    os.set_blocking(write_end, False)
    changed = threading.Condition()
    intake = Intake("pipe", lambda: read_end, 1000, changed)
    sent = 0
    # Until nothing more goes in: the pipe is full and the intake reads no more.
    for _ in range(100):
        try:
            sent += os.write(write_end, bytes(4096))
        except BlockingIOError:
            time.sleep(0.002)
        assert intake.size <= 1000
    assert intake.size == 1000
    got = len(intake.take(400))
    assert got == 400
    os.close(write_end)
    while not (intake.over and intake.size == 0):
        got += len(intake.take(10_000))
    assert got == sent
    os.close(read_end)


def test_the_example_of_a_pipe(tmp_path: Path) -> None:
    script = Path(__file__).parents[2] / "examples" / "listen.sh"
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["sh", str(script)],
        cwd=tmp_path,
        env={**os.environ, "PATH": path},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    lines = lines_of(done.stdout)
    assert readings_of(lines)[-1]["status"] in {"ok", "review"}
    assert lines[-1]["type"] == "end"
    assert list(tmp_path.iterdir()) == []
