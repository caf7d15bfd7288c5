"""A scenario as separate layers of sound, before they are mixed.

The beats and how loud each sounds (:func:`outline_of`) take an eighth of the time of the
whole; tracks of sound and noise (:func:`render`) come from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray
from tapfall.synth.artery import Pressures, pressures_of
from tapfall.synth.filters import band
from tapfall.synth.hand import Trend, trend_of
from tapfall.synth.heart import heart_sounds
from tapfall.synth.korotkoff import Openings, openings_of, place, sounds_of, thump_of
from tapfall.synth.loudness import in_band, loudest_tenth, sound_levels
from tapfall.synth.noise import room_noise
from tapfall.synth.rhythm import Beats, Breath, beats_of, breath_of
from tapfall.synth.scenario import Scenario
from tapfall.synth.sensor import respond
from tapfall.synth.streams import stream
from tapfall.synth.tracks import add_at, rms


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """Beats, pressures, and the sound of each beat alone: a scenario before its noises.

    ``waves`` are the sounding beats, shape ``(sounding, samples)``, after the sensor's
    response, and ``start`` the sample at which each begins.  ``levels`` is each beat's level
    (largest rms over 60 ms in 25-250 Hz, 0 where there is no sound), ``loudest`` the rms of
    the loudest tenth, which is kept as a reference where the sounds are switched off.
    """

    rate_hz: float
    breath: Breath
    beats: Beats
    pressures: Pressures
    trend: Trend
    openings: Openings
    waves: FloatArray
    start: NDArray[np.intp]
    levels: FloatArray
    loudest: float

    @property
    def falling(self) -> slice:
        """The samples of the deflation that is read."""
        trend = self.trend
        return slice(int(trend.fall_s * self.rate_hz), int(trend.release_s * self.rate_hz))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers:
    """What a scenario consists of; tracks of shape ``(n,)`` after the sensor's response.

    ``sounds`` holds the Korotkoff sounds, ``thumps`` the inaudible pulses,
    ``hand`` the noise of inflation and release, ``noises`` one track per noise
    of the room.
    """

    outline: Outline
    sounds: FloatArray
    thumps: FloatArray
    hand: FloatArray
    noises: tuple[FloatArray, ...]

    @property
    def rate_hz(self) -> float:
        """Sampling rate of the tracks."""
        return self.outline.rate_hz


def _stroke_noise(
    start_s: float, length_s: float, rate_hz: float, hz: float, rng: np.random.Generator
) -> FloatArray:
    """Rush of one stroke of the bulb, or rush and tone of a pump where ``hz`` is above 0."""
    time_s = start_s + np.arange(max(int(length_s * rate_hz), 8)) / rate_hz
    raw = band(rng.standard_normal(time_s.size), 60, 900, rate_hz, 1)
    if hz > 0:
        return raw / (rms(raw) + 1e-15) + np.sin(2 * np.pi * hz * time_s)
    hump: FloatArray = raw * np.sin(np.pi * np.linspace(0, 1, time_s.size))
    return rng.uniform(0.5, 1.2) * hump


def _hand_noise(scenario: Scenario, trend: Trend, n: int, loudest: float) -> FloatArray:
    """Noise of inflation and release, after the sensor's response, shape ``(n,)``."""
    sensor, room = scenario.sensor, scenario.room
    rate_hz = float(sensor.rate_hz)
    rng = stream(scenario.seed, "inflation noise")
    hz = float(rng.uniform(40, 90)) if scenario.cuff.inflation == "pump" else 0.0
    strokes = []
    for start_s, stop_s in trend.strokes_s + room.inflation_noise_offset_s:
        length_s = stop_s - start_s if hz > 0 else float(rng.uniform(0.15, 0.4))
        strokes.append((start_s, _stroke_noise(start_s, length_s, rate_hz, hz, rng)))
    rng = stream(scenario.seed, "release noise")
    hiss = band(rng.standard_normal(int(3 * rate_hz)), 100, 1500, rate_hz, 1)
    hiss *= np.exp(-np.arange(hiss.size) / rate_hz / 0.6)
    out = np.zeros(n)
    for parts, db in (
        (strokes, room.inflation_noise_db),
        ([(trend.release_s, hiss)], room.release_noise_db),
    ):
        waves = [respond(sensor, wave) for _, wave in parts]
        found = rms(np.concatenate([in_band(wave, rate_hz) for wave in waves]))
        gain = loudest * 10 ** (db / 20) / (found + 1e-15)
        for (start_s, _), wave in zip(parts, waves, strict=True):
            add_at(out, int(start_s * rate_hz), gain * wave)
    return out


