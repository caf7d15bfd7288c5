"""The three ranges of seeds and what each has for itself: files, series, delays.

Seeds 0-9,999 are for development, 10,000-19,999 for calibration and
20,000-29,999 for closing figures.

The files (``noise``, ``beats``, ``heart_sounds``) are looked for in the folder
that ``TAPFALL_DATA`` names, else in ``../shared/data`` beside the project;
where they are missing, synthesised noise and beats stand in.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from tapfall.synth.scenario import Noise

DATA = Path(
    os.environ.get("TAPFALL_DATA", Path(__file__).resolve().parents[2] / ".." / "shared" / "data")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """What seeds of one range have for themselves."""

    name: str
    delay_s: tuple[float, float]
    speech: tuple[str, ...]
    sounds: tuple[str, ...]
    chest: tuple[str, ...]
    sinus: tuple[str, float, float]
    fibrillation: tuple[str, float, float]
    ectopic: tuple[str, float, float]


_SINUS_1, _SINUS_4 = "sinus_nsr2db_nsr001.csv", "sinus_nsr2db_nsr004.csv"
_AF, _APC = "af_ltafdb74_5min.csv", "sinus_with_apc_mitdb100_30min.csv"
SPLITS = (
    Split(
        name="development",
        delay_s=(0.0, 0.04),
        speech=("speech_1.wav", "speech_2.wav"),
        sounds=("ambi_glass_rub.flac", "bd_808.flac", "drum_tom_lo_soft.flac", "loop_amen.flac"),
        chest=("stethoscope_normal_1.wav", "stethoscope_murmur_2.wav", "chest_ecg_1.wav"),
        sinus=(_SINUS_1, 0.0, 1500.0),
        fibrillation=(_AF, 0.0, 120.0),
        ectopic=(_APC, 0.0, 600.0),
    ),
    Split(
        name="calibration",
        delay_s=(0.01, 0.05),
        speech=("speech_3.wav", "speech_4.wav"),
        sounds=("ambi_swoosh.flac", "bd_fat.flac", "drum_bass_soft.flac", "perc_door.flac"),
        chest=("stethoscope_normal_2.wav", "stethoscope_murmur_3.wav", "chest_ecg_2.wav"),
        sinus=(_SINUS_4, 0.0, 600.0),
        fibrillation=(_AF, 120.0, 210.0),
        ectopic=(_APC, 600.0, 1200.0),
    ),
    Split(
        name="closing",
        delay_s=(0.0, 0.06),
        speech=("speech_5.wav",),
        sounds=("vinyl_hiss.flac", "bd_haus.flac", "perc_snap.flac"),
        chest=("stethoscope_normal_4.wav", "stethoscope_murmur_4.wav", "chest_1000hz.wav"),
        sinus=(_SINUS_4, 600.0, 1300.0),
        fibrillation=(_AF, 210.0, 300.0),
        ectopic=(_APC, 1200.0, 1800.0),
    ),
)


#: How many seeds a split has, and which ones.
EACH = 10_000
SEEDS = {split.name: range(EACH * n, EACH * (n + 1)) for n, split in enumerate(SPLITS)}


def split_of(seed: int) -> Split:
    """The split a seed belongs to."""
    if not 0 <= seed < EACH * len(SPLITS):
        raise ValueError(f"seed: found {seed}; allowed 0 to {EACH * len(SPLITS) - 1:,}")
    return SPLITS[seed // EACH]


@lru_cache(maxsize=8)
def beat_times_s(name: str) -> tuple[float, ...]:
    """Beat times of a series, empty where the file is missing."""
    path = DATA / "beats" / name
    if not path.is_file():
        return ()
    with path.open(newline="") as file:
        return tuple(float(row["beat_time_s"]) for row in csv.DictReader(file))


def intervals(
    rng: np.random.Generator, part: tuple[str, float, float], *, early: bool = False
) -> tuple[float, ...]:
    """About two minutes of a series' beat intervals from a random place in its part.

    With ``early`` they start 15-45 s before a beat that comes early (below 80 %
    of the interval before it).  Empty where the series is missing.
    """
    name, low_s, high_s = part
    times = np.array(beat_times_s(name))
    if times.size < 2:
        return ()
    start_s = rng.uniform(low_s, max(high_s - 90.0, low_s + 1.0))
    if early:
        gaps = np.diff(times)
        at_s = times[2:][gaps[1:] < 0.8 * gaps[:-1]]
        at_s = at_s[(at_s > low_s + 45.0) & (at_s < high_s - 60.0)]
        start_s = float(rng.choice(at_s)) - rng.uniform(15, 45)
    inside = times[(times >= start_s) & (times < min(start_s + 140.0, high_s))]
    found = np.diff(inside)
    return tuple(round(float(x), 4) for x in found[(found > 0.25) & (found < 4.0)])


def real_files(split: Split) -> tuple[int, int]:
    """How many of a split's files are there, and how many it names."""
    beats = [part[0] for part in (split.sinus, split.fibrillation, split.ectopic)]
    wanted = [("beats", name) for name in beats]
    wanted += [("noise", name) for name in (*split.speech, *split.sounds)]
    wanted += [("heart_sounds", name) for name in split.chest]
    return sum((DATA / folder / name).is_file() for folder, name in wanted), len(wanted)


def file_noise(
    rng: np.random.Generator, folder: str, names: tuple[str, ...], snr_db: float, instead: str
) -> Noise:
    """A noise from one of several files, synthesised where they are missing."""
    path = DATA / folder / str(rng.choice(names))
    if path.is_file():
        return Noise(kind="file", path=str(path), snr_db=snr_db)
    return Noise(kind=instead, snr_db=snr_db)
