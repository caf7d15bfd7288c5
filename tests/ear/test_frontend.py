"""The front end: the same bits under any cutting, a flat band, nothing folded into it."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from tapfall.ear.filters import design, sound_factor
from tapfall.ear.frontend import BLOCK, FrontEnd, as_samples
from tapfall.errors import AudioError, MisuseError
from tests.ear.made import tap

RATES_HZ = (1000.0, 4000.0, 8000.0, 11025.0, 44100.0, 48000.0, 96000.0, 192000.0)
TYPES = ("int16", "int32", "float32", "float64")
#: The band in which the sounds are heard and judged.
LOW_HZ, HIGH_HZ = 40.0, 350.0


def some_samples(count: int, kind: str, seed: int = 1) -> np.ndarray:
    """Noise near full scale, some of it clipped, in a sample type."""
    values = np.random.default_rng(seed).normal(0.0, 0.4, count).clip(-1.0, 0.9999)
    if kind == "int16":
        return np.round(values * 32767).astype(np.int16)
    if kind == "int32":
        return np.round(values * (2**31 - 1)).astype(np.int32)
    return values.astype(kind)


def pushed(rate_hz: float, parts: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Sound and clip marks of all parts, pushed one after the other."""
    front = FrontEnd(rate_hz)
    found = [front.push(part) for part in parts]
    assert front.samples_seen == sum(part.size for part in parts)
    return np.concatenate([one[0] for one in found]), np.concatenate([one[1] for one in found])


def gain_db(rate_hz: float, tone_hz: float) -> float:
    """Level of a long tone after the front end over its level before, settled part only."""
    count = round(1.5 * rate_hz)
    tone = np.sin(2 * np.pi * tone_hz * np.arange(count) / rate_hz + 0.4)
    sound = FrontEnd(rate_hz).push(tone)[0]
    settled = sound[sound.size // 2 :]
    return 10 * float(np.log10(2 * np.mean(settled**2) + 1e-30))


# --- any cutting -------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    rate_hz=st.sampled_from(RATES_HZ),
    kind=st.sampled_from(TYPES),
    count=st.integers(0, 4000),
    cuts=st.lists(st.integers(0, 4000), max_size=12),
)
def test_any_cutting_gives_the_same_bits(
    rate_hz: float, kind: str, count: int, cuts: list[int]
) -> None:
    samples = some_samples(count, kind)
    edges = [0, *sorted(min(cut, count) for cut in cuts), count]
    parts = [samples[a:b] for a, b in itertools.pairwise(edges)]
    whole, marks = pushed(rate_hz, [samples])
    cut_whole, cut_marks = pushed(rate_hz, parts)
    assert np.array_equal(whole, cut_whole)
    assert np.array_equal(marks, cut_marks)
    assert whole.dtype == np.float64


@pytest.mark.parametrize("rate_hz", [1000.0, 11025.0, 48000.0])
def test_pushes_longer_than_the_working_block_give_the_same_bits(rate_hz: float) -> None:
    samples = some_samples(2 * BLOCK + 4321, "float32")
    whole, marks = pushed(rate_hz, [samples])
    parts = [samples[:1], samples[1 : BLOCK + 2], samples[BLOCK + 2 :]]
    cut_whole, cut_marks = pushed(rate_hz, parts)
    assert np.array_equal(whole, cut_whole)
    assert np.array_equal(marks, cut_marks)


@pytest.mark.parametrize("kind", TYPES)
@pytest.mark.parametrize("rate_hz", [1000.0, 4000.0, 44100.0])
def test_small_parts_that_wait_for_each_other_give_the_same_bits(rate_hz: float, kind: str) -> None:
    samples = some_samples(round(2.5 * rate_hz), kind)
    size, front, found = round(0.01 * rate_hz), FrontEnd(rate_hz), []
    for begin in range(0, samples.size, size):
        part = samples[begin : begin + size].copy()
        if not front.wait(part):
            found.append(front.push(part))
        assert front.samples_seen == min(begin + size, samples.size)
        part[:] = 0  # The buffer of a sound card is filled again.
    found.append(front.push(samples[:0]))
    whole, marks = pushed(rate_hz, [samples])
    assert len(found) == 3  # A second at most waits.
    assert np.array_equal(np.concatenate([one[0] for one in found]), whole)
    assert np.array_equal(np.concatenate([one[1] for one in found]), marks)