def _scaled(track: FloatArray, rate_hz: float, want: float, window: slice) -> FloatArray:
    """Scale so that the rms in band over a window is ``want``."""
    found = rms(in_band(track, rate_hz)[window])
    return track * (want / found) if found > 0 else track


def outline_of(scenario: Scenario) -> Outline:
    """Simulate the beats of a scenario and the sound of each, without any noise.

    Parameters
    ----------
    scenario
        What to simulate.

    Returns
    -------
    Outline
        What :func:`render` starts from.

    Examples
    --------
    >>> outline = outline_of(Scenario(seed=1))
    >>> outline.levels.shape == outline.beats.foot_s.shape
    True
    """
    person, sound, sensor = scenario.person, scenario.sound, scenario.sensor
    seed, rate_hz = scenario.seed, float(sensor.rate_hz)
    trend = trend_of(scenario.cuff, seed)
    breath = breath_of(person, seed)
    beats = beats_of(person, breath, trend.end_s, seed)
    pressures = pressures_of(person, beats, breath, seed)
    openings = openings_of(person, sound, beats, pressures, breath, trend, seed)

    waves, index, start = sounds_of(sound, openings, rate_hz, seed)
    waves = respond(sensor, waves)
    scale = 10 ** (sound.peak_dbfs / 20) / (np.abs(waves).max(initial=0.0) or 1.0)
    waves = waves * scale
    levels = np.zeros(beats.foot_s.size)
    levels[index] = sound_levels(in_band(waves, rate_hz), rate_hz)
    onset_s = openings.onset_s
    counted = (onset_s >= trend.hold_s) & (onset_s < trend.release_s) & (levels > 0)
    loudest = loudest_tenth(levels[counted if counted.any() else levels > 0]) if index.size else 0.0
    loudest = loudest or 0.3 * 10 ** (sound.peak_dbfs / 20)
    if not sound.present:
        waves, levels = waves * 0.0, levels * 0.0
    return Outline(
        rate_hz=rate_hz,
        breath=breath,
        beats=beats,
        pressures=pressures,
        trend=trend,
        openings=openings,
        waves=waves,
        start=start,
        levels=levels,
        loudest=loudest,
    )


def render(scenario: Scenario, outline: Outline | None = None) -> Layers:
    """Simulate every part of a scenario and keep the parts apart.

    Parameters
    ----------
    scenario
        What to simulate.
    outline
        Its outline, where it is there already.

    Returns
    -------
    Layers
        Outline and tracks.
    """
    person, sound, sensor, room = scenario.person, scenario.sound, scenario.sensor, scenario.room
    seed, rate_hz = scenario.seed, float(sensor.rate_hz)
    base = outline or outline_of(scenario)
    trend, beats, loudest = base.trend, base.beats, base.loudest
    n = int(trend.end_s * rate_hz)

    thumps = respond(sensor, thump_of(person, sound, beats, base.openings, rate_hz, n, seed))
    peak = 10 ** ((sound.peak_dbfs + sound.thump_db) / 20)
    thumps *= peak / (np.abs(thumps).max(initial=0.0) or 1.0)
    hand = _hand_noise(scenario, trend, n, loudest)
    noises = []
    met: dict[str, int] = {}
    for noise in room.noises:
        met[noise.kind] = met.get(noise.kind, -1) + 1
        if noise.kind == "heart":
            track = heart_sounds(room, beats, base.breath, rate_hz, n, seed)
        else:
            rng = stream(seed, "noise", noise.kind, met[noise.kind])
            track = room_noise(noise, n, rate_hz, rng, base.breath)
        want = loudest * 10 ** (-noise.snr_db / 20)
        noises.append(_scaled(respond(sensor, track), rate_hz, want, base.falling))
    return Layers(
        outline=base,
        sounds=place(base.waves, base.start, n),
        thumps=thumps,
        hand=hand,
        noises=tuple(noises),
    )
