"""The sound of a reading for a player in a page: short, small, and never loud.

What is played is not what was read: it is trimmed, brought to one level and
limited, for ears and for the size of a page.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import librosa
import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from tapfall.ear.measurement import REST_MMHG
from tapfall.model import Reading, Recording
from tapfall.show.figure import log_time_s
from tapfall.show.sound_panels import cut, tamed, without_thumps

#: Rate of the sound played: all of a Korotkoff sound and of speech over a stethoscope.
RATE_HZ = 8000
#: Level of the usual loudest sample of the beats, of full scale (-20 dB; our choice).
USUAL = 0.1
#: No sample is louder (-12 dB of full scale; our choice).
CEILING = 0.25
#: Faint sounds are raised by so much at most, in dB (our choice: noise comes up with them).
MOST_GAIN_DB = 20.0
#: Recordings up to this length stay whole, seconds (our choice).
WHOLE_S = 90.0
#: What is left before the first and after the last beat of a longer one, seconds.
MARGIN_S = 3.0
#: The longest sound in a page, seconds: 6.4 MB as text.
LONGEST_S = 300.0
#: The gain moves over so much time on either side of a peak, seconds (our choice).
_MOVE_S = 0.02
_FADE_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Playback:
    """A piece of sound, ready to be played.

    Parameters
    ----------
    uri
        A ``data:`` address that holds a WAV file, 16 bit, mono, 8 kHz.
    start_s, end_s
        What part of the recording it is.
    recording_s
        Length of the whole recording.
    gain_db
        By how much its level was changed, before the limiter.
    limited_share
        Share of the samples whose peaks were held down.
    """

    uri: str
    start_s: float
    end_s: float
    recording_s: float
    gain_db: float
    limited_share: float

    @property
    def whole(self) -> bool:
        """Whether it is the whole recording."""
        return self.end_s - self.start_s >= self.recording_s - 0.001


def playback_of(recording: Recording, reading: Reading) -> Playback | None:
    """Make the sound of a recording ready for a page.

    Sound below 25 Hz is left out: no ear hears it, and headphones need not
    move for it.

    Parameters
    ----------
    recording, reading
        The sound, and the beats that say which part matters.

    Returns
    -------
    Playback or None
        None where there is no sound.
    """
    start_s, end_s = played_span_s(recording, reading)
    samples, start_s = cut(recording, start_s, end_s)
    if not samples.size:
        return None
    end_s = start_s + samples.size / recording.rate_hz
    samples = tamed(samples)
    if recording.rate_hz != RATE_HZ:
        samples = librosa.resample(
            samples, orig_sr=recording.rate_hz, target_sr=RATE_HZ, res_type="soxr_hq"
        )
    samples = without_thumps(samples, RATE_HZ)
    gain_db = gain_for(_of_the_beats(samples, reading, start_s))
    samples, limited_share = limited(samples * np.float32(10.0 ** (gain_db / 20.0)))
    file = io.BytesIO()
    soundfile.write(file, faded(samples), RATE_HZ, format="WAV", subtype="PCM_16")
    return Playback(
        uri="data:audio/wav;base64," + base64.b64encode(file.getvalue()).decode("ascii"),
        start_s=start_s,
        end_s=end_s,
        recording_s=recording.samples.size / recording.rate_hz,
        gain_db=gain_db,
        limited_share=limited_share,
    )


def played_span_s(recording: Recording, reading: Reading) -> tuple[float, float]:
    """Which part of a recording is played.

    Returns
    -------
    start_s, end_s : float
        All of a short recording; of a longer one the beats with a margin, or
        where there are none the last stretch with the cuff above rest, or else
        the beginning; 300 s at most.
    """
    whole_s = recording.samples.size / recording.rate_hz
    if whole_s <= WHOLE_S:
        return 0.0, whole_s
    first_s, last_s = 0.0, WHOLE_S - MARGIN_S
    if reading.beats:
        first_s, last_s = reading.beats[0].time_s, reading.beats[-1].time_s
    else:
        log_s = log_time_s(recording, reading)
        risen = recording.cuff.pressure_mmhg >= REST_MMHG
        inside = np.flatnonzero(risen & (log_s >= 0.0) & (log_s < whole_s))
        if inside.size:
            resting = np.flatnonzero(~risen[: inside[-1]])
            first_s = float(log_s[resting[-1] if resting.size else 0])
            last_s = float(log_s[inside[-1]])
    start_s = max(0.0, first_s - MARGIN_S)
    return start_s, min(whole_s, last_s + MARGIN_S, start_s + LONGEST_S)


def gain_for(samples: NDArray[np.float32]) -> float:
    """By how many dB the level of a sound is changed, so that its usual loudest is -20 dB.

    Examples
    --------
    >>> gain_for(np.full(1000, 0.1, dtype=np.float32)), gain_for(np.zeros(9, dtype=np.float32))
    (0.0, 0.0)
    >>> gain_for(np.full(1000, 1e-6, dtype=np.float32))
    20.0
    """
    loud = float(np.percentile(np.abs(samples), 99.5)) if samples.size else 0.0
    if not loud:
        return 0.0
    return round(min(20.0 * float(np.log10(USUAL / loud)), MOST_GAIN_DB), 1) + 0.0


def limited(samples: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """Hold every sample below the ceiling, without the edges of clipping.

    The gain falls before a peak and rises after it: the least gain around each
    sample, then a mean over the same width, which is no greater than what any
    sample in it allows.

    Parameters
    ----------
    samples
        Sound at 8 kHz, shape ``(n,)``.

    Returns
    -------
    held : ndarray, shape (n,)
        The sound, no sample beyond 0.25.
    share : float
        Share of the samples that were turned down.

    Examples
    --------
    >>> held, share = limited(np.array([0.0] * 500 + [1.0] + [0.1] * 499, dtype=np.float32))
    >>> round(float(held.max()), 6), bool(held[-1] == np.float32(0.1)), 0.0 < share < 0.7
    (0.25, True, True)
    """
    allowed = np.minimum(1.0, CEILING / np.maximum(np.abs(samples).astype(np.float64), 1e-12))
    width = 2 * int(_MOVE_S * RATE_HZ) + 1
    least = np.pad(minimum_filter1d(allowed, width, mode="nearest"), width // 2, mode="edge")
    sums = np.cumsum(np.concatenate([[0.0], least]))
    gain = np.minimum((sums[width:] - sums[:-width]) / width, 1.0)
    held = np.clip(samples * gain, -CEILING, CEILING)
    return held.astype(np.float32), float(np.mean(gain < 1.0 - 1e-9))


def _of_the_beats(
    samples: NDArray[np.float32], reading: Reading, start_s: float
) -> NDArray[np.float32]:
    """The sound from the first beat to the last, or all of it."""
    if not reading.beats:
        return samples
    first = int((reading.beats[0].time_s - start_s) * RATE_HZ)
    last = int((reading.beats[-1].time_s + 0.3 - start_s) * RATE_HZ)
    part = samples[max(first, 0) : max(last, 0)]
    return part if part.size else samples


def faded(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the sound with a short rise and fall at its ends: no click when it starts.

    Examples
    --------
    >>> faded(np.ones(4000, dtype=np.float32))[[0, 200, 2000, 3999]].tolist()
    [0.0, 0.5, 1.0, 0.0]
    """
    count = min(int(_FADE_S * RATE_HZ), samples.size // 2)
    ramp = (np.arange(count) / max(count, 1)).astype(np.float32)
    faded = samples.copy()
    faded[:count] *= ramp
    faded[faded.size - count :] *= ramp[::-1]
    return faded
