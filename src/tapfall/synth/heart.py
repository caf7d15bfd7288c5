"""Heart sounds conducted to the arm: locked to the beat, blind to the cuff."""

from __future__ import annotations

import numpy as np

from tapfall.model import FloatArray
from tapfall.synth.rhythm import Beats, Breath
from tapfall.synth.scenario import Room
from tapfall.synth.streams import stream
from tapfall.synth.tracks import add_at

#: Widths of the first and second sound's envelopes (standard deviation; our choice).
WIDTHS_S = (0.022, 0.014)

_LENGTH_S, _CENTRE_S = 0.16, 0.07


def s1_gain(frequency_hz: FloatArray, slope_db: float, corner_hz: float) -> FloatArray:
    """Spectrum of the first sound: a fall of ``slope_db`` per octave above the corner."""
    octaves = np.log2(np.maximum(frequency_hz, 1.0) / corner_hz)
    db = np.where(octaves > 0, -slope_db * octaves, 12.0 * octaves)
    return np.where(frequency_hz > 0, 10 ** (db / 20), 0.0)


def s2_gain(frequency_hz: FloatArray, corner_hz: float) -> FloatArray:
    """Spectrum of the second sound: -6 dB per octave to 80 Hz, flat to 140 Hz (Sakai 1971)."""
    octaves = np.log2(np.clip(frequency_hz, 1.0, 80.0) / corner_hz)
    db = np.where(octaves > 0, -6.0 * octaves, 12.0 * octaves)
    db = db - 12.0 * np.log2(np.maximum(frequency_hz, 140.0) / 140.0)
    return np.where(frequency_hz > 0, 10 ** (db / 20), 0.0)


def _bursts(
    n: int, after_s: FloatArray, gain: FloatArray, rng: np.random.Generator, width_s: float
) -> FloatArray:
    """One own waveform with 20 % change from beat to beat, shape ``(n, samples)``.

    ``after_s`` is the time of each sample after the sound's centre.
    """
    length = after_s.size
    window = np.exp(-0.5 * (after_s / width_s) ** 2)
    raw = rng.standard_normal(length) + 0.2 * rng.standard_normal((n, length))
    shaped = np.fft.irfft(np.fft.rfft(raw * window, axis=1) * gain, n=length, axis=1)
    shaped *= np.hanning(length)
    rms = np.sqrt(np.mean(shaped**2))
    scaled: FloatArray = shaped / (rms + 1e-15)
    return scaled


def heart_sounds(
    room: Room, beats: Beats, breath: Breath, rate_hz: float, n: int, seed: int
) -> FloatArray:
    """First and second heart sounds of every beat, arbitrary level, shape ``(n,)``.

    Loudness swings with the breath; cuff pressure changes nothing.
    """
    rng = stream(seed, "heart")
    longer = room.heart_length
    length = 2 * int(_LENGTH_S * max(longer, 1.0) * rate_hz / 2)
    centre = round(_CENTRE_S / _LENGTH_S * length)
    after_s = (np.arange(length) - centre) / rate_hz
    frequency_hz = np.fft.rfftfreq(length, 1 / rate_hz).astype(np.float64)
    corner_hz = room.heart_corner_hz
    m = beats.foot_s.size
    gains = s1_gain(frequency_hz, room.s1_slope_db, corner_hz), s2_gain(frequency_hz, corner_hz)
    first, second = (
        _bursts(m, after_s, gain, rng, longer * width_s)
        for gain, width_s in zip(gains, WIDTHS_S, strict=True)
    )
    level = 10 ** ((room.heart_breath_db * breath.at(beats.foot_s) + rng.normal(0, 0.7, m)) / 20)
    wander_s = rng.normal(0, 0.003, (2, m))
    s1_s = beats.foot_s - room.s1_before_s + wander_s[0]
    s2_s = beats.foot_s + room.s2_after_s + wander_s[1]
    out = np.zeros(n)
    loud = 10 ** (room.s2_db / 20)
    for i in range(m):
        for at_s, wave in ((s1_s[i], first[i]), (s2_s[i], loud * second[i])):
            add_at(out, int(at_s * rate_hz) - centre, level[i] * wave)
    return out
