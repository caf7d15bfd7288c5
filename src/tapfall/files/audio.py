"""Sound files: opened, checked and read into one channel of float32.

Formats, subtypes and the scaling of integers to 1.0 full scale are those of
libsndfile.  Channels count from 1, as people count them.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.bounds import LARGEST_SAMPLE, LOWEST_RATE_HZ, first_no_sound
from tapfall.errors import AudioError, SettingError, printable
from tapfall.files.names import PathLike, label_of, open_regular

#: Most samples of one channel: 69 minutes at 48 kHz, 0.8 GB (our choice).
MAX_SAMPLES = 200_000_000

#: Largest file, bytes (our choice).
MAX_BYTES = 4_000_000_000

#: How the comment of a sound file starts that holds a simulated sound.
SIMULATED_COMMENT = "tapfall simulated"

#: Highest rate that a pressure channel is brought down to by averaging (our choice).
PRESSURE_RATE_HZ = 200

_BLOCK_VALUES = 1 << 20
#: Bytes hashed at once.
_HASHED_BYTES = 1 << 20
_WANTED = "a sound file (WAV, FLAC, OGG or another format that libsndfile reads)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sound:
    """One channel of a sound file, and a pressure channel where one was asked for.

    Parameters
    ----------
    samples
        Sound, float32, shape ``(n,)``.
    rate_hz
        Sampling rate.
    sha256
        Of the whole file, in hexadecimal.
    channels
        How many channels the file holds.
    cuff_samples
        Means of blocks of the pressure channel, full scale 1.0, shape ``(m,)``.
    cuff_time_s
        The middle of each block, shape ``(m,)``.
    simulated
        Whether the file's comment says so.
    """

    samples: NDArray[np.float32]
    rate_hz: float
    sha256: str
    channels: int
    cuff_samples: NDArray[np.float64] | None = None
    cuff_time_s: NDArray[np.float64] | None = None
    simulated: bool = False


def sound_bytes(
    samples: NDArray[Any],
    rate_hz: int,
    *,
    subtype: str,
    form: str,
    simulated: bool,
    compression: float | None = None,
) -> bytes:
    """Return the bytes of a sound file whose only words, if any, say that it is simulated.

    It is made in memory: a disk that is full is told by Python then, not by the sound library.

    Parameters
    ----------
    samples
        One channel, shape ``(n,)``, full scale 1.0.
    rate_hz
        Sampling rate.
    subtype, form
        As libsndfile names them, such as ``PCM_24`` and ``WAV``.
    simulated
        Whether the sound is.
    compression
        0 to 1, for forms that pack; the library's own choice without it.

    Returns
    -------
    bytes
        The whole file.

    Examples
    --------
    >>> data = sound_bytes(
    ...     np.zeros(1000), 1000, subtype="PCM_24", form="WAV", simulated=True
    ... )
    >>> data[:4], SIMULATED_COMMENT.encode() in data
    (b'RIFF', True)
    """
    import soundfile

    file = io.BytesIO()
    with soundfile.SoundFile(
        file, "w", rate_hz, 1, subtype, format=form, compression_level=compression
    ) as track:
        if simulated:
            track.comment = f"{SIMULATED_COMMENT}: no person was measured"
        track.write(samples)
    return file.getvalue()


def read_sound(
    path: PathLike, *, channel: int | None = None, cuff_channel: int | None = None
) -> Sound:
    """Read one channel of a sound file.

    Parameters
    ----------
    path
        The file.
    channel
        The sound's channel, from 1; needed where more than one is left over.
    cuff_channel
        The channel that carries the cuff pressure, from 1.

    Returns
    -------
    Sound
        With the pressure channel, averaged, where one was asked for.

    Raises
    ------
    AudioError
        The file cannot be used as sound.
    SettingError
        A channel that the file does not have.
    """
    import soundfile

    label = label_of(path)
    with open_regular(path, AudioError, _WANTED, MAX_BYTES) as file, _hashing(file) as digest:
        promised = _promised_share(file)
        file.seek(0)
        try:
            # A descriptor, not a name: libsndfile would otherwise judge by the suffix.
            handle = file.fileno() if os.name == "posix" else file
            with soundfile.SoundFile(handle, closefd=False) as track:
                _check_head(label, track, promised)
                sound_index, cuff_index = _choose(label, track.channels, channel, cuff_channel)
                samples, pressure, block = _read(label, track, sound_index, cuff_index)
                rate_hz, channels = float(track.samplerate), int(track.channels)
                simulated = str(track.comment).startswith(SIMULATED_COMMENT)
        except (soundfile.SoundFileError, RuntimeError) as fault:
            reason = getattr(fault, "error_string", str(fault)).strip().rstrip(".")
            raise AudioError(
                f"{label}: found data that cannot be read as sound ({printable(reason)}); "
                f"allowed {_WANTED}"
            ) from None
    check_samples(label, samples)
    times = None
    if pressure is not None:
        first = np.arange(len(pressure)) * block
        last = np.minimum(first + block, len(samples)) - 1
        times = (first + last) / (2.0 * rate_hz)
    return Sound(
        samples=samples,
        rate_hz=rate_hz,
        sha256=digest.hexdigest(),
        channels=channels,
        cuff_samples=pressure,
        cuff_time_s=times,
        simulated=simulated,
    )


@contextlib.contextmanager
def _hashing(file: io.FileIO) -> Iterator[Any]:
    """Hash an open file beside what is done with it; complete once that is done.

    It takes as long as reading the sound, and neither holds the other up.
    """
    digest, faults = hashlib.sha256(), list[OSError]()

    def run() -> None:
        place = 0
        try:
            while part := os.pread(file.fileno(), _HASHED_BYTES, place):
                digest.update(part)
                place += len(part)
        except OSError as fault:
            faults.append(fault)

    if not hasattr(os, "pread"):  # a second reader would move the first one's place
        yield hashlib.file_digest(file, "sha256")
        return
    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield digest
    finally:
        thread.join()
    if faults:
        raise faults[0]


def _promised_share(file: io.FileIO) -> float:
    """Promised over held bytes of the samples of a WAV or AIFF file, else 1."""
    file.seek(0)
    head = file.read(12)
    order = {b"RIFF": "little", b"FORM": "big"}.get(head[:4])
    size = os.fstat(file.fileno()).st_size
    position = 12
    while order is not None and position + 8 <= size:
        file.seek(position)
        chunk = file.read(8)
        length = int.from_bytes(chunk[4:], order)  # type: ignore[arg-type]
        if chunk[:4] in (b"data", b"SSND"):
            extra = 8 if order == "big" else 0  # the fields that open an AIFF's samples
            held = size - position - 8 - extra
            # A writer that streams leaves one of the largest numbers: no promise.
            unknown = length >= 0x7FFFF000 or held <= 0
            return 1.0 if unknown else max(1.0, (length - extra) / held)
        position += 8 + length + length % 2
    return 1.0


def _check_head(label: str, track: Any, promised: float) -> None:
    rate_hz, frames = int(track.samplerate), int(track.frames)
    if rate_hz < LOWEST_RATE_HZ:
        raise AudioError(
            f"{label}: found a rate of {rate_hz} Hz; allowed {LOWEST_RATE_HZ} Hz or more"
        )
    if frames <= 0:
        raise AudioError(f"{label}: found 0 samples; allowed a sound that lasts")
    if frames > MAX_SAMPLES:
        raise AudioError(f"{label}: found {frames} samples; allowed at most {MAX_SAMPLES}")
    if promised > 1.0:
        raise _truncated(label, frames / rate_hz, promised * frames / rate_hz)


def _truncated(label: str, found_s: float, promised_s: float) -> AudioError:
    return AudioError(
        f"{label}: found {found_s:.3f} s of sound where the header promises "
        f"{promised_s:.3f} s; allowed a whole file"
    )


def _choose(
    label: str, channels: int, channel: int | None, cuff_channel: int | None
) -> tuple[int, int | None]:
    """Return the indices, from 0, of the sound and of the pressure channel."""
    for name, number in (("channel", channel), ("cuff_channel", cuff_channel)):
        if number is not None and not 1 <= number <= channels:
            allowed = f"1 to {channels}" if channels > 1 else "1"
            raise SettingError(
                f"{label}: found {name} {number}; allowed {allowed}, as many as the file has"
            )
    if cuff_channel is not None and (channel == cuff_channel or channels == 1):
        raise SettingError(
            f"{label}: found sound and cuff pressure on channel {cuff_channel}; "
            "allowed two different channels"
        )
    left = [n for n in range(1, channels + 1) if n != cuff_channel]
    if channel is None and len(left) > 1:
        raise AudioError(
            f"{label}: found {channels} channels; allowed one, or the choice of one of "
            f"{', '.join(map(str, left[:8]))}{', ...' if len(left) > 8 else ''} "
            f"(channel={left[0]}, or --channel {left[0]})"
        )
    chosen = channel if channel is not None else left[0]
    return chosen - 1, None if cuff_channel is None else cuff_channel - 1


def _read(
    label: str, track: Any, sound_index: int, cuff_index: int | None
) -> tuple[NDArray[np.float32], NDArray[np.float64] | None, int]:
    """Read block by block: the memory is that of one channel, whatever the file holds."""
    frames, channels, rate_hz = int(track.frames), int(track.channels), int(track.samplerate)
    block = -(-rate_hz // PRESSURE_RATE_HZ)
    step = max(1, _BLOCK_VALUES // (channels * block)) * block
    samples = np.empty(frames, dtype=np.float32)
    means: list[NDArray[np.float64]] = []
    got = 0
    while got < frames:
        if channels == 1:  # into its place, without a copy
            part = track.read(out=samples[got : got + step]).reshape(-1, 1)
        else:
            part = track.read(min(step, frames - got), dtype="float32", always_2d=True)
            samples[got : got + len(part)] = part[:, sound_index]
        if len(part) == 0:
            raise _truncated(label, got / rate_hz, frames / rate_hz)
        got += len(part)
        if cuff_index is not None:
            edges = np.arange(0, len(part), block)
            sums = np.add.reduceat(part[:, cuff_index].astype(np.float64), edges)
            means.append(sums / np.diff(np.append(edges, len(part))))
    return samples, np.concatenate(means) if means else None, block


def check_samples(label: str, samples: NDArray[np.float32]) -> None:
    """Check that samples are a sound.

    Raises
    ------
    AudioError
        One is not finite or beyond what sound can be, or all are alike.
    """
    low, high = float(samples.min()), float(samples.max())
    if not (low >= -LARGEST_SAMPLE and high <= LARGEST_SAMPLE):
        where = first_no_sound(samples)
        assert where is not None  # a NaN, or the least or greatest
        finite = np.isfinite(samples[where])
        raise AudioError(
            f"{label}: found {samples[where]:g} at sample {where + 1}; allowed "
            + (f"samples of at most {LARGEST_SAMPLE:g}" if finite else "finite samples")
        )
    if low == high:
        raise AudioError(
            f"{label}: found every sample equal to {low:g}; allowed a sound that varies"
        )
