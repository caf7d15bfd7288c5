"""What files of laboratory forms have in common: named channels, each with a unit."""

from __future__ import annotations

import hashlib
import importlib
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.bounds import LOWEST_RATE_HZ
from tapfall.errors import AudioError, InputError, SettingError, printable, shown
from tapfall.files.audio import MAX_BYTES, MAX_SAMPLES, check_samples
from tapfall.files.names import PathLike, open_regular
from tapfall.model import FloatArray

_LISTED = 8
_LONGEST_NAME = 30
_LONGEST_REASON = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabChannel:
    """One channel; its samples are read when they are asked for.

    Parameters
    ----------
    name, unit
        As the file says; empty where it says nothing.
    count
        How many samples it has.
    rate_hz
        Samples per second, None where the file gives none.
    values
        Returns the samples in ``unit``, NaN where one is missing, shape ``(count,)``.
    sound
        Returns the samples as float32 with the converter's full scale at 1.0, shape
        ``(count,)``.
    time_s
        Returns the time of each sample where the file lists them, shape ``(count,)``.
    """

    name: str
    unit: str
    count: int
    rate_hz: float | None
    values: Callable[[], FloatArray]
    sound: Callable[[], NDArray[np.float32]]
    time_s: Callable[[], FloatArray] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabFile:
    """A file with its channels.

    Parameters
    ----------
    label
        Its name, for messages.
    form
        What it is: ``"an EDF file"``.
    sha256
        Of the whole file in hexadecimal; of the header followed by its signal files for
        a WFDB record.
    channels
        In the order of the file.
    error
        The error type to raise.
    """

    label: str
    form: str
    sha256: str
    channels: tuple[LabChannel, ...]
    error: type[InputError]


def needed(package: str, label: str, form: str, error: type[InputError]) -> Any:
    """Import a package of the extra ``lab``.

    Raises
    ------
    InputError
        Of the given type: the package is not installed.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return importlib.import_module(package)
    except ImportError:
        raise error(
            f"{label}: found {form}, and the package {package} is not installed; allowed once it "
            "is (pip install 'tapfall[lab]')"
        ) from None


@contextmanager
def refusing(label: str, form: str, error: type[InputError]) -> Iterator[None]:
    """Turn whatever a library raises over damaged data into one line.

    Libraries that parse a file meet damage with errors of every type, and with warnings:
    nothing of that is for the user.
    """
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except Exception as fault:
        lines = str(fault).strip().splitlines() or [type(fault).__name__]
        reason = printable(lines[0][:_LONGEST_REASON]).rstrip(".")
        raise error(
            f"{label}: found data that cannot be read as {form} ({reason}); allowed a whole one"
        ) from None


def hash_of(paths: list[PathLike], error: type[InputError], wanted: str) -> str:
    """Return the SHA-256 of files, one after the other, each opened with care."""
    digest = hashlib.sha256()
    for path in paths:
        with open_regular(path, error, wanted, MAX_BYTES) as file:
            while data := file.read(1 << 20):
                digest.update(data)
    return digest.hexdigest()


def check_sample_count(label: str, name: str, count: int, error: type[InputError]) -> None:
    """Raise where a channel is empty or absurdly long."""
    if not 0 < count <= MAX_SAMPLES:
        raise error(
            f"{label}: channel {shown(name, _LONGEST_NAME)}: found {count} samples; allowed 1 to "
            f"{MAX_SAMPLES}"
        )


def listed(lab: LabFile) -> str:
    """The channels of a file, for messages: number, name and unit."""
    texts = []
    for number, channel in enumerate(lab.channels[:_LISTED], 1):
        unit = f" ({printable(channel.unit[:12])})" if channel.unit else ""
        texts.append(f"{number} {shown(channel.name, _LONGEST_NAME)}{unit}")
    return ", ".join(texts) + (", ..." if len(lab.channels) > _LISTED else "")


def index_of(lab: LabFile, wanted: int | str, option: str) -> int:
    """Return the index, from 0, of a channel given by number or name.

    Raises
    ------
    SettingError
        There is no such channel, or more than one of that name.
    """
    if isinstance(wanted, int):
        if 1 <= wanted <= len(lab.channels):
            return wanted - 1
        raise SettingError(f"{lab.label}: found {option} {wanted}; allowed {listed(lab)}")
    names = [channel.name for channel in lab.channels]
    found = [n for n, name in enumerate(names) if name == wanted]
    if not found:
        found = [n for n, name in enumerate(names) if name.lower() == wanted.lower()]
    if len(found) == 1:
        return found[0]
    if found:
        numbers = ", ".join(str(n + 1) for n in found[:_LISTED])
        raise SettingError(
            f"{lab.label}: found {option} {shown(wanted)} on {len(found)} channels; allowed one "
            f"of their numbers: {numbers}"
        )
    raise SettingError(f"{lab.label}: found {option} {shown(wanted)}; allowed {listed(lab)}")


def only_channel(lab: LabFile, option: str, besides: int | None = None) -> int:
    """Return the index of the one channel that can be meant.

    Raises
    ------
    InputError
        Of the file's type: there is another one.
    """
    left = [n for n in range(len(lab.channels)) if n != besides]
    if len(left) == 1:
        return left[0]
    count = f"{len(lab.channels)} channels" if lab.channels else "no channels"
    raise lab.error(
        f"{lab.label}: found {count}; allowed one, or the choice of one "
        f"({option}=, or --{option.replace('_', '-')}): {listed(lab) or 'there is none'}"
    )


def sound_of(lab: LabFile, index: int) -> tuple[NDArray[np.float32], float]:
    """Return the samples of a sound channel, full scale 1.0, and their rate.

    Raises
    ------
    AudioError
        The channel has no rate, one below 1 kHz, or samples that cannot be a sound.
    """
    channel = lab.channels[index]
    where = f"{lab.label}: channel {shown(channel.name, _LONGEST_NAME)}"
    if channel.rate_hz is None:
        raise AudioError(f"{where}: found no rate; allowed a sound whose rate the file gives")
    if not LOWEST_RATE_HZ <= channel.rate_hz < 1e9:
        raise AudioError(
            f"{where}: found a rate of {channel.rate_hz:g} Hz; allowed {LOWEST_RATE_HZ} Hz or more"
        )
    with refusing(lab.label, lab.form, lab.error):
        samples = channel.sound()
    check_samples(where, samples)
    return samples, channel.rate_hz
