"""Level, noise and clipping of the sound, as the reading tells them, and speech in it."""

from __future__ import annotations

import numpy as np

from tapfall.ear.flags import CLIPPED_SHARE, NOISY_DB
from tapfall.ear.frontend import BLOCK, CLIP_LEVEL, SCALES
from tapfall.ear.told import HIDDEN_DB
from tapfall.model import Finding, Quality, Recording
from tapfall.technique.checks import FAULT, LOOK, OK, Check
from tapfall.technique.speech import voiced_share

#: Peaks of the sounds' own band below this come close to the steps of 16-bit samples: at
#: -70 dBFS the loudest sound has ten of them, fewer than readings need (measured by the
#: check of devices); from -60 dBFS on there is room.
WEAK_DBFS, FAINT_DBFS = -60.0, -70.0

#: Syllables in so much of the time ask for a look: speech 4 dB below the sounds or louder
#: comes to 2-13 %, recordings without any to 0 (171 of 171; measured on simulated ones).
SPOKEN_SHARE = 0.015

#: Share of clipped samples that asks for a look: a tenth of the one from which a person is
#: asked (our choice).
SEEN_CLIPPED_SHARE = CLIPPED_SHARE / 10

_LEVEL = Check(
    name="sound level", expected=f"{WEAK_DBFS:g} or more", unit="dBFS", source="our choice"
)
_NOISE = Check(
    name="sounds over noise",
    expected=f"{NOISY_DB:g} or more",
    unit="dB",
    source=f"our choice; below {HIDDEN_DB:g} dB noise hides the first and last sounds (measured)",
)
_CLIPPING = Check(
    name="clipping",
    expected=f"less than {SEEN_CLIPPED_SHARE * 100:g}",
    unit="% of samples",
    source="our choice; with 9 % one value in seven is wrong (measured on simulated recordings)",
)
_SPEECH = Check(
    name="speech",
    expected=f"less than {SPOKEN_SHARE * 100:g}",
    unit="% of the time",
    source="ACC/AHA checklist: nobody talks; the bound is measured on simulated recordings",
)
_HIDDEN = "systolic reads low, diastolic high, where the first and last sounds are hidden"


def sound_findings(quality: Quality, recording: Recording) -> tuple[Finding, ...]:
    """Judge the sound.

    Parameters
    ----------
    quality
        What the reading says of the sound.
    recording
        The recording: where no sound was judged its samples still tell of clipping.

    Returns
    -------
    tuple of Finding
        One for each check, always the same ones.
    """
    return (
        _level(quality),
        _noise(quality),
        _clipping(quality, recording),
        _speech(recording),
    )


def _level(quality: Quality) -> Finding:
    peak = quality.peak_dbfs
    if peak is None:
        return _LEVEL.unknown("no sound was judged")
    state = OK if peak >= WEAK_DBFS else LOOK if peak >= FAINT_DBFS else FAULT
    return _LEVEL.says(state, f"{peak:.0f}")


def _noise(quality: Quality) -> Finding:
    ratio = quality.signal_to_noise_db
    if ratio is None:
        return _NOISE.unknown("no sounds were found")
    state = OK if ratio >= NOISY_DB else LOOK if ratio >= HIDDEN_DB else FAULT
    return _NOISE.says(state, f"{ratio:.0f}", None if state is OK else _HIDDEN)


def _clipping(quality: Quality, recording: Recording) -> Finding:
    judged = quality.peak_dbfs is not None
    share = quality.clipped_share if judged else _share_clipped(recording)
    state = OK if share < SEEN_CLIPPED_SHARE else LOOK if share < CLIPPED_SHARE else FAULT
    return _CLIPPING.says(state, f"{float(f'{share * 100:.2g}'):g}")


def _speech(recording: Recording) -> Finding:
    share = voiced_share(recording.samples, recording.rate_hz)
    if share is None:
        return _SPEECH.unknown("the sound is too short, or below 2 kHz")
    return _SPEECH.says(OK if share < SPOKEN_SHARE else LOOK, f"{share * 100:.1f}")


def _share_clipped(recording: Recording) -> float:
    """Share of all samples at or beyond full scale."""
    samples = recording.samples
    level = CLIP_LEVEL / SCALES.get(samples.dtype.name, 1.0)
    clipped = 0
    for at in range(0, samples.size, BLOCK):
        block = samples[at : at + BLOCK].astype(np.float64)
        clipped += int(np.count_nonzero(np.abs(block) >= level))
    return clipped / max(samples.size, 1)