@settings(max_examples=30, deadline=None)
@given(rate_hz=st.sampled_from(RATES_HZ), count=st.integers(0, 3000))
def test_one_sound_sample_for_every_factor_samples(rate_hz: float, count: int) -> None:
    factor = sound_factor(rate_hz)
    sound, marks = pushed(rate_hz, [some_samples(count, "float32")])
    assert sound.size == marks.size == -(-count // factor)


@pytest.mark.parametrize("rate_hz", [*RATES_HZ, 2000.0, 2001.0, 3999.5, 22050.0, 32000.0])
def test_the_sound_keeps_at_least_one_and_at_most_two_kilohertz(rate_hz: float) -> None:
    made = design(rate_hz)
    assert made.sound_rate_hz == rate_hz / made.factor
    assert 1000.0 <= made.sound_rate_hz <= 2000.0


# --- sample types ------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [1000.0, 4000.0, 44100.0])
@pytest.mark.parametrize(("kind", "full_scale"), [("int16", 2.0**15), ("int32", 2.0**31)])
def test_whole_numbers_are_scaled_to_full_scale_one(
    rate_hz: float, kind: str, full_scale: float
) -> None:
    samples = some_samples(3000, kind)
    samples[:2] = np.iinfo(kind).min, np.iinfo(kind).max
    sound, marks = pushed(rate_hz, [samples])
    same, same_marks = pushed(rate_hz, [samples.astype(np.float64) / full_scale])
    assert np.array_equal(sound, same)
    assert np.array_equal(marks, same_marks)


def test_the_bytes_may_stand_in_either_order() -> None:
    samples = some_samples(2000, "int16")
    sound, _ = pushed(4000.0, [samples])
    turned, _ = pushed(4000.0, [as_samples(samples.astype(">i2"))])
    assert np.array_equal(sound, turned)


@pytest.mark.parametrize("power", [-12, -1, 3])
def test_a_gain_of_a_power_of_two_scales_the_sound_exactly(power: int) -> None:
    samples = some_samples(3000, "float64")
    sound, _ = pushed(8000.0, [samples])
    scaled, _ = pushed(8000.0, [samples * 2.0**power])
    assert np.array_equal(scaled, sound * 2.0**power)


def test_inverting_the_samples_inverts_the_sound_exactly() -> None:
    samples = some_samples(3000, "float32")
    sound, marks = pushed(8000.0, [samples])
    inverted, same_marks = pushed(8000.0, [-samples])
    assert np.array_equal(inverted, -sound)
    assert np.array_equal(marks, same_marks)


# --- clipping ----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", TYPES)
def test_clipping_is_seen_in_every_type(kind: str) -> None:
    loud = np.ones(400)
    if kind.startswith("int"):
        loud *= np.iinfo(kind).max
    samples = np.concatenate([np.zeros(400), loud, np.zeros(400)]).astype(kind)
    _, marks = pushed(4000.0, [samples])
    assert not marks[:200].any()
    assert marks[201:400].all()
    assert not marks[401:].any()


def test_one_clipped_sample_marks_the_sound_sample_at_or_after_it() -> None:
    # As the docstring of `push` says: the sample taken, or one since the last.
    factor = sound_factor(8000.0)
    marked = []
    for at in range(96, 96 + 2 * factor):
        samples = np.zeros(2000, np.float32)
        samples[at] = -1.0
        marked.append(np.flatnonzero(pushed(8000.0, [samples])[1]).tolist())
    assert marked == [[-(-at // factor)] for at in range(96, 96 + 2 * factor)]


# --- the band ----------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_band_of_the_sounds_is_flat_within_a_decibel(rate_hz: float) -> None:
    gains = [
        gain_db(rate_hz, tone_hz) for tone_hz in (40.0, 60.0, 85.0, 130.0, 200.0, 280.0, 350.0)
    ]
    assert max(np.abs(gains)) < 1.0
    assert max(gains) - min(gains) < 1.0


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_offset_and_inaudible_waves_are_taken_out(rate_hz: float) -> None:
    constant = np.full(round(2 * rate_hz), 0.5)
    sound = FrontEnd(rate_hz).push(constant)[0]
    assert np.abs(sound[sound.size // 2 :]).max() < 1e-6
    assert gain_db(rate_hz, 7.0) < -40.0


@pytest.mark.parametrize("rate_hz", [rate for rate in RATES_HZ if sound_factor(rate) > 1])
def test_tones_that_would_fold_into_the_band_are_sixty_decibels_down(rate_hz: float) -> None:
    sound_rate_hz = design(rate_hz).sound_rate_hz
    folds = [1, 2, 3, 5, 11, 47]
    tones = [
        fold * sound_rate_hz + side * lands_hz
        for fold in folds
        for side in (-1, 1)
        for lands_hz in (LOW_HZ, 120.0, HIGH_HZ)
    ]
    tones = [tone_hz for tone_hz in tones if 0 < tone_hz < 0.5 * rate_hz]
    assert tones
    assert max(gain_db(rate_hz, tone_hz) for tone_hz in tones) <= -60.0


def test_a_tone_at_twice_the_sound_rate_leaves_nothing() -> None:
    # 4 kHz sampled at 2 kHz would be a constant; 4100 Hz would be a tone of 100 Hz.
    assert gain_db(48000.0, 4000.0) <= -60.0
    assert gain_db(48000.0, 4100.0) <= -60.0


# --- time --------------------------------------------------------------------------------


@pytest.mark.parametrize("tone_hz", [90.0, 110.0, 140.0, 200.0])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_tap_stands_within_two_milliseconds_of_its_time(rate_hz: float, tone_hz: float) -> None:
    at_s = 0.7431
    front = FrontEnd(rate_hz)
    time_s = np.arange(round(1.5 * rate_hz)) / rate_hz
    sound = front.push(tap(time_s, at_s, tone_hz))[0]
    envelope = np.abs(signal.hilbert(signal.resample(sound, 8 * sound.size)))
    found_s = int(np.argmax(envelope)) / (8 * front.design.sound_rate_hz) - front.design.delay_s
    assert found_s == pytest.approx(at_s, abs=0.002)


# --- what is refused ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate_hz", "found"),
    [
        (999.0, "999.0"),
        (999.9, "999.9"),
        (0.0, "0.0"),
        (-8000.0, "-8000.0"),
        (None, "None"),
        (True, "True"),
        ("4000", "'4000'"),
        (float("nan"), "nan"),
        (float("inf"), "inf"),
    ],
)
def test_bad_rates_are_refused(rate_hz: float, found: str) -> None:
    with pytest.raises(AudioError) as caught:
        FrontEnd(rate_hz)
    assert str(caught.value) == f"audio rate is {found} Hz; allowed 1000 Hz or more"


@pytest.mark.parametrize(
    ("samples", "text"),
    [
        (np.zeros((3, 2)), "audio has shape (3, 2); allowed one dimension"),
        (np.float32(0.5), "audio has shape (); allowed one dimension"),
        (
            np.zeros(4, np.uint8),
            "audio has type uint8; allowed int16, int32, float32, float64",
        ),
        ([1, 2, 3], "audio has type int64; allowed int16, int32, float32, float64"),
        (
            np.zeros(4, np.float16),
            "audio has type float16; allowed int16, int32, float32, float64",
        ),
        (
            np.zeros(4, np.complex64),
            "audio has type complex64; allowed int16, int32, float32, float64",
        ),
        (["loud"], "audio has type <U4; allowed int16, int32, float32, float64"),
    ],
)
def test_bad_shapes_and_types_are_refused(samples: Any, text: str) -> None:
    with pytest.raises(MisuseError) as caught:
        as_samples(samples)
    assert str(caught.value) == text


@pytest.mark.parametrize("kind", ["float32", "float64"])
@pytest.mark.parametrize(("value", "found"), [(np.nan, "nan"), (np.inf, "inf"), (-np.inf, "-inf")])
def test_samples_that_are_not_finite_are_refused(kind: str, value: float, found: str) -> None:
    samples = np.zeros(9, kind)
    samples[3] = value
    samples[7] = np.nan
    with pytest.raises(AudioError) as caught:
        as_samples(samples)
    assert str(caught.value) == f"audio sample 3 is {found}; allowed finite numbers"


@pytest.mark.parametrize("kind", ["float32", "float64"])
def test_loud_samples_are_taken_and_huge_ones_not_called_infinite(kind: str) -> None:
    samples = np.full(5, 1e12, kind)
    assert as_samples(samples) is samples
    samples[3] = -3e38
    with pytest.raises(AudioError) as caught:
        as_samples(samples)
    assert str(caught.value) == "audio sample 3 is -3e+38; allowed at most 1e+12"


@pytest.mark.parametrize("kind", TYPES)
def test_an_empty_push_is_empty(kind: str) -> None:
    assert as_samples(np.zeros(0, kind)).size == 0
    assert as_samples([]).size == 0
