"""Taps while the cuff is held."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.taps import tapping

RATE_HZ = 2000.0


def hold(times_s: list[float], level: float = 1.0, seconds: float = 4.0) -> np.ndarray:
    """Noise with taps at some times."""
    rng = np.random.default_rng(4)
    sound = rng.normal(size=round(seconds * RATE_HZ)) * 0.02
    for at_s in times_s:
        first = round(at_s * RATE_HZ)
        sound[first : first + 80] += level * np.sin(np.arange(80) * 0.3) * np.hanning(80)
    return sound


@pytest.mark.parametrize("rate_per_min", [50, 75, 110, 160])
def test_beats_of_a_heart_are_taps(rate_per_min: float) -> None:
    assert tapping(hold(np.arange(0.05, 3.9, 60 / rate_per_min).tolist()), RATE_HZ)


@pytest.mark.parametrize(
    "times_s", [[], [1.0], [0.2, 1.4], [0.1, 0.5, 1.9], [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]]
)
def test_other_things_are_not(times_s: list[float]) -> None:
    assert not tapping(hold(times_s), RATE_HZ)


def test_faint_ones_and_too_little_sound_are_not() -> None:
    beats = np.arange(0.05, 2.4, 0.8).tolist()
    assert not tapping(hold(beats, level=0.03), RATE_HZ)
    assert not tapping(hold([0.05], seconds=0.1), RATE_HZ)
    assert not tapping(np.zeros(0), RATE_HZ)
