"""Beats that the log does not show lie where what every beat brings tells that they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.ear.bands import BANDS_HZ, HOP_S, Bands
from tapfall.ear.instep import keep_in_step
from tapfall.ear.pulses import Pulses
from tapfall.model import FloatArray

#: Half-length of a heart sound (from memory: 0.1-0.16 s), and what it stands out by, nats.
LASTS_S, LOUD_NATS = 0.06, 4.0


def heartbeats(rng: np.random.Generator, count: int = 60, swing: float = 0.05) -> FloatArray:
    """Times of beats that breathe: intervals swing with the breath and wander by 2 %."""
    breath = swing * np.sin(2 * np.pi * np.arange(count) / 5.3)
    return 1.0 + np.cumsum(0.8 * np.exp(breath + 0.02 * rng.standard_normal(count)))


def chest(beats_s: FloatArray, rng: np.random.Generator, loud_nats: float = LOUD_NATS) -> Bands:
    """Levels with two heart sounds at each beat: 0.12 s before its pulse, 0.2 s after."""
    at_s = np.arange(0.0, beats_s[-1] + 1.5, HOP_S)
    level = 0.5 * rng.standard_normal((at_s.size, len(BANDS_HZ)))
    for delay_s, share in ((-0.12, 1.0), (0.2, 0.7)):
        away = np.abs(at_s[:, None] - (beats_s + delay_s)[None, :]).min(axis=1)
        level[:, :3] += loud_nats * share * (np.maximum(1 - away / LASTS_S, 0.0))[:, None]
    return Bands(level=level, start_s=0.0)


def pulses_at(time_s: FloatArray, seen: np.ndarray) -> Pulses:
    """Pulses of one size, as a log would show them."""
    return Pulses(
        time_s=time_s,
        size_mmhg=np.where(seen, 1.0, 0.1),
        seen=seen,
        real=np.where(seen, 1.0, 0.8),
        usable=True,
        error_s=0.007,
    )


def drifted(beats_s: FloatArray, first: int = 18, last: int = 45) -> Pulses:
    """Seen in the middle; beyond it the chain runs 8 % fast and holds a beat more."""
    above = beats_s[first] - 0.92 * 0.8 * np.arange(first + 1, 0, -1)
    below = beats_s[last] + 0.92 * 0.8 * np.arange(1, beats_s.size - last + 1)
    time_s = np.concatenate([above, beats_s[first : last + 1], below])
    seen = np.zeros(time_s.size, bool)
    seen[above.size : time_s.size - below.size] = True
    return pulses_at(time_s, seen)


def away_s(time_s: FloatArray, beats_s: FloatArray) -> FloatArray:
    """How far each time is from the nearest beat, but for one constant delay."""
    nearest = beats_s[np.abs(time_s[:, None] - beats_s[None, :]).argmin(axis=1)]
    return np.abs(time_s - nearest - np.median(time_s - nearest))


@pytest.mark.parametrize("seed", range(6))
def test_beats_that_are_not_seen_are_laid_out_where_the_heart_sounds_are(seed: int) -> None:
    rng = np.random.default_rng(seed)
    beats_s = heartbeats(rng)
    given_pulses = drifted(beats_s)
    inside = slice(1, -1)  # the first and last may lie beyond the recording's beats
    assert np.quantile(away_s(given_pulses.time_s[inside], beats_s), 0.9) > 0.2
    found = keep_in_step(chest(beats_s, rng), given_pulses, 0.0)
    assert found.kept
    assert np.quantile(away_s(found.pulses.time_s[inside], beats_s), 0.95) < 0.02
    assert found.pulses.seen.sum() == given_pulses.seen.sum()
    assert (np.diff(found.pulses.time_s) > 0.3).all()


@pytest.mark.parametrize("seed", range(4))
def test_pulses_that_noise_misplaced_are_straightened(seed: int) -> None:
    rng = np.random.default_rng((seed, 1))
    beats_s = heartbeats(rng)
    misplaced_s = beats_s + 0.025 * rng.standard_normal(beats_s.size)
    seen = np.ones(beats_s.size, bool)
    found = keep_in_step(chest(beats_s, rng), pulses_at(misplaced_s, seen), 0.0)
    assert np.std(misplaced_s - beats_s) > 0.02
    assert np.std(found.pulses.time_s - beats_s) < 0.008


@given(seed=st.integers(0, 10_000))
def test_without_anything_that_every_beat_brings_nothing_changes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    beats_s = heartbeats(rng)
    given_pulses = drifted(beats_s)
    found = keep_in_step(chest(beats_s, rng, loud_nats=0.0), given_pulses, 0.0)
    assert not found.kept
    assert found.pulses.time_s.tolist() == given_pulses.time_s.tolist()


def test_sounds_that_come_only_in_the_middle_are_no_clock() -> None:
    # Korotkoff sounds are missing where the cuff is high and low: they must not be straightened.
    rng = np.random.default_rng(5)
    beats_s = heartbeats(rng)
    sounds_s = beats_s[20:42] - 0.002 * np.arange(22)
    bands = chest(sounds_s, rng)
    level = np.concatenate([bands.level, 0.5 * rng.standard_normal((6000, len(BANDS_HZ)))])
    for given_pulses in (pulses_at(beats_s, np.ones(beats_s.size, bool)), drifted(beats_s)):
        found = keep_in_step(replace(bands, level=level), given_pulses, 0.0)
        assert not found.kept
        assert found.pulses is given_pulses


def test_pulses_seen_beyond_the_others_are_kept() -> None:
    rng = np.random.default_rng(6)
    beats_s = heartbeats(rng)
    seen = np.zeros(beats_s.size, bool)
    seen[[3, 4, 9, *range(18, 46), 51]] = True
    found = keep_in_step(chest(beats_s, rng), pulses_at(beats_s, seen), 0.0)
    assert found.kept
    assert found.pulses.seen.sum() == seen.sum()
    assert (found.pulses.real[~found.pulses.seen] < 1.0).all()


def test_an_uneven_rhythm_lays_no_beats_into_its_pauses() -> None:
    rng = np.random.default_rng(7)
    beats_s = 1.0 + np.cumsum(rng.uniform(0.45, 1.3, 60))
    seen = np.zeros(60, bool)
    seen[18:46] = True
    found = keep_in_step(chest(beats_s, rng), pulses_at(beats_s, seen), 0.0)
    assert found.pulses.time_s.size == beats_s.size


def test_too_few_beats_in_the_sound_tell_nothing_of_a_lag() -> None:
    rng = np.random.default_rng(9)
    beats_s = heartbeats(rng, count=27)
    log = pulses_at(beats_s, np.ones(27, bool))
    whole = chest(beats_s, rng)
    cut = round((beats_s[4] + 0.4) / HOP_S)
    late = replace(whole, level=whole.level[cut:], start_s=cut * HOP_S)
    without, there = keep_in_step(late, log, 0.0), keep_in_step(whole, log, 0.0)
    assert without.nats is None and there.kept
    assert not there.fits_better(without, 2.0)
    assert not without.fits_better(there, 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_what_every_beat_brings_fits_at_the_true_lag_only(seed: int) -> None:
    rng = np.random.default_rng((seed, 2))
    beats_s = heartbeats(rng, swing=0.15)
    lag_s = float(rng.uniform(0.5, 1.5))
    log = pulses_at(beats_s + lag_s, np.ones(beats_s.size, bool))
    bands = chest(beats_s, rng)
    assert keep_in_step(bands, log, lag_s).fits_better(keep_in_step(bands, log, 0.0), 2.0)
