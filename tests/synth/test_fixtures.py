"""The committed recordings are what the builder makes of their scenarios."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from synth_fixtures.build import FIXTURES, FOLDER, build, scenario_of

from tapfall.files import load
from tapfall.model import State
from tapfall.synth import Truth, load_scenario, simulate, truth_from_dict, truth_to_dict

NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


def truth_of(name: str) -> Truth:
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    return truth_from_dict(json.loads(text))


def test_every_fixture_is_complete_and_small() -> None:
    assert set(FIXTURES) == set(NAMES)
    assert len(NAMES) >= 12
    for name in NAMES:
        sizes = [
            (FOLDER / f"{name}{end}").stat().st_size for end in (".flac", ".csv", ".truth.json")
        ]
        assert sizes[0] + sizes[1] < 400_000


@pytest.mark.parametrize("name", NAMES)
def test_the_simulator_still_makes_it(name: str) -> None:
    found = simulate(load_scenario(FOLDER / f"{name}.toml"))
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    assert truth_to_dict(found.truth) == json.loads(text)
    kept, rate_hz = soundfile.read(FOLDER / f"{name}.flac", dtype="float64")
    assert rate_hz == found.recording.rate_hz
    assert kept.shape == found.recording.samples.shape
    assert np.abs(kept - found.recording.samples).max() <= 1.5 / 32768
    recording = load(FOLDER / f"{name}.flac", FOLDER / f"{name}.csv")
    assert recording.cuff.time_s == pytest.approx(found.recording.cuff.time_s, abs=6e-4)
    step = found.scenario.cuff.rounding_mmhg
    assert recording.cuff.pressure_mmhg == pytest.approx(
        found.recording.cuff.pressure_mmhg, abs=step + 1e-6
    )


def test_building_again_writes_the_same_files(tmp_path: Path) -> None:
    name = "under_inflated"
    (tmp_path / f"{name}.toml").write_bytes((FOLDER / f"{name}.toml").read_bytes())
    build(tmp_path)
    for end in (".csv", ".truth.json"):
        assert (tmp_path / f"{name}{end}").read_bytes() == (FOLDER / f"{name}{end}").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        f"{name}{end}" for end in (".csv", ".flac", ".toml", ".truth.json")
    )


@pytest.mark.parametrize("name", NAMES)
def test_scenario_files_follow_the_builtin_scenarios(name: str) -> None:
    assert load_scenario(FOLDER / f"{name}.toml") == scenario_of(name)


def test_fixtures_hold_what_their_names_say() -> None:
    truth = {name: truth_of(name) for name in NAMES}
    quiet = {name: one.in_quiet for name, one in truth.items()}
    assert quiet["under_inflated"].systolic.state is State.NOT_REACHED
    assert quiet["stopped_early"].diastolic.state is State.NOT_REACHED
    assert not quiet["no_sounds"].readable
    assert quiet["sounds_to_zero"].to_zero
    assert quiet["silent_gap"].gaps[0].silent_beats > 5
    assert quiet["silent_gap_small"].gaps[0].silent_beats == 2
    assert truth["fast_deflation"].deflation_mmhg_per_s > 5
    assert truth["clock_lag"].lag_s == 1.1
    assert (truth["noisy"].signal_to_noise_db or 0) < 7
    assert np.abs(soundfile.read(FOLDER / "weak.flac")[0]).max() < 0.05
    log = load(FOLDER / "slow_rounded_log.flac", FOLDER / "slow_rounded_log.csv").cuff
    assert np.median(np.diff(log.time_s)) == 1.0
