"""Build the simulated recordings of this folder.

``python synth_fixtures/build.py`` reads each ``NAME.toml`` here and writes
``NAME.flac`` (16 bit), ``NAME.csv`` and ``NAME.truth.json`` beside it.
``python synth_fixtures/build.py --scenarios`` first writes the ``NAME.toml``
files anew from the built-in scenarios.
"""

from __future__ import annotations

import io
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from tapfall.files import write_bytes
from tapfall.model import CuffLog
from tapfall.synth import (
    Scenario,
    Simulation,
    load_builtin,
    load_scenario,
    save_scenario,
    simulate,
    truth_to_dict,
)

FOLDER = Path(__file__).resolve().parent

#: Fixture: the built-in scenario it is made from, and its sampling rate in Hz.
FIXTURES = {
    "ordinary": ("normal", 4000.0),
    "weak": ("weak", 4000.0),
    "noisy": ("noisy", 2000.0),
    "silent_gap": ("silent_gap", 2000.0),
    "silent_gap_small": ("silent_gap_small", 2000.0),
    "fast_deflation": ("fast_deflation", 4000.0),
    "irregular_rhythm": ("irregular_rhythm", 2000.0),
    "slow_rounded_log": ("slow_rounded_log", 2000.0),
    "under_inflated": ("under_inflated", 4000.0),
    "stopped_early": ("stopped_early", 4000.0),
    "no_sounds": ("no_sounds", 2000.0),
    "clock_lag": ("clock_lag", 2000.0),
    "heart_sounds_conducted": ("heart_sounds_conducted", 2000.0),
    "sounds_to_zero": ("sounds_to_zero", 2000.0),
}


def scenario_of(name: str) -> Scenario:
    """The built-in scenario of a fixture, with short rests and 16-bit samples."""
    builtin, rate_hz = FIXTURES[name]
    scenario = load_builtin(builtin)
    return replace(
        scenario,
        name=name,
        cuff=replace(scenario.cuff, rest_before_s=2.5, rest_after_s=5.5),
        sensor=replace(scenario.sensor, rate_hz=rate_hz, bits=16.0),
    )


def log_text(log: CuffLog) -> str:
    """The cuff log as CSV: milliseconds and tenths of mmHg."""
    rows = zip(log.time_s, log.pressure_mmhg, strict=True)
    lines = ["time_s,pressure_mmHg", *(f"{time:.3f},{mmhg:.1f}" for time, mmhg in rows)]
    return "\n".join(lines) + "\n"


def sound_bytes(simulation: Simulation) -> bytes:
    """The samples as a 16-bit FLAC file."""
    steps = np.round(simulation.recording.samples * 32768).astype(np.int16)
    file = io.BytesIO()
    rate_hz = int(simulation.recording.rate_hz)
    soundfile.write(file, steps, rate_hz, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def build(folder: Path = FOLDER) -> None:
    """Write sound, log and truth of every scenario file in a folder."""
    for path in sorted(folder.glob("*.toml")):
        simulation = simulate(load_scenario(path))
        truth = json.dumps(truth_to_dict(simulation.truth), indent=1, allow_nan=False)
        write_bytes(path.with_suffix(".flac"), sound_bytes(simulation))
        write_bytes(path.with_suffix(".csv"), log_text(simulation.recording.cuff).encode())
        write_bytes(path.with_suffix(".truth.json"), f"{truth}\n".encode())


if __name__ == "__main__":
    if "--scenarios" in sys.argv[1:]:
        for fixture in FIXTURES:
            save_scenario(scenario_of(fixture), FOLDER / f"{fixture}.toml")
    build()
