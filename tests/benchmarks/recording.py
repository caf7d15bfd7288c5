"""The recording that everything is measured on: 60 s at 44.1 kHz."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tapfall.files import save
from tapfall.model import CuffLog, Recording
from tapfall.synth import load_builtin, simulate

RATE_HZ = 44_100
#: Rate of the sound that is pushed piece by piece.
STREAM_RATE_HZ = 4_000
SECONDS = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """A sound and its cuff log."""

    audio: Path
    cuff: Path


def make(folder: Path, *, rate_hz: int = RATE_HZ, seconds: float = SECONDS) -> Files:
    """Write an ordinary recording of exactly this length into a folder."""
    ordinary = load_builtin("normal")
    made = simulate(
        replace(
            ordinary,
            sensor=replace(ordinary.sensor, rate_hz=float(rate_hz)),
            cuff=replace(ordinary.cuff, rest_after_s=20.0),
        )
    ).recording
    wanted = round(seconds * rate_hz)
    if made.samples.size < wanted:
        raise ValueError(f"the recording holds {made.samples.size / rate_hz:.1f} s, not {seconds}")
    inside = made.cuff.time_s < seconds
    files = Files(audio=folder / "arm.wav", cuff=folder / "arm.csv")
    cut = Recording(
        samples=np.asarray(made.samples[:wanted], dtype=np.float32),
        rate_hz=float(rate_hz),
        cuff=CuffLog(
            time_s=made.cuff.time_s[inside], pressure_mmhg=made.cuff.pressure_mmhg[inside]
        ),
    )
    save(cut, files.audio, files.cuff)
    return files
