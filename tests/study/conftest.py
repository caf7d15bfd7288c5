"""Recordings that the tests of studies share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.files import save
from tapfall.synth import Cuff, Person, Scenario, simulate


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with six short recordings, r0 to r5."""
    folder = tmp_path_factory.mktemp("made")
    short = Scenario(
        person=Person(systolic_mmhg=115.0, diastolic_mmhg=82.0, heart_rate_per_min=80.0),
        cuff=Cuff(top_mmhg=140.0, end_mmhg=60.0, deflation_mmhg_per_s=3.0),
    )
    for seed in range(6):
        recording = simulate(replace(short, seed=seed)).recording
        save(recording, folder / f"r{seed}.wav", folder / f"r{seed}.csv")
    return folder
