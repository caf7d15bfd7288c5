"""A scenario as separate layers of sound, before they are mixed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.synth.artery import Pressures, pressures_of
from tapfall.synth.hand import Trend, trend_of
from tapfall.synth.heart import heart_sounds
from tapfall.synth.korotkoff import Openings, openings_of, place, sounds_of, thump_of
from tapfall.synth.loudness import in_band, loudest_tenth, sound_levels
from tapfall.synth.noise import band, room_noise
from tapfall.synth.rhythm import Beats, Breath, beats_of, breath_of
from tapfall.synth.scenario import Room, Scenario
from tapfall.synth.sensor import respond
from tapfall.synth.streams import stream

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers:
    """What a scenario consists of; tracks of shape ``(n,)`` after the sensor's response.

    ``sounds`` holds the Korotkoff sounds, ``thumps`` the inaudible pulses,
    ``hand`` the noise of inflation and release, ``noises`` one track per noise
    of the room.  ``levels`` is each beat's level (largest rms over 60 ms in
    25-250 Hz, 0 where there is no sound), ``loudest`` the rms of the loudest
    tenth, which is kept as a reference where the sounds are switched off.
    """

    rate_hz: float
    breath: Breath
    beats: Beats
    pressures: Pressures
    trend: Trend
    openings: Openings
    sounds: FloatArray
    thumps: FloatArray
    hand: FloatArray
    noises: tuple[FloatArray, ...]
    levels: FloatArray
    loudest: float

    @property
    def falling(self) -> slice:
        """The samples of the deflation that is read."""
        return slice(
            int(self.trend.fall_s * self.rate_hz), int(self.trend.release_s * self.rate_hz)
        )


def _rms(samples: FloatArray) -> float:
    return float(np.sqrt(np.mean(samples**2))) if samples.size else 0.0


def _hand_noise(
    room: Room, trend: Trend, rate_hz: float, n: int, seed: int, *, pump: bool
) -> tuple[FloatArray, FloatArray]:
    """Noise of the inflation and of the release, arbitrary levels."""
    rng = stream(seed, "hand noise")
    time_s = np.arange(n) / rate_hz
    raw = band(rng.standard_normal(n), 60, 900, rate_hz, 1)
    size = np.zeros(n)
    start_s = trend.inflate_s + room.inflation_noise_offset_s
    if pump:
        size[(time_s >= start_s) & (time_s < trend.inflated_s)] = 1.0
        hz = float(rng.uniform(40, 90))
        raw = raw / (_rms(raw) + 1e-15) + np.sin(2 * np.pi * hz * time_s)
    else:
        for begun_s in trend.strokes_s + room.inflation_noise_offset_s:
            length_s = rng.uniform(0.15, 0.4)
            share = np.clip((time_s - begun_s) / length_s, 0, 1)
            size += rng.uniform(0.5, 1.2) * np.sin(np.pi * share)
    hiss_s = time_s - trend.release_s
    fade = np.where(hiss_s >= 0, np.exp(-np.maximum(hiss_s, 0) / 0.6), 0.0)
    release = band(rng.standard_normal(n), 100, 1500, rate_hz, 1) * fade
    return raw * size, release


def _scaled(track: FloatArray, rate_hz: float, want: float, window: slice) -> FloatArray:
    """Scale so that the rms in band over a window is ``want``."""
    found = _rms(in_band(track, rate_hz)[window])
    return track * (want / found) if found > 0 else track


def _active(track: FloatArray) -> slice:
    on = np.flatnonzero(track)
    return slice(int(on[0]), int(on[-1]) + 1) if on.size else slice(0, 0)


def render(scenario: Scenario) -> Layers:
    """Simulate every part of a scenario and keep the parts apart.

    Parameters
    ----------
    scenario
        What to simulate.

    Returns
    -------
    Layers
        Beats, pressures, cuff trend and tracks.
    """
    person, sound, sensor, room = scenario.person, scenario.sound, scenario.sensor, scenario.room
    seed, rate_hz = scenario.seed, float(sensor.rate_hz)
    trend = trend_of(scenario.cuff, seed)
    n = int(trend.end_s * rate_hz)
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

    thumps = respond(sensor, thump_of(person, sound, beats, openings, rate_hz, n, seed))
    peak = 10 ** ((sound.peak_dbfs + sound.thump_db) / 20)
    thumps *= peak / (np.abs(thumps).max(initial=0.0) or 1.0)
    pump = scenario.cuff.inflation == "pump"
    inflation, release = _hand_noise(room, trend, rate_hz, n, seed, pump=pump)
    hand = np.zeros(n)
    for track, db in ((inflation, room.inflation_noise_db), (release, room.release_noise_db)):
        track = respond(sensor, track)
        want = loudest * 10 ** (db / 20)
        hand += _scaled(track, rate_hz, want, _active(track))
    falling = slice(int(trend.fall_s * rate_hz), int(trend.release_s * rate_hz))
    noises = []
    met: dict[str, int] = {}
    for noise in room.noises:
        met[noise.kind] = met.get(noise.kind, -1) + 1
        if noise.kind == "heart":
            track = heart_sounds(room, beats, breath, rate_hz, n, seed)
        else:
            rng = stream(seed, "noise", noise.kind, met[noise.kind])
            track = room_noise(noise, n, rate_hz, rng, breath)
        want = loudest * 10 ** (-noise.snr_db / 20)
        noises.append(_scaled(respond(sensor, track), rate_hz, want, falling))
    if not sound.present:
        waves, levels = waves * 0.0, levels * 0.0
    return Layers(
        rate_hz=rate_hz,
        breath=breath,
        beats=beats,
        pressures=pressures,
        trend=trend,
        openings=openings,
        sounds=place(waves, start, n),
        thumps=thumps,
        hand=hand,
        noises=tuple(noises),
        levels=levels,
        loudest=loudest,
    )
