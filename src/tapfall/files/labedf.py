"""EDF and EDF+ files: the channels of a continuous recording.

Kemp et al. 1992 (EDF) and Kemp and Olivan 2003 (EDF+); read by the package edfio.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.errors import InputError
from tapfall.files.labfile import LabChannel, LabFile, check_sample_count, hash_of, needed, refusing
from tapfall.files.names import PathLike, label_of
from tapfall.model import FloatArray

FORM = "an EDF file"


def open_edf(path: PathLike, error: type[InputError]) -> LabFile:
    """Open an EDF or EDF+ file.

    Raises
    ------
    InputError
        Of the given type: it is no EDF file, is cut short, has pauses, or edfio is not
        installed.
    """
    label = label_of(path)
    sha256 = hash_of([path], error, FORM)
    edfio = needed("edfio", label, FORM, error)
    with refusing(label, FORM, error):
        with Path(path).open("rb") as file:
            head = file.read(256)
        if len(head) < 256 or head[:8] != b"0       ":
            raise error(f"{label}: found no EDF header; allowed {FORM}")
        # Real files hold bytes beyond ASCII in their units; every byte is a letter here.
        edf = edfio.read_edf(Path(path), lazy_load_data=True, header_encoding="latin-1")
        promised, held = int(head[236:244]), int(edf.num_data_records)
        if promised not in (held, -1):  # -1: not known when the header was written
            raise error(
                f"{label}: found {held} data records where the header promises {promised}; "
                "allowed a whole file"
            )
        if edf.reserved.startswith("EDF+D") and not edf.is_continuous:
            raise error(f"{label}: found a recording with pauses (EDF+D); allowed one without")
        channels = tuple(_channel(label, signal, error) for signal in edf.signals)
    return LabFile(label=label, form=FORM, sha256=sha256, channels=channels, error=error)


def _channel(label: str, signal: Any, error: type[InputError]) -> LabChannel:
    name, count = str(signal.label), int(signal._num_samples)
    check_sample_count(label, name, count, error)
    low, high = int(signal.digital_min), int(signal.digital_max)
    first, last = float(signal.physical_min), float(signal.physical_max)
    rate_hz = float(signal.sampling_frequency)
    if not (low < high and np.isfinite([first, last, rate_hz]).all() and rate_hz > 0.0):
        raise error(
            f"{label}: found a channel without range or rate ({low} to {high}, {rate_hz:g} Hz); "
            "allowed a digital range that rises"
        )
    gain = (last - first) / (high - low)

    def values() -> FloatArray:
        return np.asarray((signal.digital.astype(np.float64) - low) * gain + first)

    def sound() -> NDArray[np.float32]:
        # The digital range is the converter's: its ends are full scale.
        half = (high - low + 1) / 2.0
        return np.asarray((signal.digital - (low + half)) / half * np.sign(gain or 1.0), np.float32)

    return LabChannel(
        name=name,
        unit=str(signal.physical_dimension) if gain else "",
        count=count,
        rate_hz=rate_hz,
        values=values,
        sound=sound,
    )
