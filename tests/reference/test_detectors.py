"""General-purpose onset detectors agree with the ear where the sounds are clear.

Source of the detectors: scipy (Hilbert envelope, ``find_peaks``) and librosa
(``onset.onset_detect``), general-purpose open-source libraries that know
nothing of blood pressure.  On sounds far above the noise their first and last
event while the cuff falls, read from the log by a straight line through whole
beats, must lie within one beat's step of the reading.
"""

from __future__ import annotations

import librosa
import numpy as np
import pytest
from scipy import signal

from tapfall.model import Status
from tapfall.synth import Simulation
from tests.reference.scenes import RATE_HZ, clean, clean_reading, mean_mmhg

SEEDS = range(40, 46)
#: Beats per minute and mmHg/s.
PACES = ((70.0, 3.0), (60.0, 2.0), (88.0, 4.0))
#: What a beat's place on a straight line and on the ear's trend may differ by.
TREND_MMHG = 0.8


def band(samples: np.ndarray) -> np.ndarray:
    """The audible part of the sounds."""
    sos = signal.butter(4, [35.0, 400.0], "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(signal.sosfiltfilt(sos, samples.astype(np.float64)))


def falling_s(simulation: Simulation) -> tuple[float, float]:
    """Times between which the log falls, release left out, by its highest and lowest rows."""
    log = simulation.recording.cuff
    top = log.time_s[log.pressure_mmhg > 146.0]
    above_end = log.time_s[log.pressure_mmhg > 53.0]
    return float(top[0]) + 0.2, float(above_end[-1]) - 0.2


def by_scipy(simulation: Simulation) -> np.ndarray:
    """Peaks of the envelope above a fifth of its highest."""
    envelope = np.abs(signal.hilbert(band(simulation.recording.samples)))
    slow = signal.butter(2, 20.0, fs=RATE_HZ, output="sos")
    envelope = signal.sosfiltfilt(slow, envelope)
    first, last = (round(t * RATE_HZ) for t in falling_s(simulation))
    inside = envelope[first:last]
    peaks, _ = signal.find_peaks(inside, height=0.2 * inside.max(), distance=round(0.4 * RATE_HZ))
    return (peaks + first) / RATE_HZ


def by_librosa(simulation: Simulation) -> np.ndarray:
    """Onsets of spectral flux, 8 ms apart; those of noise are quieter by far and left out."""
    first, last = (round(t * RATE_HZ) for t in falling_s(simulation))
    sound = band(simulation.recording.samples)[first:last].astype(np.float32)
    strength = librosa.onset.onset_strength(
        y=sound, sr=RATE_HZ, hop_length=32, n_fft=256, n_mels=16, fmax=500.0
    )
    onsets_s = librosa.onset.onset_detect(
        onset_envelope=strength, sr=RATE_HZ, hop_length=32, units="time", delta=0.03
    )
    parts = [sound[round(t * RATE_HZ) : round((t + 0.08) * RATE_HZ)] for t in onsets_s]
    energy = np.array([float(np.sum(part**2)) for part in parts])
    loud_s = onsets_s[energy > 0.02 * energy.max()]
    new = np.concatenate([[True], np.diff(loud_s) > 0.3])
    return loud_s[new] + first / RATE_HZ


DETECTORS = {"scipy": by_scipy, "librosa": by_librosa}


@pytest.mark.parametrize("pace", PACES)
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("detector", DETECTORS)
def test_first_and_last_event_agree_within_a_beat_step(
    detector: str, seed: int, pace: tuple[float, float]
) -> None:
    simulation, reading = clean(seed, *pace), clean_reading(seed, *pace)
    events_s = DETECTORS[detector](simulation)
    assert events_s.size >= 6
    rate_per_min, fall = pace
    interval_s = 60 / rate_per_min
    step_mmhg = fall * interval_s
    log = simulation.recording.cuff
    first, last = (mean_mmhg(log, float(events_s[i]), interval_s) for i in (0, -1))
    assert reading.systolic.mmhg == pytest.approx(first, abs=step_mmhg + TREND_MMHG)
    assert reading.diastolic.mmhg == pytest.approx(last, abs=step_mmhg + TREND_MMHG)


@pytest.mark.parametrize("detector", DETECTORS)
def test_the_sounding_beats_are_the_events(detector: str) -> None:
    for seed in SEEDS:
        events_s = DETECTORS[detector](clean(seed))
        heard_s = np.array([b.time_s for b in clean_reading(seed).beats if b.heard >= 0.5])
        apart_s = np.abs(events_s[:, None] - heard_s[None, :])
        assert np.mean(apart_s.min(axis=1) < 0.1) >= 0.9
        assert np.mean(apart_s.min(axis=0) < 0.1) >= 0.9


def test_clean_recordings_need_no_review() -> None:
    statuses = [clean_reading(seed, *pace).status for seed in SEEDS for pace in PACES]
    assert statuses.count(Status.OK) >= 0.8 * len(statuses)
