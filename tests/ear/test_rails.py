"""Flat tops: sound that was cut off below full scale is told, whatever the level."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear import take_reading
from tapfall.ear.frontend import FrontEnd
from tapfall.ear.rails import LEAST_LEVEL, Tops, flat_tops, grid_step
from tapfall.model import Flag, Recording, Status
from tests.ear.heard import fixture


def cut(gain: float, at: float, scale: float = 1.0) -> Recording:
    """The ordinary fixture made louder, cut off, and made softer again."""
    whole = fixture("ordinary")
    unit = {"int16": 2.0**15, "int32": 2.0**31}.get(whole.samples.dtype.name, 1.0)
    samples = np.clip(whole.samples / unit * gain, -at, at) * scale
    return Recording(samples=samples.astype(np.float32), rate_hz=whole.rate_hz, cuff=whole.cuff)


@pytest.mark.parametrize(
    ("gain", "at", "scale"),
    [(30.0, 1.0, 0.5), (30.0, 1.0, 0.05), (1.0, 0.03, 1.0), (1.0, 0.1, 1.0)],
)
def test_sound_cut_off_at_any_level_is_flagged_and_never_ok(
    gain: float, at: float, scale: float
) -> None:
    reading = take_reading(cut(gain, at, scale))
    assert Flag.AUDIO_CLIPPED in reading.flags
    assert reading.status is not Status.OK
    assert max(v.confidence or 0.0 for v in (reading.diastolic, reading.muffling)) <= 0.9


@pytest.mark.parametrize("name", ["ordinary", "weak", "noisy", "silent_gap"])
def test_sound_that_was_not_cut_off_is_not_flagged(name: str) -> None:
    reading = take_reading(fixture(name))
    assert reading.quality.clipped_share == 0.0
    assert Flag.AUDIO_CLIPPED not in reading.flags


@pytest.mark.parametrize("rate_hz", [1000.0, 4000.0, 8000.0, 44100.0])
@pytest.mark.parametrize("tone_hz", [20.31, 50.17, 101.93])
@pytest.mark.parametrize("level", [0.02, 0.05, 0.5])
def test_the_top_of_a_tone_in_16_bits_is_round(
    rate_hz: float, tone_hz: float, level: float
) -> None:
    time_s = np.arange(round(4 * rate_hz)) / rate_hz
    tone = np.round(level * 32767 * np.sin(2 * np.pi * tone_hz * time_s + 0.3)) / 32768
    marks = FrontEnd(rate_hz).push(tone.astype(np.float32))[1]
    # A slow or weak wave may stand still at its very top, for no more than this share of time.
    assert marks.mean() < (0.03 if level < 0.1 else 0.002)
    # A second of the room before it shows how fine the samples are.
    quiet = np.random.default_rng(3).normal(0.0, 1e-4, round(rate_hz))
    cut_off = np.concatenate([quiet, np.clip(tone, -0.6 * level, 0.6 * level)])
    marks = FrontEnd(rate_hz).push(cut_off.astype(np.float32))[1]
    if rate_hz > 20 * tone_hz:  # else a flat top lasts no three samples
        assert marks.mean() > 0.1


@settings(max_examples=60, deadline=None)
@given(
    rate_hz=st.sampled_from([1000.0, 4000.0, 11025.0, 44100.0]),
    cuts=st.lists(st.integers(1, 5999), max_size=12),
    seed=st.integers(0, 99),
)
def test_the_marks_do_not_hang_on_the_cutting(rate_hz: float, cuts: list[int], seed: int) -> None:
    wave = np.cumsum(np.random.default_rng(seed).normal(0, 0.02, 6000))
    samples = np.clip(wave - wave.mean(), -0.1, 0.15).astype(np.float32)
    whole = FrontEnd(rate_hz).push(samples)[1]
    front, parts = FrontEnd(rate_hz), []
    for part in np.split(samples, sorted(cuts)):
        again = FrontEnd(rate_hz)
        again.restore(front.arrays())
        parts.append(again.push(part)[1])
        front = again
    assert (np.concatenate(parts) == whole).all()


def test_silence_and_what_is_too_weak_to_tell_lie_on_no_rail() -> None:
    fine = Tops(step=1 / 32768, unseen=0)
    for level in (0.0, 0.9 * LEAST_LEVEL):
        assert flat_tops(np.full(100, level), fine)[0].size == 0
    assert flat_tops(np.full(100, 1.1 * LEAST_LEVEL), fine)[0].size > 90
    # Of 8 bits any level but full scale is too coarse, and of no steps nothing is known.
    for step in (1 / 128, np.inf):
        assert flat_tops(np.full(100, 0.9), Tops(step=step, unseen=0))[0].size == 0


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_coarse_samples_are_not_taken_for_cut_off_ones(bits: int) -> None:
    whole = fixture("ordinary")
    samples = np.asarray(whole.samples, np.float64)
    samples = samples / (32768.0 if whole.samples.dtype.name == "int16" else 1.0)
    coarse = np.round(samples * 2 ** (bits - 1)) / 2 ** (bits - 1)
    marks = FrontEnd(whole.rate_hz).push(coarse.astype(np.float32))[1]
    assert marks.mean() < 0.001


def test_a_plateau_below_what_came_before_is_no_rail() -> None:
    _, tops = flat_tops(np.array([0.0, 0.5, -0.4, -0.399, -0.4]), Tops(unseen=4))
    assert flat_tops(np.full(50, 0.3), tops)[0].size == 0
    assert flat_tops(np.full(50, 0.5), tops)[0].tolist() == list(range(2, 50))
    assert flat_tops(np.full(50, -0.4), tops)[0].tolist() == list(range(1, 50))
    assert tops.step == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("rate_hz", "step"), [(1000.0, 1), (4000.0, 1), (8000.0, 2), (44100.0, 11)]
)
def test_what_is_compared_spans_half_a_millisecond(rate_hz: float, step: int) -> None:
    assert grid_step(rate_hz) == step
