"""Real beats, pulses, heart sounds and background sounds, from open files.

They are no part of the project and looked for where :mod:`tests.accuracy.splits` looks;
where they are missing, made ones stand in.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from itertools import pairwise

import numpy as np
import soundfile
from scipy import signal

from tests.accuracy.splits import DATA
from tests.second.waves import RATE_HZ, FloatArray

FIBRILLATION = "beats/af_ltafdb74_5min.csv"
SINUS = ("beats/sinus_nsr2db_nsr001.csv", "beats/sinus_nsr2db_nsr004.csv")
PULSES = "arterial/abp_waveformtools_125hz_mmHg.csv"
CHEST = tuple(f"heart_sounds/chest_ecg_{number}" for number in (1, 2, 3))
CHEST_FILES = tuple(f"{name}{end}" for end in (".wav", "_events.csv") for name in CHEST)
SPEECH = tuple(f"noise/speech_{number}.wav" for number in (1, 2, 3, 4, 5))
HISS, RUB = "noise/vinyl_hiss.flac", "noise/ambi_glass_rub.flac"
KNOCKS = tuple(
    f"noise/{name}.flac"
    for name in ("drum_bass_soft", "drum_tom_lo_soft", "bd_fat", "bd_haus", "perc_door")
)

NEEDED = (FIBRILLATION, *SINUS, PULSES, *CHEST_FILES, *SPEECH, HISS, RUB, *KNOCKS)

#: Rate of the file of arterial pulses.
PULSE_RATE_HZ = 125

#: Lengths of the clips of the first and second heart sound (our choice).
FIRST_S, SECOND_S = 0.16, 0.14


def there(*names: str) -> bool:
    """Whether all of these files are there."""
    return all((DATA / name).is_file() for name in names)


def missing() -> str:
    """One line about files that are not there; empty where all are."""
    absent = [name for name in NEEDED if not there(name)]
    if not absent:
        return ""
    return (
        f"{len(absent)} of {len(NEEDED)} files of real beats and sounds are missing, "
        f"the first is {absent[0]} (see TAPFALL_DATA): made ones stand in"
    )


@lru_cache(maxsize=8)
def intervals_s(name: str) -> FloatArray:
    """Beat intervals of a series."""
    return np.genfromtxt(DATA / name, delimiter=",", skip_header=1, usecols=(1,))


@lru_cache(maxsize=1)
def pulses() -> list[tuple[FloatArray, FloatArray]]:
    """Real arterial pulses: seconds since the foot, and height from 0 to 1."""
    pressure = np.genfromtxt(DATA / PULSES, skip_header=1)
    pressure = pressure[np.isfinite(pressure)]
    smooth = signal.sosfiltfilt(signal.butter(2, 15, fs=PULSE_RATE_HZ, output="sos"), pressure)
    slope = np.gradient(smooth) * PULSE_RATE_HZ
    steepest, _ = signal.find_peaks(slope, height=0.5 * np.percentile(slope, 99), distance=50)
    feet = []
    for at in steepest:
        start = max(0, at - 25)
        feet.append(start + int(np.argmin(pressure[start : at + 1])))
    found = []
    for foot, after in pairwise(feet):
        wave = pressure[foot : after + 1].astype(float)
        top = int(np.argmax(wave[:50]))
        if 0.45 < (after - foot) / PULSE_RATE_HZ < 1.4 and 6 <= top <= 40:
            wave = wave - np.linspace(wave[0], wave[-1], len(wave))
            found.append((np.arange(len(wave)) / PULSE_RATE_HZ, wave / wave.max()))
    return found


@lru_cache(maxsize=32)
def sound(name: str) -> FloatArray:
    """A sound at 4 kHz, mono, without offset, its rms 1."""
    samples, rate_hz = soundfile.read(DATA / name, always_2d=True)
    samples = samples.mean(1)
    if rate_hz != RATE_HZ:
        common = np.gcd(rate_hz, RATE_HZ)
        samples = signal.resample_poly(samples, RATE_HZ // common, rate_hz // common)
    samples = samples - samples.mean()
    return samples / (np.sqrt(np.mean(samples**2)) + 1e-12)


@lru_cache(maxsize=1)
def heart_sounds() -> list[tuple[FloatArray, FloatArray]]:
    """First and second heart sounds, cut from chest recordings by their R and T-end times."""
    found = []
    for name in CHEST:
        samples = sound(f"{name}.wav")
        with (DATA / f"{name}_events.csv").open(newline="") as file:
            events = [(row["event"], float(row["time_s"])) for row in csv.DictReader(file)]
        r_waves_s = [time_s for event, time_s in events if event == "R"]
        t_ends_s = [time_s for event, time_s in events if event != "R"]
        for r_s in r_waves_s[1:-1]:
            t_s = [time_s for time_s in t_ends_s if 0.2 < time_s - r_s < 0.5]
            if not t_s:
                continue
            first = _clip(samples, r_s - 0.02, FIRST_S)
            second = _clip(samples, t_s[0] - 0.05, SECOND_S)
            if first is not None and second is not None:
                found.append((first, second))
    return found


def _clip(samples: FloatArray, start_s: float, length_s: float) -> FloatArray | None:
    start, count = int(start_s * RATE_HZ), int(length_s * RATE_HZ)
    clip = samples[start : start + count]
    return clip * signal.windows.tukey(count, 0.3) if len(clip) == count else None
