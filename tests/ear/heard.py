"""Recordings and readings that the tests of the listener and of whole readings share."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from tapfall.ear import take_reading
from tapfall.files import load
from tapfall.model import Beat, CuffLog, Reading, Recording, Threshold
from tapfall.synth import Cuff, Noise, Room, Scenario, Sensor, simulate

FOLDER = Path(__file__).resolve().parents[2] / "synth_fixtures"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.flac")))

#: Rates whose periods are exact in floating point, so that shifts of whole samples are.
AUDIO_HZ, LOG_HZ = 1024.0, 64.0


@lru_cache(maxsize=32)
def fixture(name: str) -> Recording:
    """A committed recording."""
    return load(FOLDER / f"{name}.flac", FOLDER / f"{name}.csv")


@lru_cache(maxsize=32)
def fixture_reading(name: str) -> Reading:
    """Its reading with the default settings."""
    return take_reading(fixture(name))


@lru_cache(maxsize=8)
def short_recording(seed: int = 3, run_up_mmhg: float = 0.0) -> Recording:
    """A simulated measurement of about 50 s at 1024 Hz with a log of 64 Hz."""
    scenario = Scenario(
        seed=seed,
        cuff=Cuff(
            rest_before_s=8.0,
            rest_after_s=8.0,
            run_up_mmhg=run_up_mmhg,
            top_mmhg=148.0,
            end_mmhg=56.0,
            deflation_mmhg_per_s=3.2,
            log_rate_hz=LOG_HZ,
        ),
        sensor=Sensor(rate_hz=AUDIO_HZ),
        room=Room(noises=(Noise(kind="pink", snr_db=24.0),)),
    )
    return simulate(scenario).recording


def log_of(recording: Recording, *, shift_s: float = 0.0, shift_mmhg: float = 0.0) -> CuffLog:
    """The recording's log with another clock or another zero."""
    cuff = recording.cuff
    return CuffLog(time_s=cuff.time_s + shift_s, pressure_mmhg=cuff.pressure_mmhg + shift_mmhg)


def after_silence(recording: Recording, samples: int) -> Recording:
    """The same recording, preceded by silence and a cuff at rest."""
    rate_hz = recording.rate_hz
    shift_s = samples / rate_hz
    log = log_of(recording, shift_s=shift_s)
    before_s = np.arange(round(shift_s * LOG_HZ)) / LOG_HZ
    before_s = before_s[before_s < log.time_s[0]]
    rest_mmhg = np.full(before_s.size, recording.cuff.pressure_mmhg[0])
    return Recording(
        samples=np.concatenate([np.zeros(samples, recording.samples.dtype), recording.samples]),
        rate_hz=rate_hz,
        cuff=CuffLog(
            time_s=np.concatenate([before_s, log.time_s]),
            pressure_mmhg=np.concatenate([rest_mmhg, log.pressure_mmhg]),
        ),
    )


def one_after_another(first: Recording, second: Recording) -> tuple[Recording, float]:
    """Two measurements in one recording, and how far the second one is moved."""
    assert first.rate_hz == second.rate_hz
    seconds = int(np.ceil(first.samples.size / first.rate_hz))
    gap = round(seconds * first.rate_hz) - first.samples.size
    samples = np.concatenate([first.samples, np.zeros(gap, first.samples.dtype), second.samples])
    keep = first.cuff.time_s < seconds + second.cuff.time_s[0]
    log = CuffLog(
        time_s=np.concatenate([first.cuff.time_s[keep], second.cuff.time_s + seconds]),
        pressure_mmhg=np.concatenate([first.cuff.pressure_mmhg[keep], second.cuff.pressure_mmhg]),
    )
    return Recording(samples=samples, rate_hz=first.rate_hz, cuff=log), float(seconds)


def _moved(value: float | None, by: float) -> float | None:
    return None if value is None else value + by


def moved_threshold(one: Threshold, shift_s: float, shift_mmhg: float) -> Threshold:
    """A threshold on another clock or another zero."""
    return replace(
        one,
        mmhg=_moved(one.mmhg, shift_mmhg),
        low_mmhg=_moved(one.low_mmhg, shift_mmhg),
        high_mmhg=_moved(one.high_mmhg, shift_mmhg),
        time_s=_moved(one.time_s, shift_s),
    )


def assert_close(
    found: Reading,
    expected: Reading,
    *,
    shift_s: float = 0.0,
    shift_mmhg: float = 0.0,
    within_mmhg: float = 0.25,
    within_s: float = 0.020,
    step_mmhg: float = 3.0,
    within_confidence: float = 0.1,
) -> None:
    """The same judgement but for a shift and the rounding that it brings.

    Values may differ by what 20 ms of deflation amount to and little more; the
    ends of an interval by a beat's step, for they go from beat to beat.
    """
    assert (found.status, found.reasons, found.flags, found.rhythm) == (
        expected.status,
        expected.reasons,
        expected.flags,
        expected.rhythm,
    )
    for name in ("systolic", "diastolic", "first_silence", "muffling"):
        one = getattr(found, name)
        other = moved_threshold(getattr(expected, name), shift_s, shift_mmhg)
        assert (name, one.state, one.reason) == (name, other.state, other.reason)
        for field, within in (
            ("mmhg", within_mmhg),
            ("low_mmhg", step_mmhg),
            ("high_mmhg", step_mmhg),
            ("time_s", within_s),
            ("confidence", within_confidence),
        ):
            _near(f"{name}.{field}", getattr(one, field), getattr(other, field), within)
    assert len(found.gaps) == len(expected.gaps)
    assert len(found.beats) == len(expected.beats)
    for beat, other_beat in zip(found.beats, expected.beats, strict=True):
        _near_beat(beat, other_beat, shift_s, shift_mmhg, within_s, within_mmhg)


def _near_beat(
    found: Beat,
    expected: Beat,
    shift_s: float,
    shift_mmhg: float,
    within_s: float,
    within_mmhg: float,
) -> None:
    # The place of a silent beat is loosely determined.
    if expected.heard > 0.9:
        _near("beat.time_s", found.time_s, expected.time_s + shift_s, within_s)
        _near("beat.cuff_mmhg", found.cuff_mmhg, expected.cuff_mmhg + shift_mmhg, within_mmhg)
        assert found.heard > 0.5


def _near(name: str, found: float | None, expected: float | None, within: float) -> None:
    assert (name, found is None) == (name, expected is None)
    if found is not None and expected is not None:
        assert abs(found - expected) <= within + 1e-9, f"{name}: {found} instead of {expected}"
