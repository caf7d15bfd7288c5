"""Noises of the room, each of arbitrary level: the caller sets the ratio."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import gcd
from pathlib import Path

import numpy as np
from scipy import signal

from tapfall.errors import ScenarioError
from tapfall.model import FloatArray
from tapfall.synth.filters import band
from tapfall.synth.rhythm import Breath
from tapfall.synth.scenario import Noise

#: Largest sample of a noise file over full scale: its energy is still a number (our choice).
LARGEST_SAMPLE = 1e12


def pink(n: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Noise that falls 3 dB per octave: three poles and zeros over white noise."""
    white = rng.standard_normal(n)
    poles = np.exp(-2 * np.pi * np.array([3.0, 48.0, 770.0]) / rate_hz)
    zeros = np.exp(-2 * np.pi * np.array([12.0, 192.0, 3080.0]) / rate_hz)
    out: FloatArray = signal.lfilter(np.poly(zeros), np.poly(poles), white)
    return out


def _events(
    n: int, rate_hz: float, rng: np.random.Generator, per_s: float, low_s: float, high_s: float
) -> list[tuple[int, int, float]]:
    """Start, length (samples) and size of bursts at random times."""
    count = max(int(rng.poisson(per_s * n / rate_hz)), 2)
    starts = rng.integers(0, n, count)
    lengths = (np.exp(rng.uniform(np.log(low_s), np.log(high_s), count)) * rate_hz).astype(int)
    sizes = np.exp(0.6 * rng.standard_normal(count))
    return [
        (int(a), int(min(b, n - a)), float(c))
        for a, b, c in zip(starts, lengths, sizes, strict=True)
    ]


