"""Padding of FLAC files: larger, and nothing else (RFC 9639)."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from tapfall.lesson.padding import STEP, common_size, padded


def flac(samples: np.ndarray, comment: str = "") -> bytes:
    """A FLAC file of 16 bits at 8 kHz."""
    file = io.BytesIO()
    with soundfile.SoundFile(file, "w", 8000, 1, "PCM_16", format="FLAC") as track:
        if comment:
            track.comment = comment
        track.write(samples)
    return file.getvalue()


@pytest.mark.parametrize("comment", ["", "simulated"])
@pytest.mark.parametrize("more", [4, 5, 1000, 70_000])
def test_a_padded_file_is_as_large_as_wanted_and_sounds_as_before(comment: str, more: int) -> None:
    samples = np.random.default_rng(1).uniform(-0.2, 0.2, 4000)
    bare = flac(samples, comment)
    made = padded(bare, len(bare) + more)
    assert len(made) == len(bare) + more
    with soundfile.SoundFile(io.BytesIO(made)) as track:
        assert track.comment == comment
        assert track.frames == 4000
        assert np.array_equal(track.read(), soundfile.read(io.BytesIO(bare))[0])


def test_every_file_can_be_brought_to_the_common_size() -> None:
    files = [flac(np.zeros(4000)), flac(np.random.default_rng(2).uniform(-0.2, 0.2, 4000))]
    size = common_size([len(file) for file in files])
    assert size % STEP == 0
    assert {len(padded(file, size)) for file in files} == {size}
    for least in range(1, 3 * STEP, 97):
        assert common_size([least]) >= least + 4


@pytest.mark.parametrize("file", [b"", b"RIFF" + bytes(100), b"fLaC" + bytes(10)])
def test_what_is_no_flac_is_refused(file: bytes) -> None:
    with pytest.raises(ValueError, match="found no FLAC file"):
        padded(file, 5000)


def test_a_file_is_not_made_smaller() -> None:
    file = flac(np.zeros(4000))
    assert padded(file, len(file)) == file
    for size in (len(file) - 1, len(file) + 3):
        with pytest.raises(ValueError, match="4 or more above"):
            padded(file, size)
