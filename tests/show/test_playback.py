"""The sound in the page of a reading: level, peaks, length and size."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from tapfall.model import CuffLog, Recording
from tapfall.show import playback
from tapfall.show.report import report_html
from tests.show import made


@pytest.fixture(scope="module")
def recording() -> Recording:
    return made.recording(lag_s=0.4)


def sound_of(address: str) -> tuple[np.ndarray, int]:
    kind, _, data = address.partition(",")
    assert kind == "data:audio/wav;base64"
    return soundfile.read(io.BytesIO(base64.b64decode(data, validate=True)))


def noise(*, seconds: float, rate_hz: float = 8000.0, level: float = 0.05) -> Recording:
    """Steady noise under a cuff that rises at 40 % and rests from 60 % of the time."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, seconds, 0.5)
    mmhg = np.where((time_s >= 0.4 * seconds) & (time_s < 0.6 * seconds), 120.0, 0.0)
    return Recording(
        samples=(level * rng.standard_normal(int(seconds * rate_hz))).astype(np.float32),
        rate_hz=rate_hz,
        cuff=CuffLog(time_s=time_s, pressure_mmhg=mmhg),
    )


def test_the_sound_in_the_page_is_limited(recording: Recording) -> None:
    loud = recording.samples.copy()
    loud[120_000:120_400] = 1.0
    loud[60_000] = -1.0
    found = playback.playback_of(replace(recording, samples=loud), made.ordinary())
    assert found is not None
    sound, rate_hz = sound_of(found.uri)
    assert rate_hz == playback.RATE_HZ
    assert sound.size == 56 * playback.RATE_HZ
    assert 0.2 < np.abs(sound).max() <= playback.CEILING + 1e-4
    assert 0.0 < found.limited_share < 0.05
    assert found.whole


@pytest.mark.parametrize("scale", [1.0, 0.25, 6.0])
def test_the_taps_have_one_level(recording: Recording, scale: float) -> None:
    found = playback.playback_of(
        replace(recording, samples=recording.samples * np.float32(scale)), made.ordinary()
    )
    assert found is not None
    sound, _ = sound_of(found.uri)
    taps = sound[int(10 * playback.RATE_HZ) : int(48 * playback.RATE_HZ)]
    level = float(np.percentile(np.abs(taps), 99.5))
    assert level == pytest.approx(playback.USUAL, rel=0.25)


def test_faint_noise_is_not_raised_without_end() -> None:
    found = playback.playback_of(noise(seconds=5.0, level=1e-5), made.unreadable())
    assert found is not None
    assert found.gain_db == playback.MOST_GAIN_DB


def test_peaks_are_held_without_an_edge() -> None:
    time_s = np.arange(8000) / 8000
    swell = np.where((time_s > 0.4) & (time_s < 0.6), 1.0, 0.2)
    sound = (swell * np.sin(2 * np.pi * 100 * time_s)).astype(np.float32)
    held, share = playback.limited(sound)
    assert np.abs(held).max() <= playback.CEILING
    np.testing.assert_array_equal(held[:2800], sound[:2800])
    assert 0.2 < share < 0.3
    # A clipped sine would have harmonics; a turned-down one has none to speak of.
    spectrum = np.abs(np.fft.rfft(held[3400:4600] * np.hanning(1200)))
    assert spectrum[43:47].max() < 0.01 * spectrum[13:18].max()


@pytest.mark.parametrize("dtype", [np.int16, np.int32])
def test_whole_numbers_are_played_at_their_scale(recording: Recording, dtype) -> None:
    full = np.iinfo(dtype).max
    whole = (recording.samples.astype(np.float64) * full).astype(dtype)
    one = playback.playback_of(replace(recording, samples=whole), made.ordinary())
    two = playback.playback_of(recording, made.ordinary())
    assert one is not None
    assert two is not None
    assert one.gain_db == two.gain_db


def test_a_long_recording_is_trimmed_to_its_beats() -> None:
    recording = noise(seconds=200.0)
    assert playback.played_span_s(recording, made.ordinary()) == pytest.approx((6.6, 50.85))
    page = report_html(recording, made.ordinary())
    assert re.search(r"Trimmed: this is 44 s, from 6\.6 to 50\.[89] s of a recording of 200", page)
    assert "In the player the systolic beat is at 0:19 and the diastolic beat is at 0:37." in page


def test_without_beats_it_is_trimmed_to_the_cuff() -> None:
    start_s, end_s = playback.played_span_s(noise(seconds=200.0), made.unreadable())
    assert (start_s, end_s) == pytest.approx((76.5, 122.5))


def test_without_beats_and_cuff_the_beginning_is_played() -> None:
    recording = noise(seconds=200.0)
    resting = replace(recording, cuff=CuffLog(time_s=np.arange(9.0), pressure_mmhg=np.zeros(9)))
    assert playback.played_span_s(resting, made.unreadable()) == (0.0, playback.WHOLE_S)


def test_the_longest_measurement_still_fits(recording: Recording) -> None:
    beats = tuple(
        replace(made.beats()[0], time_s=100.0 + 0.3 * index, cuff_mmhg=180.0 - 0.1 * index)
        for index in range(1100)
    )
    long = noise(seconds=600.0, rate_hz=2000.0)
    found = report_html(long, replace(made.ordinary(), beats=beats))
    assert len(found.encode("utf-8")) < 8_000_000
    assert "from 97.0 to 397.0 s of a recording of 600 s" in found


def test_without_sound_there_is_no_player(recording: Recording) -> None:
    silent = replace(recording, samples=np.zeros(0, dtype=np.float32))
    assert playback.playback_of(silent, made.unreadable()) is None


def test_digital_silence_stays_silent(recording: Recording) -> None:
    silent = replace(recording, samples=np.zeros(4000, dtype=np.float32))
    found = playback.playback_of(silent, made.unreadable())
    assert found is not None
    assert found.gain_db == 0.0
    assert not sound_of(found.uri)[0].any()
