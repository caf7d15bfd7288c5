"""Chest heart sounds under a falling cuff log hold no Korotkoff sounds.

The recordings are open ones from the chest, with and without murmurs, extra
beats and noise; they are no part of the project.  They are looked for in
``heart_sounds`` in the folder that ``TAPFALL_DATA`` names, else in
``../shared/data`` beside the project, as :mod:`tests.accuracy.splits` does; where
there are none, simulated heart sounds stand in.

Each is looped to the length of a measurement and set beside logs of four kinds:

* ``smooth``: 50 Hz, no pulse at all;
* ``own``: 50 Hz, with pulses that follow this heart (R waves where they are
  known, else the peaks of the sound's envelope by scipy);
* ``other``: 50 Hz, with even pulses of 72 per minute;
* ``slow``: 1 Hz in steps of 2 mmHg.

The answer should be ``unreadable``, with a reason, on every one of them.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import soundfile
from scipy import signal

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Reading, Reason, Recording, State, Status
from tapfall.synth import load_builtin, simulate
from tests.accuracy.splits import DATA
from tests.ear.made import line, pulse_wave, rounded_to

FOLDER = DATA / "heart_sounds"
#: Heart rates, per minute, of the simulated heart sounds that stand in for missing files.
STAND_INS = {f"simulated_{rate:g}": rate for rate in (54.0, 60.0, 66.0, 78.0, 84.0, 92.0)}
FILES = tuple(sorted(path.name for path in FOLDER.glob("*.wav"))) or tuple(STAND_INS)
LOGS = ("smooth", "own", "other", "slow")
CASES = [(name, log) for name in FILES for log in LOGS]

#: Rest, inflation to 170 mmHg, hold, 2.6 mmHg/s down to 50 mmHg, release, rest.
CORNERS = ((0, 0), (3, 0), (9, 170), (10, 170), (56, 50), (57, 0), (64, 0))
DURATION_S = 64.0
#: Overlap of the loop's ends, so that the joint makes no click.
FADE_S = 0.05
#: From R wave to the pulse at the arm, and from first heart sound to it (about; from memory).
AFTER_R_S, AFTER_S1_S = 0.2, 0.1

#: The quietest noise of pump and release: there is none in recordings from the chest.
QUIET = {"inflation_noise_db": -60.0, "release_noise_db": -60.0}


def chest(name: str) -> tuple[np.ndarray, int]:
    """Samples and rate of a recording, or of a simulated one."""
    if name not in STAND_INS:
        samples, rate_hz = soundfile.read(FOLDER / name, dtype="int16")
        return samples, rate_hz
    scenario = load_builtin("heart_sounds_only")
    person = replace(scenario.person, heart_rate_per_min=STAND_INS[name])
    scenario = replace(scenario, person=person, room=replace(scenario.room, **QUIET))
    made = simulate(scenario).recording
    return np.round(made.samples * 32767).astype(np.int16), round(made.rate_hz)


def looped(name: str) -> tuple[np.ndarray, int, float]:
    """A recording repeated over the measurement, its rate, and the loop's length in seconds."""
    samples, rate_hz = chest(name)
    fade = round(FADE_S * rate_hz)
    weight = np.linspace(0.0, 1.0, fade)
    body = samples[:-fade].astype(np.float64)
    body[:fade] = body[:fade] * weight + samples[-fade:] * (1 - weight)
    count = round(DURATION_S * rate_hz)
    whole = np.tile(body, -(-count // body.size))[:count]
    return np.round(whole).astype(np.int16), rate_hz, body.size / rate_hz


def own_feet_s(name: str, samples: np.ndarray, rate_hz: int, loop_s: float) -> np.ndarray:
    """Feet of the arm's pulses as this heart would make them."""
    events = (FOLDER / name).with_name(name.replace(".wav", "_events.csv"))
    if events.is_file():
        with events.open(newline="") as file:
            waves_s = [float(row["time_s"]) for row in csv.DictReader(file) if row["event"] == "R"]
        loops = np.arange(int(DURATION_S / loop_s) + 1)
        feet_s = np.sort((loops[:, None] * loop_s + np.array(waves_s)[None, :]).ravel())
        return feet_s + AFTER_R_S
    band = signal.butter(3, [25.0, 150.0], "bandpass", fs=rate_hz, output="sos")
    slow = signal.butter(2, 6.0, fs=rate_hz, output="sos")
    envelope = signal.sosfiltfilt(slow, np.abs(signal.sosfiltfilt(band, samples / 32768)))
    step = rate_hz // 100
    envelope = envelope[::step] - envelope.mean()
    acf = signal.correlate(envelope, envelope, "full", method="fft")[envelope.size - 1 :]
    interval = 45 + int(np.argmax(acf[45:130]))
    peaks, _ = signal.find_peaks(envelope, distance=int(0.7 * interval))
    return peaks / 100 + AFTER_S1_S


def log_of(kind: str, feet_s: np.ndarray) -> CuffLog:
    """The cuff's log of one kind."""
    time_s, pressure_mmhg = line(CORNERS, 1.0 if kind == "slow" else 50.0)
    if kind != "smooth":
        size = 3.0 * np.exp(-(((pressure_mmhg - 90.0) / 45.0) ** 2))
        size *= np.clip(pressure_mmhg / 20.0, 0.0, 1.0)
        pressure_mmhg = pressure_mmhg + size * (pulse_wave(time_s, feet_s) - 0.4)
    noise = np.random.default_rng(1).normal(0.0, 0.1, time_s.size)
    step_mmhg = 2.0 if kind == "slow" else 0.1
    return CuffLog(time_s=time_s, pressure_mmhg=rounded_to(pressure_mmhg + noise, step_mmhg))


@lru_cache(maxsize=len(CASES) + 1)
def reading_of(name: str, kind: str) -> Reading:
    """The reading of one recording beside one kind of log."""
    samples, rate_hz, loop_s = looped(name)
    if kind == "own":
        feet_s = own_feet_s(name, samples, rate_hz, loop_s)
    else:
        feet_s = 0.3 + np.arange(0.0, DURATION_S, 60 / 72)
    return take_reading(
        Recording(samples=samples, rate_hz=float(rate_hz), cuff=log_of(kind, feet_s))
    )


@pytest.mark.parametrize(("name", "kind"), CASES)
def test_heart_sounds_are_unreadable(name: str, kind: str) -> None:
    assert reading_of(name, kind).status is Status.UNREADABLE


@pytest.mark.parametrize(("name", "kind"), CASES)
def test_an_unreadable_one_says_why_and_gives_nothing(name: str, kind: str) -> None:
    reading = reading_of(name, kind)
    if reading.status is Status.UNREADABLE:
        assert reading.reasons
        assert reading.systolic.state is reading.diastolic.state is State.UNDETERMINED


def test_heart_sounds_are_told_apart_from_silence() -> None:
    # "Beat-synchronous sound unchanged by cuff pressure" is what they are.
    reasons = [reading_of(name, "own").reasons for name in FILES]
    assert reasons.count((Reason.UNCHANGED_BY_CUFF,)) > 0
