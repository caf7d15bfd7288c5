"""``tapfall lesson make`` that is asked to end half way."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tapfall.cli import main
from tests.signals import heed_interrupts

MAKE = ["lesson", "make", "--grade", "2", "--count", "60", "--seed", "1", "-o", "set"]


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such signals")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_run_that_is_asked_to_end_leaves_nothing(tmp_path: Path, name: str) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "tapfall", *MAKE],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        preexec_fn=heed_interrupts,
    )
    try:
        for _ in range(600):
            if (tmp_path / "set" / ".making").exists():
                break
            time.sleep(0.05)
        time.sleep(0.2)
        run.send_signal(getattr(signal, name))
        _, said = run.communicate(timeout=60)
    finally:
        run.kill()
    assert (run.returncode, said) == (130, b"tapfall: interrupted\n")
    assert list(tmp_path.iterdir()) == []


def test_what_a_run_that_was_cut_off_left_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "set").mkdir()
    (tmp_path / "set" / ".making").touch()
    assert main(MAKE) == 2
    assert capsys.readouterr().err == (
        "tapfall: set: found a folder that holds something (.making, of a run that goes on or was "
        "cut off); allowed a new or empty one\n"
    )
    assert (tmp_path / "set" / ".making").exists()


def test_a_key_in_the_learners_folder_makes_no_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*MAKE[:-1], "z", "--key", "z/key.json"]) == 2
    assert list(tmp_path.iterdir()) == []