def _friction(n: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Rubbing: bursts of 50-1000 Hz, each with its own roughness."""
    raw = band(rng.standard_normal(n), 50, 1000, rate_hz)
    size = np.full(n, 0.03)
    for start, length, loud in _events(n, rate_hz, rng, 0.7, 0.06, 0.9):
        rough = np.repeat(rng.random(length // 40 + 1), 40)[:length]
        size[start : start + length] += (
            loud * np.sin(np.pi * np.arange(length) / length) * (0.3 + rough)
        )
    out: FloatArray = raw * size
    return out


def _knocks(n: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Knocks on the tubing: strong below 30 Hz, with a short click above."""
    out = np.zeros(n)
    for start, _, loud in _events(n, rate_hz, rng, 0.6, 0.1, 0.2):
        time_s = np.arange(min(int(0.3 * rate_hz), n - start)) / rate_hz
        low_hz, high_hz = rng.uniform(8, 28), rng.uniform(50, 220)
        out[start : start + time_s.size] += loud * (
            np.exp(-time_s / 0.05) * np.sin(2 * np.pi * low_hz * time_s)
            + 0.25 * np.exp(-time_s / 0.012) * np.sin(2 * np.pi * high_hz * time_s)
        )
    return out + 1e-3 * rng.standard_normal(n)


def _speech(n: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """A voice: gliding pitch with formants, syllables and pauses."""
    time_s = np.arange(n) / rate_hz
    syllables = int(n / rate_hz * 4) + 4
    corners_s = np.cumsum(rng.uniform(0.12, 0.32, 2 * syllables))
    pitch = rng.uniform(95, 210)
    hz = pitch * (1 + 0.12 * np.interp(time_s, corners_s, rng.standard_normal(corners_s.size)))
    loud = np.abs(rng.standard_normal(corners_s.size)) * (rng.random(corners_s.size) > 0.3)
    pause = np.interp(
        time_s,
        np.arange(0, time_s[-1] + 2, 1.5),
        rng.random(np.arange(0, time_s[-1] + 2, 1.5).size) > 0.3,
    )
    size = np.interp(time_s, corners_s, loud) * np.clip(pause, 0, 1)
    buzz = 2 * np.mod(np.cumsum(hz) / rate_hz, 1.0) - 1
    buzz = buzz * size + 0.05 * rng.standard_normal(n) * size
    out: FloatArray = buzz * 0.15
    for low, high in ((250, 750), (900, 1700)):
        out = out + band(buzz, low, high, rate_hz, 1)
    return out


def _hum(n: int, rate_hz: float, rng: np.random.Generator, tone_hz: float) -> FloatArray:
    """Mains: the tone and its harmonics, drifting a little."""
    time_s = np.arange(n) / rate_hz
    turns = 2 * np.pi * tone_hz * (1 + rng.uniform(-0.002, 0.002)) * time_s
    out = np.zeros(n)
    for k in range(1, 8):
        if k * tone_hz < 0.45 * rate_hz:
            out += rng.uniform(0.2, 1) / k**0.8 * np.sin(k * turns + rng.uniform(0, 2 * np.pi))
    return out


def _breath(n: int, rate_hz: float, rng: np.random.Generator, breath: Breath) -> FloatArray:
    """Breath: 100-1000 Hz, in and out once a breath, in louder than out."""
    raw = band(rng.standard_normal(n), 100, 1000, rate_hz, 1)
    wave = breath.at(np.arange(n) / rate_hz)
    turn = np.gradient(wave)
    turn = turn / (np.abs(turn).max() + 1e-15)
    out: FloatArray = raw * (0.05 + np.where(turn > 0, turn, -0.6 * turn) ** 1.5)
    return out


def _pump(n: int, rate_hz: float, rng: np.random.Generator, tone_hz: float) -> FloatArray:
    """A pump: its rate with harmonics, and rush."""
    return _hum(n, rate_hz, rng, tone_hz) + 0.5 * band(rng.standard_normal(n), 40, 800, rate_hz, 1)


def _check_samples(path: str, samples: FloatArray) -> None:
    """Raise where samples, shape ``(n, channels)``, are not finite or too large."""
    with np.errstate(invalid="ignore"):
        row, channel = np.nonzero(~(np.abs(samples) <= LARGEST_SAMPLE))
    if row.size:
        allowed = f"finite samples of at most {LARGEST_SAMPLE:g}"
        raise ScenarioError(
            f"noise.path: found {path!r}, whose sample {row[0] + 1} is "
            f"{samples[row[0], channel[0]]:g}; allowed {allowed}"
        )


@lru_cache(maxsize=32)
def _read(path: str, rate_hz: int) -> FloatArray:
    """A file as one channel at a rate; the last few are remembered."""
    import soundfile

    try:
        if Path(path).exists() and not Path(path).is_file():
            raise OSError("no regular file")  # a pipe would be waited for
        samples, found_hz = soundfile.read(path, dtype="float64", always_2d=True)
    except (OSError, ValueError, soundfile.LibsndfileError) as error:  # also of a zero byte
        raise ScenarioError(
            f"noise.path: found {path!r}, which cannot be read ({error}); allowed an audio file"
        ) from error
    _check_samples(path, samples)
    mono = samples.mean(axis=1)
    if mono.size < 2 or not np.any(mono):
        raise ScenarioError(
            f"noise.path: found {path!r}, which is silent; allowed an audio file with sound"
        )
    common = gcd(rate_hz, int(found_hz))
    out: FloatArray = signal.resample_poly(mono, rate_hz // common, int(found_hz) // common)
    return out


def _file(n: int, rate_hz: float, rng: np.random.Generator, path: str) -> FloatArray:
    """A file: repeated from a random start, or, if short, struck at random times."""
    wave = _read(str(Path(path)), round(rate_hz))
    if wave.size >= 2.5 * rate_hz:
        return np.resize(np.roll(wave, -int(rng.integers(0, wave.size))), n)
    out = 1e-3 * float(np.sqrt(np.mean(wave**2))) * rng.standard_normal(n)
    for start, _, loud in _events(n, rate_hz, rng, 0.5, 0.1, 0.2):
        length = min(wave.size, n - start)
        out[start : start + length] += loud * wave[:length]
    return out


def room_noise(
    noise: Noise, n: int, rate_hz: float, rng: np.random.Generator, breath: Breath
) -> FloatArray:
    """Return one noise of the room (all kinds but ``heart``), shape ``(n,)``.

    Parameters
    ----------
    noise
        Its kind, tone or file; its ratio is not applied here.
    n, rate_hz
        Samples and sampling rate.
    rng
        The noise's own stream.
    breath
        The person's breath.

    Returns
    -------
    ndarray
        Samples of arbitrary level.

    Raises
    ------
    ScenarioError
        The file cannot be read, is silent, or holds what is no sound.

    Examples
    --------
    >>> rng = np.random.Generator(np.random.PCG64(1))
    >>> room_noise(Noise(kind="hum"), 8, 4000.0, rng, Breath(rate_hz=0.25, phase_rad=0.0)).shape
    (8,)
    """
    makers: dict[str, Callable[[], FloatArray]] = {
        "pink": lambda: pink(n, rate_hz, rng),
        "white": lambda: rng.standard_normal(n),
        "breath": lambda: _breath(n, rate_hz, rng, breath),
        "speech": lambda: _speech(n, rate_hz, rng),
        "friction": lambda: _friction(n, rate_hz, rng),
        "knocks": lambda: _knocks(n, rate_hz, rng),
        "hum": lambda: _hum(n, rate_hz, rng, noise.tone_hz),
        "valve_hiss": lambda: band(rng.standard_normal(n), 200, 1500, rate_hz, 1),
        "pump": lambda: _pump(n, rate_hz, rng, noise.tone_hz),
        "file": lambda: _file(n, rate_hz, rng, noise.path),
    }
    return makers[noise.kind]()
