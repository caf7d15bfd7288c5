"""The Korotkoff sounds: level along the deflation, waveform, inaudible pulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray
from tapfall.synth.artery import Pressures, crossing_s
from tapfall.synth.filters import band
from tapfall.synth.hand import Trend
from tapfall.synth.rhythm import Beats, Breath
from tapfall.synth.scenario import Person, Sound
from tapfall.synth.streams import stream
from tapfall.synth.tracks import add_at

#: Length of the window that holds one sound, seconds.
WINDOW_S = 0.26

_COMPONENTS = 6
_SILENT_DB = -300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Openings:
    """Where and how the artery opens at each beat; all of shape ``(n,)``.

    ``onset_s`` is where the sound starts or would start, ``cuff_mmhg`` the
    true cuff pressure there, ``depth`` 0 at systolic and 1 at diastolic,
    ``muffled_from`` the depth where muffling starts,
    ``level_db`` the sound's level over the loudest (-300 where there is none),
    ``gap_db`` how far a silent gap damps it.
    """

    onset_s: FloatArray
    cuff_mmhg: FloatArray
    depth: FloatArray
    muffled_from: FloatArray
    level_db: FloatArray
    gap_db: FloatArray


def _gap_db(sound: Sound, cuff_mmhg: FloatArray) -> FloatArray:
    """Damping of the silent gap: full inside, fading over each edge."""
    if sound.gap_top_mmhg <= 0:
        return np.zeros_like(cuff_mmhg)
    inside = np.minimum(sound.gap_top_mmhg - cuff_mmhg, cuff_mmhg - sound.gap_bottom_mmhg)
    share = np.clip(inside / sound.gap_fade_mmhg, 0, 1)
    return sound.gap_depth_db * share


def openings_of(
    person: Person,
    sound: Sound,
    beats: Beats,
    pressures: Pressures,
    breath: Breath,
    trend: Trend,
    seed: int,
) -> Openings:
    """Let each pulse cross the cuff's pressure.

    Returns
    -------
    Openings
        One entry per beat, above systolic and below diastolic too.
    """
    low, high = pressures.diastolic_mmhg, pressures.systolic_mmhg
    cuff_mmhg = trend.at(beats.foot_s)
    for _ in range(2):
        after_s = crossing_s((cuff_mmhg - low) / (high - low), person)
        cuff_mmhg = trend.at(beats.foot_s + after_s)
    onset_s = beats.foot_s + after_s + sound.delay_s
    cuff_mmhg = trend.at(onset_s)
    depth = (high - cuff_mmhg) / (high - low)
    muffling = np.minimum(sound.muffling_mmhg / (high - low), 0.4)
    knots = np.array([0.0, 0.12, 0.3, sound.loudest_share])
    levels = np.array([sound.first_db, 0.5 * sound.first_db, sound.second_db, 0.0])
    base = np.interp(depth, knots, levels)
    k4 = np.maximum(1 - muffling, sound.loudest_share + 0.05)
    into = np.clip((depth - sound.loudest_share) / (k4 - sound.loudest_share), 0, 1)
    falling = np.clip((depth - k4) / np.maximum(1 - k4, 1e-3), 0, 1)
    late = into * sound.muffled_db + falling * (sound.last_db - sound.muffled_db)
    level = np.where(depth > sound.loudest_share, late, base)
    margin = high - cuff_mmhg
    if not sound.to_zero:
        margin = np.minimum(margin, cuff_mmhg - low)
    else:
        margin = np.minimum(margin, cuff_mmhg - 2.0)
    soft = 1 - np.exp(-np.maximum(margin, 0) / max(sound.edge_mmhg, 1e-6))
    level = level + 20 * np.log10(np.maximum(soft, 1e-15))
    rng = stream(seed, "levels")
    level = level + sound.level_sd_db * rng.standard_normal(depth.size)
    level = level + sound.breath_db * breath.at(beats.foot_s)
    strength = (high - low) / (person.systolic_mmhg - person.diastolic_mmhg)
    level = level + 20 * np.log10(np.clip(strength, 0.2, 1.2))
    gap = _gap_db(sound, cuff_mmhg)
    return Openings(
        onset_s=onset_s,
        cuff_mmhg=cuff_mmhg,
        depth=depth,
        muffled_from=k4,
        level_db=np.where(margin > 0, level, _SILENT_DB),
        gap_db=gap,
    )


def _tap(
    sound: Sound, openings: Openings, index: NDArray[np.intp], time_s: FloatArray, seed: int
) -> FloatArray:
    """The person's own tap for each sounding beat, shape ``(beats, samples)``."""
    person_rng, beat_rng = stream(seed, "tap"), stream(seed, "tap beats")
    edges = np.geomspace(sound.low_hz, sound.high_hz, _COMPONENTS)
    own_hz = edges * np.exp(0.12 * person_rng.standard_normal(_COMPONENTS))
    own_size = np.exp(0.5 * person_rng.standard_normal(_COMPONENTS))
    own_phase = person_rng.uniform(0, 2 * np.pi, _COMPONENTS)
    own_decay_s = sound.tap_s * np.exp(0.25 * person_rng.standard_normal(_COMPONENTS))
    own_start_s = 0.012 * person_rng.random(_COMPONENTS)
    n_all = openings.depth.size
    jitter = beat_rng.standard_normal((4, n_all, _COMPONENTS))[:, index]
    depth = openings.depth[index]
    crisp = np.interp(depth, [0.3, sound.loudest_share, 1.0], [0.0, 1.0, 1.0])
    beyond = depth - openings.muffled_from[index]
    muffled = np.where(beyond >= 0, np.clip(0.6 + 3 * beyond, 0, 1), 0.0)
    scale = (1 + sound.crisp_share * crisp) * (1 - sound.muffle_share * muffled)
    hz = own_hz * scale[:, None] * (1 + 0.15 * sound.spread * jitter[0])
    dull = (own_hz / sound.low_hz) ** (-2.5 * muffled[:, None] * sound.muffle_share)
    size = own_size * dull * (1 + sound.spread * jitter[1])
    phase = own_phase + 1.5 * sound.spread * jitter[2]
    decay_s = own_decay_s * np.interp(depth, [0.0, 0.6, 1.0], [1.0, 0.8, 1.2])[:, None]
    decay_s = decay_s * np.exp(0.5 * sound.spread * jitter[3])
    out = np.zeros((index.size, time_s.shape[1]))
    for m in range(_COMPONENTS):
        late_s = np.maximum(time_s - own_start_s[m], 0.0)
        attack = np.minimum(late_s / 0.004, 1.0)
        out += (
            size[:, m, None]
            * attack
            * np.exp(-late_s / decay_s[:, m, None])
            * np.sin(2 * np.pi * hz[:, m, None] * late_s + phase[:, m, None])
        )
    return out


