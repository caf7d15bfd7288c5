"""Noises of the room, their ratio to the sounds, and the sensor."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy import signal

from tapfall.errors import ScenarioError
from tapfall.synth import Cuff, Noise, Room, Scenario, Sensor, Sound, load_builtin, simulate
from tapfall.synth.noise import room_noise
from tapfall.synth.render import Layers, render
from tapfall.synth.rhythm import Breath
from tapfall.synth.scenario import NOISES
from tapfall.synth.sensor import record, respond

RATE_HZ = 4000.0
BREATH = Breath(rate_hz=0.25, phase_rad=0.3)


def make(noise: Noise, seconds: float = 60.0, seed: int = 1) -> NDArray[np.float64]:
    rng = np.random.Generator(np.random.PCG64(seed))
    return room_noise(noise, int(seconds * RATE_HZ), RATE_HZ, rng, BREATH)


def share(track: NDArray[np.float64], low_hz: float, high_hz: float) -> float:
    """Share of the power between two frequencies."""
    hz, power = signal.welch(track, RATE_HZ, nperseg=8192)
    return float(power[(hz >= low_hz) & (hz < high_hz)].sum() / power.sum())


def in_band(track: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """25-250 Hz, written anew for this test."""
    low, high = (2 * edge / rate_hz for edge in (25.0, 250.0))
    numerator_poles = signal.iirfilter(4, [low, high], btype="band", ftype="butter", output="sos")
    return np.asarray(signal.sosfilt(numerator_poles, track))


def levels_db(layers: Layers, onsets_s: list[float]) -> NDArray[np.float64]:
    """Largest rms over 60 ms in band after each onset, dB."""
    rate_hz = layers.rate_hz
    width = int(0.06 * rate_hz)
    power = in_band(layers.sounds, rate_hz) ** 2
    moving = np.convolve(power, np.ones(width) / width, mode="valid") + 1e-30
    peaks = [moving[int(t * rate_hz) : int((t + 0.2) * rate_hz)].max() for t in onsets_s]
    return 10 * np.log10(np.array(peaks))


def measured_db(layers: Layers, noise: NDArray[np.float64], onsets_s: list[float]) -> float:
    """Ratio by its definition: loudest tenth of the sounds over 60 ms to noise while falling."""
    rate_hz = layers.rate_hz
    levels = np.sort(10 ** (levels_db(layers, onsets_s) / 10))
    loudest = np.mean(levels[-max(round(len(levels) / 10), 1) :])
    start, stop = (
        int(t * rate_hz) for t in (layers.outline.trend.fall_s, layers.outline.trend.release_s)
    )
    quiet = np.mean(in_band(noise, rate_hz)[start:stop] ** 2)
    return float(10 * np.log10(loudest / quiet))


@pytest.mark.parametrize("kind", [kind for kind in NOISES if kind != "file"])
@pytest.mark.parametrize("snr_db", [0.0, 14.0])
def test_ratio_set_is_ratio_measured(kind: str, snr_db: float) -> None:
    scenario = Scenario(seed=8, room=Room(noises=(Noise(kind=kind, snr_db=snr_db),)))
    truth, layers = simulate(scenario).truth, render(scenario)
    onsets_s = [beat.time_s for beat in truth.beats if beat.audible_in_quiet]
    assert measured_db(layers, layers.noises[0], onsets_s) == pytest.approx(snr_db, abs=0.3)


def test_truth_counts_everything_but_the_sounds_as_noise() -> None:
    scenario = load_builtin("ward")
    truth, layers = simulate(scenario).truth, render(scenario)
    onsets_s = [beat.time_s for beat in truth.beats if beat.audible_in_quiet]
    noise = layers.thumps + layers.hand + sum(layers.noises)
    assert measured_db(layers, noise, onsets_s) == pytest.approx(truth.signal_to_noise_db, abs=0.3)


def test_noise_keeps_its_level_where_the_sounds_are_switched_off() -> None:
    on = Scenario(seed=8, room=Room(noises=(Noise(snr_db=10.0),)))
    off = replace(on, sound=Sound(present=False))
    assert np.array_equal(render(on).noises[0], render(off).noises[0])
    assert not np.any(render(off).sounds)
    assert simulate(off).truth.signal_to_noise_db is None


def test_sounds_far_below_the_loudest_are_not_heard() -> None:
    sound = Sound(first_db=-40.0, last_db=-40.0, muffling_mmhg=15.0)
    scenario = Scenario(seed=4, sound=sound, room=Room(noises=()))
    truth, layers = simulate(scenario).truth, render(scenario)
    level = levels_db(layers, [beat.time_s for beat in truth.beats])
    power = np.sort(10 ** (level[level > -200] / 10))
    loudest_db = 10 * np.log10(np.mean(power[-round(power.size / 10) :]))
    below_db = loudest_db - level
    heard = np.array([beat.audible_in_quiet for beat in truth.beats])
    clear = np.abs(below_db - 28) > 0.3
    assert np.array_equal(heard[clear], below_db[clear] < 28)
    faint = (below_db > 28) & (below_db < 60)
    assert faint.sum() >= 2


@pytest.mark.parametrize("name", ["noisy", "friction", "speech"])
def test_a_listener_in_noise_hears_what_is_as_loud_as_the_noise(name: str) -> None:
    scenario = load_builtin(name)
    truth, layers = simulate(scenario).truth, render(scenario)
    rate_hz = layers.rate_hz
    rest = in_band(layers.thumps + layers.hand + sum(layers.noises), rate_hz)
    beats = [beat for beat in truth.beats if beat.audible_in_quiet]
    clear = 0
    for beat, level_db in zip(beats, levels_db(layers, [b.time_s for b in beats]), strict=True):
        at = int(beat.time_s * rate_hz)
        around = rest[int(at - rate_hz) : int(at + rate_hz)]
        above_db = level_db - 10 * np.log10(np.mean(around**2))
        if abs(above_db) > 0.3:
            clear += 1
            assert beat.audible_in_noise == (above_db > 0)
    assert clear > 10


def test_pink_falls_3_db_per_octave() -> None:
    hz, power = signal.welch(make(Noise(kind="pink"), 240.0), RATE_HZ, nperseg=8192)
    bands = [power[(hz >= a) & (hz < 2 * a)].mean() for a in (20.0, 40.0, 80.0, 160.0, 320.0)]
    slope = np.polyfit(np.arange(5), 10 * np.log10(bands), 1)[0]
    assert slope == pytest.approx(-3.01, abs=0.5)


@pytest.mark.parametrize(
    ("kind", "low_hz", "high_hz", "least"),
    [
        ("breath", 70, 1400, 0.85),
        ("friction", 45, 1100, 0.85),
        ("knocks", 4, 32, 0.6),
        ("speech", 80, 2000, 0.8),
        ("valve_hiss", 150, 2000, 0.85),
        ("pump", 30, 1000, 0.85),
    ],
)
def test_each_kind_has_its_band(kind: str, low_hz: float, high_hz: float, least: float) -> None:
    assert share(make(Noise(kind=kind)), low_hz, high_hz) > least


@pytest.mark.parametrize("tone_hz", [50.0, 60.0])
def test_hum_is_lines(tone_hz: float) -> None:
    track = make(Noise(kind="hum", tone_hz=tone_hz))
    lines = sum(share(track, k * tone_hz - 3, k * tone_hz + 3) for k in range(1, 8))
    assert lines > 0.98
    assert share(track, 2 * tone_hz - 3, 2 * tone_hz + 3) > 1e-3


def test_breath_comes_and_goes_with_the_breath() -> None:
    power = make(Noise(kind="breath")).reshape(-1, 400) ** 2
    loud = power.mean(axis=1)
    spectrum = np.abs(np.fft.rfft(loud - loud.mean()))
    hz = np.fft.rfftfreq(loud.size, 0.1)
    peak_hz = hz[spectrum[hz < 1].argmax()]
    assert peak_hz in (pytest.approx(0.25, abs=0.02), pytest.approx(0.5, abs=0.02))
    assert spectrum[np.abs(hz - 0.25).argmin()] > 5 * np.median(spectrum)


@pytest.mark.parametrize("kind", ["friction", "knocks", "speech"])
def test_bursts_leave_pauses(kind: str) -> None:
    power = (make(Noise(kind=kind)).reshape(-1, 400) ** 2).mean(axis=1)
    assert np.percentile(power, 10) < 0.05 * power.mean()


def test_a_file_is_resampled_and_repeated(tmp_path: Path) -> None:
    path = str(tmp_path / "tone.wav")
    soundfile.write(path, np.sin(2 * np.pi * 100 * np.arange(3 * 8000) / 8000), 8000)
    track = make(Noise(kind="file", path=path), 10.0)
    assert share(track, 95, 105) > 0.95
    short = str(tmp_path / "knock.wav")
    soundfile.write(short, np.hanning(800) * np.sin(np.arange(800)), 8000)
    power = (make(Noise(kind="file", path=short), 40.0).reshape(-1, 400) ** 2).mean(axis=1)
    assert np.median(power) < 0.01 * power.max()


def test_a_silent_or_missing_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "none.wav"
    with pytest.raises(ScenarioError, match=r"which cannot be read .* allowed an audio file"):
        make(Noise(kind="file", path=str(path)))
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(ScenarioError, match=r"which cannot be read \(no regular file\)"):
        make(Noise(kind="file", path=str(tmp_path / "pipe.wav")))
    soundfile.write(path, np.zeros(100), 8000)
    with pytest.raises(ScenarioError, match="which is silent; allowed an audio file with sound"):
        make(Noise(kind="file", path=str(path)))


@pytest.mark.parametrize(
    ("sample", "shown"), [(np.nan, "nan"), (-np.inf, "-inf"), (1e300, r"1e\+300")]
)
@pytest.mark.parametrize("channel", [0, 1])
def test_a_file_of_what_is_no_sound_is_refused(
    tmp_path: Path, sample: float, shown: str, channel: int
) -> None:
    path = tmp_path / "odd.wav"
    samples = np.random.default_rng(1).normal(0, 0.1, (30_000, 2))
    samples[17, channel] = sample
    soundfile.write(path, samples, 8000, subtype="DOUBLE")
    told = rf"odd\.wav', whose sample 18 is {shown}; allowed finite samples of at most 1e\+12$"
    with pytest.raises(ScenarioError, match=rf"^noise\.path: found '.*{told}"):
        make(Noise(kind="file", path=str(path)))


def test_a_name_with_a_zero_byte_is_refused() -> None:
    with pytest.raises(ScenarioError, match=r"^noise\.path: found 'a\\x00b', which cannot be read"):
        make(Noise(kind="file", path="a\0b"))


def test_inflation_noise_starts_with_its_offset() -> None:
    for kind in ("bulb", "pump"):
        for offset_s in (-1.5, 0.0, 1.0):
            room = Room(noises=(), inflation_noise_offset_s=offset_s)
            layers = render(Scenario(seed=2, cuff=Cuff(inflation=kind), room=room))
            first = int(np.flatnonzero(layers.hand)[0]) / RATE_HZ
            rise_s = layers.outline.trend.time_s[
                np.flatnonzero(layers.outline.trend.pressure_mmhg)[0] - 1
            ]
            assert first - rise_s == pytest.approx(offset_s, abs=0.01)


def test_responses_favour_their_band() -> None:
    white = make(Noise(kind="white"), 20.0)
    bell, diaphragm = (respond(Sensor(response=kind), white) for kind in ("bell", "diaphragm"))
    assert share(bell, 20, 200) > 1.5 * share(diaphragm, 20, 200)


def test_sensor_clips_and_rounds() -> None:
    ramp = np.linspace(-2, 2, 4001)
    clipped = record(Sensor(clip_share=0.25), ramp)
    assert clipped.dtype == np.float32
    assert (clipped.min(), clipped.max()) == (-0.25, 0.25)
    steps = record(Sensor(bits=8.0), ramp) * 128
    assert np.array_equal(steps, np.round(steps))
    assert (steps.min(), steps.max()) == (-128, 127)


def test_automatic_gain_lifts_quiet_stretches() -> None:
    track = 0.1 * make(Noise(kind="white"), 40.0)
    track[: track.size // 2] *= 0.1
    lifted = record(Sensor(gain_swing_db=12.0, gain_s=1.0), track)
    gain = np.abs(lifted).reshape(8, -1).mean(axis=1) / np.abs(track).reshape(8, -1).mean(axis=1)
    assert 20 * np.log10(gain[3] / gain[6]) == pytest.approx(12.0, abs=1.5)


def test_weak_sounds_peak_at_one_percent_in_whole_steps() -> None:
    scenario = load_builtin("weak")
    assert np.abs(render(scenario).sounds).max() == pytest.approx(0.01)
    steps = simulate(scenario).recording.samples.astype(np.float64) * 32768
    assert np.array_equal(steps, np.round(steps))
