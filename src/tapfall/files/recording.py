"""A recording from its files, and into files."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tapfall.bounds import HIGHEST_MMHG, LOWEST_MMHG
from tapfall.errors import CuffLogError, InputError, SettingError, shown
from tapfall.files.audio import Sound, read_sound, sound_bytes
from tapfall.files.cufflog import SIMULATED_COLUMN, read_marked_cuff_log
from tapfall.files.cuffrules import check_overlap
from tapfall.files.lab import lab_log, lab_sound, log_of, opener_of
from tapfall.files.labfile import LabFile
from tapfall.files.names import PathLike, base_name, label_of
from tapfall.files.writing import write_together
from tapfall.model import CuffLog, Recording, Source


def load(
    audio: PathLike,
    cuff: PathLike | None = None,
    *,
    channel: int | str | None = None,
    cuff_channel: int | str | None = None,
    cuff_scale: float | None = None,
    cuff_offset: float | None = None,
    lag_s: float | None = None,
) -> Recording:
    """Read a stethoscope track and its cuff-pressure log.

    Parameters
    ----------
    audio
        A sound file that libsndfile reads (WAV, FLAC, OGG, ...), at 1 kHz or
        more, of one channel or with ``channel`` chosen; or a WFDB record
        (``.hea``), an EDF file or a MATLAB file, chosen by suffix.
    cuff
        The cuff log: CSV with the columns ``time_s`` and ``pressure_mmHg`` or
        ``pressure_kPa``, see :mod:`tapfall.files.cufflog`; or a file of one of
        those other forms.
    channel
        The channel of the sound, counted from 1; its name where the form has names.
    cuff_channel
        The channel that carries the cuff pressure, by number or name: of
        ``cuff`` where that is a file with channels, of ``audio`` where
        ``cuff`` is None.  It is averaged down to 200 Hz or less.
    cuff_scale
        mmHg per full scale (1.0) of the pressure channel of a sound file;
        needed with it.  In the other forms mmHg per volt, or per unit of the
        values: needed where the channel is in no unit of pressure.
    cuff_offset
        mmHg at a sample of 0; 0 unless given.
    lag_s
        Log time minus audio time, if known: only whether log and sound
        overlap is judged with it.

    Returns
    -------
    Recording
        Samples as float32 with full scale 1.0; clipping is no error here.

    Raises
    ------
    AudioError
        The sound is missing, empty, cut short, not sound, constant, not
        finite, below 1 kHz, or has several channels and none is chosen.
    CuffLogError
        The log is unusable, or shares no time with the sound.
    SettingError
        Arguments that contradict each other.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import numpy as np
    >>> import soundfile
    >>> time_s = np.arange(2000) / 1000.0
    >>> both = np.stack([0.1 * np.sin(300.0 * time_s), 0.5 - 0.01 * time_s], axis=1)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "both.wav"
    ...     soundfile.write(path, both, 1000, subtype="FLOAT")
    ...     recording = load(path, channel=1, cuff_channel=2, cuff_scale=300.0)
    >>> recording.rate_hz, round(float(recording.cuff.pressure_mmhg[0]))
    (1000.0, 150)

    And of other forms::

        recording = load("arm.wav", "arm.csv")
        recording = load("arm.edf", channel="Mic", cuff_channel="Cuff")
    """
    _check_arguments(audio, cuff, cuff_channel, cuff_scale, cuff_offset, lag_s)

    def to_log(lab: LabFile, index: int) -> CuffLog:
        return log_of(lab, index, cuff_scale, cuff_offset)

    sound, log = _sound(audio, channel, cuff_channel if cuff is None else None, to_log)
    audio_name = base_name(audio)
    simulated = sound.simulated
    if cuff is None:
        label = f"{label_of(audio)}: channel {_named(cuff_channel)}"
        if log is None:
            log = _channel_log(label, sound, cuff_scale or math.nan, cuff_offset or 0.0)
        cuff_name, cuff_sha256 = audio_name, sound.sha256
    else:
        label, cuff_name = label_of(cuff), base_name(cuff)
        opener = opener_of(cuff)
        if opener is not None:
            log, cuff_sha256 = lab_log(opener, cuff, cuff_channel, to_log)
        else:
            log, cuff_sha256, marked = read_marked_cuff_log(cuff)
            simulated = simulated or marked
    check_overlap(label, log, len(sound.samples) / sound.rate_hz, lag_s or 0.0)
    source = Source(
        audio_name=audio_name,
        audio_sha256=sound.sha256,
        cuff_name=cuff_name,
        cuff_sha256=cuff_sha256,
    )
    return Recording(
        samples=sound.samples,
        rate_hz=sound.rate_hz,
        cuff=log,
        source=source,
        simulated=simulated,
    )


def _sound(
    audio: PathLike,
    channel: int | str | None,
    cuff_channel: int | str | None,
    to_log: Callable[[LabFile, int], CuffLog],
) -> tuple[Sound, CuffLog | None]:
    """Read the sound, with the log where it comes ready from the same file."""
    opener = opener_of(audio)
    if opener is not None:
        return lab_sound(opener, audio, channel, cuff_channel, to_log)
    for name, value in (("channel", channel), ("cuff_channel", cuff_channel)):
        if isinstance(value, str):
            raise SettingError(
                f"{label_of(audio)}: found {name} {shown(value)}; allowed a number, counted from "
                "1: the channels of a sound file have no names"
            )
    return read_sound(audio, channel=channel, cuff_channel=cuff_channel), None  # type: ignore


def _named(channel: int | str | None) -> str:
    return shown(channel, 30) if isinstance(channel, str) else str(channel)


def save(recording: Recording, audio: PathLike, cuff: PathLike) -> None:
    """Write a recording as a WAV file of 24 bits and a cuff log, both or neither.

    A simulated recording is marked in both: by the comment of the sound file, and by a
    column of the log.

    Parameters
    ----------
    recording
        The recording; samples beyond full scale are clipped.
    audio
        The sound file to write, in WAV form whatever its name.
    cuff
        The CSV to write: times to the microsecond, pressures to 0.0001 mmHg.

    Raises
    ------
    InputError
        A file cannot be written, or the sampling rate is not a whole number.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import numpy as np
    >>> from tapfall.model import CuffLog, Recording
    >>> cuff = CuffLog(time_s=np.array([0.0, 1.0]), pressure_mmhg=np.array([150.0, 147.0]))
    >>> recording = Recording(samples=np.sin(np.arange(1000.0)), rate_hz=1000.0, cuff=cuff)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sound, log = pathlib.Path(folder) / "arm.wav", pathlib.Path(folder) / "arm.csv"
    ...     save(recording, sound, log)
    ...     load(sound, log).cuff.pressure_mmhg.tolist()
    [150.0, 147.0]
    """
    write_together(recording_files(recording, audio, cuff))


def recording_files(recording: Recording, audio: PathLike, cuff: PathLike) -> dict[PathLike, bytes]:
    """Return what :func:`save` writes: the content of each file by its name.

    Raises
    ------
    InputError
        The sampling rate is not a whole number.
    """
    if recording.rate_hz != int(recording.rate_hz):
        raise InputError(
            f"{label_of(audio)}: found a rate of {recording.rate_hz:g} Hz; "
            "allowed whole numbers of Hz in a WAV file"
        )
    samples = full_scale(recording.samples)
    sound = sound_bytes(
        np.clip(samples, -1.0, 1.0),
        int(recording.rate_hz),
        subtype="PCM_24",
        form="WAV",
        simulated=recording.simulated,
    )
    rows = zip(
        np.round(recording.cuff.time_s, 6).tolist(),
        np.round(recording.cuff.pressure_mmhg, 4).tolist(),
        strict=True,
    )
    head, cell = (f",{SIMULATED_COLUMN}", ",1") if recording.simulated else ("", "")
    text = f"time_s,pressure_mmHg{head}\n"
    text += "".join(f"{time},{mmhg}{cell}\n" for time, mmhg in rows)
    return {audio: sound, cuff: text.encode("ascii")}


def full_scale(samples: NDArray[np.generic]) -> NDArray[np.floating]:
    """Return samples as floats of full scale 1.0; int16 and int32 are scaled.

    Examples
    --------
    >>> full_scale(np.array([-32768, 16384], dtype=np.int16)).tolist()
    [-1.0, 0.5]
    """
    if np.issubdtype(samples.dtype, np.floating):
        return samples  # type: ignore[return-value]
    return samples / -float(np.iinfo(samples.dtype).min)  # type: ignore


def _check_arguments(
    audio: PathLike,
    cuff: PathLike | None,
    cuff_channel: int | str | None,
    cuff_scale: float | None,
    cuff_offset: float | None,
    lag_s: float | None,
) -> None:
    lab = opener_of(audio if cuff is None else cuff) is not None
    if (cuff is None) == (cuff_channel is None) and not (lab and cuff is not None):
        found = "neither" if cuff is None else "both"
        raise SettingError(f"found {found} of a cuff log and a cuff channel; allowed one of them")
    if cuff_channel is None and not lab and (cuff_scale is not None or cuff_offset is not None):
        raise SettingError("found a cuff scale or offset; allowed only with a cuff channel")
    if cuff_channel is not None and cuff_scale is None and not lab:
        raise SettingError("found no cuff scale; allowed a cuff channel with its scale in mmHg")
    for name, value in (("scale", cuff_scale), ("offset", cuff_offset), ("lag", lag_s)):
        if value is not None and not math.isfinite(value):
            raise SettingError(f"found {name} {value}; allowed a finite number")
    if cuff_scale == 0.0:
        raise SettingError("found a cuff scale of 0; allowed mmHg per full scale other than 0")


def _channel_log(label: str, sound: Sound, scale: float, offset: float) -> CuffLog:
    """Scale the pressure channel; its values are held to the range of a log."""
    if sound.cuff_samples is None or sound.cuff_time_s is None:
        raise CuffLogError(f"{label}: found no pressure channel; allowed one in the sound file")
    with np.errstate(over="ignore", invalid="ignore"):
        mmhg = sound.cuff_samples * scale + offset
    bad = np.flatnonzero(~((mmhg >= LOWEST_MMHG) & (mmhg <= HIGHEST_MMHG)))
    if len(bad):
        raise CuffLogError(
            f"{label}: found {mmhg[bad[0]]:g} mmHg at {sound.cuff_time_s[bad[0]]:.3f} s; "
            f"allowed {LOWEST_MMHG:g} to {HIGHEST_MMHG:g} mmHg (see the scale and the offset)"
        )
    if len(mmhg) < 2:
        raise CuffLogError(f"{label}: found 1 pressure; allowed 2 or more")
    return CuffLog(time_s=sound.cuff_time_s, pressure_mmhg=mmhg)
