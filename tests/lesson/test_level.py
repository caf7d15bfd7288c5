"""Nothing swings further than the loud tone, between the samples too."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from tapfall.lesson.folder import write_folder
from tapfall.lesson.level import LIMIT, MOST, limited, swing
from tapfall.lesson.sound import TONE_LOUD, packed
from tests.lesson import made

RATE_HZ = 4000.0


def between(samples: np.ndarray) -> float:
    """How far a sound swings, by a long filter: not the way that the program takes."""
    weights = signal.firwin(2 * 400 * 16 + 1, 1.0 / 16.0)
    return float(np.abs(signal.resample_poly(samples, 16, 1, window=weights)).max())


def rough(rate_hz: float, loudness: float, seed: int = 1) -> np.ndarray:
    """Loud noise up to half the rate: far beyond its samples once they are pressed."""
    rng = np.random.default_rng(seed)
    return limited(loudness * rng.normal(size=round(2 * rate_hz)), rate_hz)


@pytest.mark.parametrize("loudness", [0.01, 0.2, 1.0, 20.0])
def test_a_swing_is_told_and_never_too_small(loudness: float) -> None:
    sound = rough(RATE_HZ, loudness)
    assert between(sound) <= swing(sound) <= 1.06 * max(between(sound), np.abs(sound).max())
    assert swing(sound, LIMIT) == max(LIMIT, swing(sound))


@pytest.mark.parametrize("loudness", [0.01, 1.0, 20.0])
def test_no_file_of_a_set_swings_further_than_its_loud_tone(
    tmp_path: Path, loudness: float
) -> None:
    lesson = made.lesson(2)
    sounds = [
        (item.file, rough(RATE_HZ, loudness, seed), RATE_HZ, True)
        for seed, item in enumerate(lesson.items)
    ]
    write_folder(tmp_path / "s", None, sounds, lambda: (lesson, made.key(lesson)), title="x")
    tone, _ = soundfile.read(tmp_path / "s" / "level.flac")
    files = [soundfile.read(tmp_path / "s" / item.file)[0] for item in lesson.items]
    assert np.abs(tone).max() >= max(map(between, files))
    assert LIMIT - 1e-4 <= np.abs(tone).max() <= MOST + 1e-4


@pytest.mark.parametrize("gain_db", [0.0, 20.0])
def test_nothing_in_a_page_swings_further_than_its_loud_tone(gain_db: float) -> None:
    sound = np.random.default_rng(2).normal(size=16000).astype(np.float32)
    held, _ = soundfile.read(io.BytesIO(base64.b64decode(packed(0.2 * sound, gain_db))))
    assert 0.6 * TONE_LOUD < between(held) <= TONE_LOUD
