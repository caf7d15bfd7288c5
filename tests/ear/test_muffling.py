"""Muffling: where it begins among the sounds, and how sure that is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear.character import EDGES_HZ, Character
from tapfall.ear.muffling import (
    LEAST_SOUNDS,
    find_muffling,
    first_muffled,
    muffling_measures,
)


def sounds_of(dull_from: int, count: int = 20, floor_db: float = -20.0) -> Character:
    """Sounds of one loudness whose upper bands fall by 20 dB from one of them on."""
    bands = np.zeros((count, len(EDGES_HZ) - 1))
    bands[dull_from:, 3:] -= 20 / 4.34
    return Character(
        murmur=np.zeros(count),
        level=np.log(np.exp(bands).sum(axis=1)),
        bands=bands,
        noise=np.full(bands.shape, floor_db / 4.34) - bands,
    )


@settings(max_examples=60, deadline=None)
@given(count=st.integers(6, 60), begin=st.integers(0, 59), seed=st.integers(0, 99))
def test_the_place_lies_within_its_span(count: int, begin: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    odds = np.where(np.arange(count) >= begin, 2.5, -2.5) + rng.normal(0, 0.5, count)
    found = first_muffled(odds)
    if begin >= count:
        assert found is None
    elif begin <= count - 4:
        assert found is not None
        assert found.index == pytest.approx(begin, abs=1)
        assert found.low <= found.index <= found.high < count
        assert 0.5 <= found.certainty <= 1


def test_doubt_widens_the_span() -> None:
    clear = first_muffled(np.array([-3.0] * 10 + [3.0] * 6))
    doubtful = first_muffled(np.array([-3.0] * 8 + [-0.2, 0.1, 0.0, 0.3] + [3.0] * 4))
    assert clear is not None
    assert doubtful is not None
    assert doubtful.high - doubtful.low > clear.high - clear.low


def test_the_span_counts_what_hangs_together_once() -> None:
    # Slowly rising odds: the beginning is shared by many sounds.
    odds = np.concatenate([np.full(8, -2.0), np.linspace(-0.5, 0.5, 13), np.full(5, 2.0)])
    found = first_muffled(odds)
    weight = np.exp(np.cumsum(odds[::-1])[::-1])
    share = np.cumsum(weight) / weight.sum()
    plain = [int(np.searchsorted(share, q)) for q in (0.025, 0.5, 0.975)]
    assert found is not None
    assert found.index == plain[1]
    assert found.low < plain[0]
    assert found.high > plain[2]


def test_a_few_sounds_are_not_judged() -> None:
    few = np.arange(LEAST_SOUNDS - 1)
    assert find_muffling(sounds_of(3), few, 100.0 - 2.0 * few) is None


@pytest.mark.parametrize("begin", [12, 14, 16])
def test_a_fall_of_the_upper_bands_is_muffling(begin: int) -> None:
    sounds = np.arange(20)
    found = find_muffling(sounds_of(begin), sounds, 120.0 - 2.0 * sounds)
    assert found is not None
    assert found.index == pytest.approx(begin, abs=1)


def test_sounds_that_stay_crisp_are_not_muffled() -> None:
    sounds = np.arange(20)
    assert find_muffling(sounds_of(20), sounds, 120.0 - 2.0 * sounds) is None


def test_measures_do_not_depend_on_loudness() -> None:
    sounds, cuff_mmhg = np.arange(20), 120.0 - 2.0 * np.arange(20)
    plain = sounds_of(15)
    louder = Character(
        murmur=plain.murmur,
        level=plain.level + 3.0,
        bands=plain.bands + 3.0,
        noise=plain.noise,
    )
    assert muffling_measures(louder, sounds, cuff_mmhg) == pytest.approx(
        muffling_measures(plain, sounds, cuff_mmhg)
    )
