"""One simulated recording that the tests of the command line share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tapfall.files import save
from tapfall.model import Recording
from tapfall.synth import Scenario, simulate


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
