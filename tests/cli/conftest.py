"""One simulated recording that the tests of the command line share, and who listens to it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import tapfall
from tapfall.cli import main
from tapfall.files import save
from tapfall.model import Recording
from tapfall.synth import Scenario, simulate
from tests.cli.listening import VALIDATOR, Line, Listen, standard_input


@pytest.fixture(scope="session")
def simulated() -> Recording:
    """A healthy adult measured well."""
    return simulate(Scenario(seed=3)).recording


@pytest.fixture
def arm(simulated: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder that holds arm.wav and arm.csv."""
    save(simulated, tmp_path / "arm.wav", tmp_path / "arm.csv")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def recording(arm: Path) -> Recording:
    """The recording of the folder, with its raw samples in arm.raw."""
    loaded = tapfall.load("arm.wav", "arm.csv")
    loaded.samples.astype("<f4").tofile("arm.raw")
    return loaded


@pytest.fixture
def listen(capsys: pytest.CaptureFixture[str]) -> Listen:
    """Run ``tapfall listen`` with a file as its input; its code, lines and errors."""

    def run(*argv: str, sound: str = "arm.raw") -> tuple[int, list[Line], str]:
        with standard_input(sound):
            code = main(argv)
        out, err = capsys.readouterr()
        lines = [json.loads(text) for text in out.splitlines()]
        for line in lines:
            VALIDATOR.validate(line)
        return code, lines, err

    return run