def _murmur(
    sound: Sound, depth: FloatArray, time_s: FloatArray, rate_hz: float, seed: int
) -> FloatArray:
    """Noise of the second phase for each sounding beat, unit rms, times its share."""
    rng = stream(seed, "murmur")
    raw = rng.standard_normal((depth.size, time_s.shape[1]))
    noise = band(raw, sound.murmur_low_hz, sound.murmur_high_hz, rate_hz)
    start_s = 0.012
    inside = np.clip((time_s - start_s) / sound.murmur_s, 0, 1)
    noise = noise * np.sin(np.pi * inside) ** 0.7
    share = np.interp(depth, [0.1, 0.22, 0.38, 0.5], [0.0, 1.0, 1.0, 0.0])
    rms = np.sqrt(np.mean(noise**2, axis=1, keepdims=True)) + 1e-12
    out: FloatArray = noise / rms * share[:, None]
    return out


def sounds_of(
    sound: Sound, openings: Openings, rate_hz: float, seed: int
) -> tuple[FloatArray, NDArray[np.intp], NDArray[np.intp]]:
    """Render every sounding beat, loudest level about 1.

    Returns
    -------
    waves : ndarray
        Shape ``(sounding beats, samples)``.
    index : ndarray
        Which beat each row belongs to.
    start : ndarray
        Audio sample of each row's first column.
    """
    index = np.flatnonzero(openings.level_db - openings.gap_db > -120.0)
    start = np.floor(openings.onset_s[index] * rate_hz).astype(np.intp)
    columns = np.arange(int(WINDOW_S * rate_hz))
    time_s = (start[:, None] + columns) / rate_hz - openings.onset_s[index, None]
    waves = _tap(sound, openings, index, time_s, seed)
    rms = np.sqrt(np.mean(waves**2, axis=1, keepdims=True)) + 1e-12
    waves = waves / rms
    murmur = _murmur(sound, openings.depth[index], time_s, rate_hz, seed)
    waves += 10 ** (sound.murmur_db / 20) * murmur
    level = 10 ** ((openings.level_db - openings.gap_db)[index] / 20)
    waves *= level[:, None]
    waves[:, -columns.size // 8 :] *= np.linspace(1, 0, waves[:, -columns.size // 8 :].shape[1])
    return waves, index, start


def thump_of(
    person: Person,
    sound: Sound,
    beats: Beats,
    openings: Openings,
    rate_hz: float,
    n: int,
    seed: int,
) -> FloatArray:
    """Inaudible low-frequency pulses under the cuff, peak about 1, shape ``(n,)``.

    They go on above systolic and below diastolic (Blank 1988) and vanish when
    the cuff is slack.
    """
    rng = stream(seed, "thump")
    sigma_s = 1 / (2 * np.pi * sound.thump_hz)
    length = int(7 * sigma_s * rate_hz)
    size = np.exp(0.15 * rng.standard_normal(openings.depth.size))
    size *= np.clip((openings.cuff_mmhg - 8) / 25, 0, 1)
    size *= np.where(openings.depth < 0, np.exp(openings.depth * 0.8), 1.0)
    centre_s = beats.foot_s + 0.5 * person.upstroke_s
    out = np.zeros(n)
    for at_s, one in zip(centre_s, size, strict=True):
        start = int(at_s * rate_hz) - length // 2
        low, high = max(start, 0), min(start + length, n)
        if one > 1e-4 and high > low:
            x = (np.arange(low, high) / rate_hz - at_s) / sigma_s
            out[low:high] -= one * x * np.exp(0.5 - 0.5 * x**2)
    return out


def place(waves: FloatArray, start: NDArray[np.intp], n: int) -> FloatArray:
    """Add rows to a silent track of ``n`` samples at their start samples."""
    out = np.zeros(n)
    for row, first in zip(waves, start.tolist(), strict=True):
        add_at(out, first, row)
    return out
