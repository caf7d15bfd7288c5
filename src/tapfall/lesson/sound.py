"""The sounds of a listening page: as they are in the files, but small and never too loud.

FLAC is what every browser decodes and what loses nothing that it is given; 8 kHz is the
lowest rate that the Web Audio API promises to take.  Sound below 25 Hz is left out: no
ear hears it, and headphones need not move for it.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence

import librosa
import numpy as np
import soundfile
from numpy.typing import NDArray

from tapfall.lesson.level import swing
from tapfall.lesson.nouns import COVERED_BELOW_MMHG, Dial
from tapfall.lesson.padding import common_size, padded
from tapfall.show.playback import CEILING, RATE_HZ, faded, gain_for, limited
from tapfall.show.sound_panels import scaled, tamed, without_thumps

#: Steps of the samples: 14 bits.  Their noise, 89 dB below full scale, is 77 dB below the
#: loudest sample allowed; the page is a third smaller than with 16 (measured).
STEPS = 2**13
#: The tones by which the volume is set: as loud as anything in the page, and 26 dB below,
#: about where the first and last sounds are (our choice).
TONE_HZ = 100.0
TONE_LOUD = CEILING
TONE_FAINT = CEILING / 20.0

Samples = NDArray[np.float32]


def at_page_rate(samples: NDArray[np.generic], rate_hz: float) -> Samples:
    """Return a sound at 8 kHz, without what lies below 25 Hz.

    Parameters
    ----------
    samples
        The sound, shape ``(n,)``; integers are scaled by their type.
    rate_hz
        Its rate.
    """
    sound = tamed(scaled(samples))
    if rate_hz != RATE_HZ:
        sound = librosa.resample(sound, orig_sr=rate_hz, target_sr=RATE_HZ, res_type="soxr_hq")
    return without_thumps(sound, RATE_HZ)


def gain_db(sound: Samples, dial: Dial) -> float:
    """Return by how many dB a sound can be raised, judged by its deflation alone.

    The pump before it and the release after it are often far louder than the sounds.

    Parameters
    ----------
    sound
        At 8 kHz, shape ``(n,)``.
    dial
        What the manometer shows along it.

    Examples
    --------
    >>> pumped = np.repeat(np.array([1.0, 0.1, 1.0], dtype=np.float32), RATE_HZ)
    >>> gain_db(pumped, Dial(step_s=0.5, mmhg=(None, 90.0, 180.0, 100.0, 30.0, None)))
    0.0
    """
    shown = np.array([np.nan if one is None else one for one in dial.mmhg], dtype=np.float64)
    if np.isnan(shown).all():
        return gain_for(sound)
    top = int(np.nanargmax(shown))
    last = top + int(np.flatnonzero(shown[top:] >= COVERED_BELOW_MMHG)[-1:].sum())
    first, end = (int(place * dial.step_s * RATE_HZ) for place in (top, last))
    part = sound[first:end]
    return gain_for(part if part.size else sound)


def equal(sounds: Sequence[str]) -> tuple[str, ...]:
    """Return packed sounds padded to one size, which says nothing of what they hold.

    Parameters
    ----------
    sounds
        FLAC in base64.

    Examples
    --------
    >>> quiet, loud = np.zeros(800, np.float32), np.full(800, 0.1, np.float32)
    >>> loud[::2] = 0.0
    >>> [len(one) for one in equal([packed(quiet, 0.0), packed(loud, 0.0)])]
    [5464, 5464]
    """
    files = [base64.b64decode(one) for one in sounds]
    size = common_size([len(file) for file in files]) if files else 0
    return tuple(base64.b64encode(padded(file, size)).decode("ascii") for file in files)


def packed(sound: Samples, gain_db: float) -> str:
    """Return a sound as a FLAC file in base64; it names nothing.

    Parameters
    ----------
    sound
        At 8 kHz, shape ``(n,)``.
    gain_db
        By how much it is raised before its peaks are held below the ceiling.

    Examples
    --------
    >>> text = packed(np.zeros(800, dtype=np.float32), 0.0)
    >>> base64.b64decode(text)[:4]
    b'fLaC'
    """
    held, _ = limited(sound * np.float32(10.0 ** (gain_db / 20.0)))
    # Between its samples it swings a little further than they do: not so far as the tone.
    most = CEILING - 1.0 / STEPS
    held = held * np.float32(most / swing(held, most))
    stepped = np.round(faded(held) * STEPS) / STEPS
    file = io.BytesIO()
    soundfile.write(file, stepped, RATE_HZ, format="FLAC", subtype="PCM_16", compression_level=1.0)
    return base64.b64encode(file.getvalue()).decode("ascii")
