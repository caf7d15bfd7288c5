"""The program as a process: pipes, terminals, encodings, any arguments."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tapfall
from tapfall.cli import main

LESSON = "lesson make --grade 1 --count 1 --seed 1 -o set"
READ = [sys.executable, "-m", "tapfall", "read", "arm.wav", "arm.csv"]


def run(
    command: list[str], *, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, **(env or {})},
        check=False,
    )


@pytest.mark.parametrize("extra", [[], ["--json", "-"]])
def test_a_reader_who_leaves_ends_nothing(arm: Path, extra: list[str]) -> None:
    away, stdout = os.pipe()
    os.close(away)
    done = subprocess.run(
        [*READ, *extra, "--figure", "o.png"], stdout=stdout, stderr=subprocess.PIPE, check=False
    )
    os.close(stdout)
    assert (done.returncode, done.stderr) == (0, b"")
    assert Path("o.png").exists()


def test_help_to_a_reader_who_leaves(arm: Path) -> None:
    away, stdout = os.pipe()
    os.close(away)
    done = subprocess.run([*READ[:4], "--help"], stdout=stdout, stderr=subprocess.PIPE, check=False)
    os.close(stdout)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_full_disk_is_told(arm: Path) -> None:
    with open("/dev/full", "w") as full:  # noqa: PTH123 - a device
        done = subprocess.run(READ, stdout=full, stderr=subprocess.PIPE, check=False)
    assert (done.returncode, done.stderr.decode()) == (
        2,
        "tapfall: standard output: cannot be written (No space left on device); "
        "allowed a place with room\n",
    )


@pytest.mark.parametrize("given", ["read arm.wav arm.csv --figure a.png", LESSON])
def test_a_home_that_cannot_be_written_is_no_matter(arm: Path, given: str) -> None:
    own = ("MPLCONFIGDIR", "XDG_CONFIG_HOME", "XDG_CACHE_HOME")
    kept = {key: text for key, text in os.environ.items() if key not in own}
    done = subprocess.run(
        [*READ[:3], *given.split()],
        env={**kept, "HOME": "/proc/none"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_closed_output_is_no_fault(arm: Path) -> None:
    done = run(["sh", "-c", 'exec "$@" >&-', "sh", *READ])
    assert (done.returncode, done.stderr) == (0, "")


def on_terminal(environment: dict[str, str]) -> str:
    """What a terminal is sent."""
    leader, follower = pty.openpty()
    clean = {key: text for key, text in os.environ.items() if key != "NO_COLOR"}
    done = subprocess.run(
        READ, stdout=follower, check=False, env={**clean, "TERM": "xterm", **environment}
    )
    os.close(follower)
    with os.fdopen(leader, "rb") as screen:
        text = screen.read1(100_000).decode()
    assert done.returncode == 0
    return text


def test_a_terminal_gets_a_bold_headline(arm: Path) -> None:
    assert on_terminal({}).count("\x1b[1m") == 1


@pytest.mark.parametrize("environment", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_a_terminal_can_refuse_it(arm: Path, environment: dict[str, str]) -> None:
    assert "\x1b" not in on_terminal(environment)


def test_a_pipe_gets_no_codes(arm: Path) -> None:
    assert "\x1b" not in run(READ).stdout


def test_names_beyond_the_output_encoding(arm: Path) -> None:
    Path("arm.wav").rename("\N{LATIN SMALL LETTER A WITH RING ABOVE}rm.wav")
    command = [*READ[:4], "\N{LATIN SMALL LETTER A WITH RING ABOVE}rm.wav", "arm.csv"]
    done = run(command, env={"PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("\\xe5rm.wav with arm.csv\n")


def test_a_fault_is_one_line_and_debug_a_traceback(arm: Path) -> None:
    command = [*READ[:4], "none.wav", "arm.csv"]
    plain, debug = run(command), run([*command, "--debug"])
    assert (plain.returncode, plain.stdout) == (2, "")
    assert debug.returncode == 2
    assert plain.stderr.startswith("tapfall: none.wav: found no such file; allowed ")
    assert plain.stderr.count("\n") == 1
    assert debug.stderr.startswith("Traceback (most recent call last):\n")
    assert "tapfall.errors.AudioError: none.wav: found no such file" in debug.stderr


def test_the_installed_command(arm: Path) -> None:
    done = run([str(Path(sys.executable).with_name("tapfall")), "--version"])
    assert (done.returncode, done.stdout) == (0, f"tapfall {tapfall.__version__}\n")


@pytest.mark.parametrize("argv", [["--help"], ["read", "--help"], ["simulate", "--help"]])
def test_help_fits_80_columns(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(argv) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("usage: tapfall")
    assert max(map(len, out.split("\n"))) <= 80


WORDS = [
    "read",
    "simulate",
    "--json",
    "--figure",
    "--diastolic",
    "--lag",
    "--channel",
    "--cuff-channel",
    "--cuff-scale",
    "--cuff-offset",
    "--manometer-error",
    "--list",
    "--systolic",
    "--count",
    "--seed",
    "--help",
    "--version",
    "-o",
    "--",
    "-",
    "file",
    "file/x.png",
    "none.wav",
    "none.csv",
    "none/x.png",
    "k4",
    "auto",
    "0",
    "1",
    "-1",
    "1e400",
    "nan",
    "",
]


@settings(deadline=None, max_examples=200)
@given(
    st.lists(
        st.sampled_from(WORDS) | st.text(max_size=8).filter(lambda word: "demo" not in word),
        max_size=8,
    )
)
def test_any_arguments(argv: list[str]) -> None:
    out, err = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("file").write_bytes(b"x")
        # Where recordings would be made there is a file: nothing is simulated.
        Path("tapfall-simulated").touch()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(argv)
        assert Path("file").read_bytes() == b"x"
    lines = err.getvalue().split("\n")
    if code == 0:
        assert lines == [""]
    else:
        assert code == 2
        assert out.getvalue() == ""
        assert lines[0].startswith("tapfall: ")
        assert lines[-1] == ""
        assert all(line.startswith("  ") for line in lines[1:-1])
        assert all(line.isprintable() and line.isascii() for line in lines)
