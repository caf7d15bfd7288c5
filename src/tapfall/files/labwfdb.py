"""WFDB records: a header that names its signal files, all in one folder.

Read by the package wfdb, after what the header promises was checked against the files.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.errors import InputError, shown
from tapfall.files.audio import MAX_SAMPLES
from tapfall.files.labfile import LabChannel, LabFile, check_sample_count, hash_of, needed, refusing
from tapfall.files.names import PathLike, label_of
from tapfall.model import FloatArray

FORM = "a WFDB record"

#: Bits of a sample's range, and bits it takes in the file, by format (WFDB signal(5), from
#: memory); compressed formats have no fixed size.
_BITS: dict[str, tuple[int, float | None]] = {
    "8": (8, 8.0),
    "16": (16, 16.0),
    "24": (24, 24.0),
    "32": (32, 32.0),
    "61": (16, 16.0),
    "80": (8, 8.0),
    "160": (16, 16.0),
    "212": (12, 12.0),
    "310": (10, 32.0 / 3.0),
    "311": (10, 32.0 / 3.0),
    "508": (8, None),
    "516": (16, None),
    "524": (24, None),
}

#: A header of more than this is none (our choice).
_LONGEST_HEADER = 1_000_000

#: A gain of 0 in a signal line: the signal is not calibrated, whatever unit is named.
_NO_GAIN = re.compile(r"0+(\.0*)?(\(|/|$)")


def open_wfdb(path: PathLike, error: type[InputError]) -> LabFile:
    """Open a WFDB record by its header or its signal file.

    Raises
    ------
    InputError
        Of the given type: it is no record, has several segments, names files outside its
        folder, promises more than they hold, or wfdb is not installed.
    """
    label = label_of(path)
    header = Path(path).with_suffix(".hea")
    hash_of([header], error, FORM)
    wfdb = needed("wfdb", label, FORM, error)
    with refusing(label, FORM, error):
        text = header.read_bytes()[: _LONGEST_HEADER + 1].decode("latin-1")
        if len(text) > _LONGEST_HEADER:
            raise error(f"{label}: found a header of over {_LONGEST_HEADER} bytes; allowed {FORM}")
        # An absolute name is never taken for an address on the net.
        place = str(header.resolve().with_suffix(""))
        record = wfdb.rdheader(place)
        if isinstance(record, wfdb.MultiRecord):
            raise error(f"{label}: found a record of several segments; allowed one segment")
        if not record.n_sig or not record.file_name:
            raise error(f"{label}: found no signals; allowed a record with signals")
        files = _files(label, header.parent, record, error)
        sha256 = hash_of([header, *files], error, FORM)
        lines = [line for line in text.splitlines() if line.strip() and line.lstrip()[0] != "#"]
        channels = tuple(
            _channel(label, wfdb, place, record, index, lines[index + 1], error)
            for index in range(record.n_sig)
        )
    return LabFile(label=label, form=FORM, sha256=sha256, channels=channels, error=error)


def _files(label: str, folder: Path, record: Any, error: type[InputError]) -> list[Path]:
    """Return the signal files, checked against what the header promises."""
    per_file: dict[str, float] = {}
    for index, name in enumerate(record.file_name):
        # A header is other people's text: it names files beside it, nothing else.
        if not re.fullmatch(r"[\w-][\w.-]*", name, re.ASCII):
            raise error(
                f"{label}: found a signal file {shown(name)}; allowed a file beside the header"
            )
        form = str(record.fmt[index])
        if form not in _BITS:
            raise error(f"{label}: found the format {shown(form)}; allowed {', '.join(_BITS)}")
        stored = _BITS[form][1] or 0.0
        per_file[name] = per_file.get(name, 0.0) + stored * (record.samps_per_frame[index] or 1)
    length = record.sig_len
    if length is not None and not 0 < length <= MAX_SAMPLES:
        raise error(f"{label}: found {length} frames; allowed 1 to {MAX_SAMPLES}")
    for name, bits in per_file.items():
        hash_of([folder / name], error, FORM)
        held = (folder / name).stat().st_size
        if length is not None and int(length * bits / 8.0) > held:
            raise error(
                f"{label}: found {held} bytes in {name} where the header promises "
                f"{int(length * bits / 8.0)}; allowed a whole record"
            )
    return [folder / name for name in per_file]


def _channel(
    label: str,
    wfdb: Any,
    place: str,
    record: Any,
    index: int,
    line: str,
    error: type[InputError],
) -> LabChannel:
    per_frame = int(record.samps_per_frame[index] or 1)
    rate_hz = float(record.fs) * per_frame
    name = str(record.sig_name[index] or "")
    if not (np.isfinite(rate_hz) and rate_hz > 0.0):
        raise error(f"{label}: found a rate of {rate_hz:g} Hz; allowed one above 0")
    length = record.sig_len
    if length is None:
        length = len(_physical(wfdb, place, index)[0]) // per_frame
    check_sample_count(label, name, length * per_frame, error)
    cells = line.split()
    calibrated = len(cells) > 2 and not _NO_GAIN.match(cells[2])

    def values() -> FloatArray:
        return _physical(wfdb, place, index)[0]

    def sound() -> NDArray[np.float32]:
        physical, read = _physical(wfdb, place, index)
        bits = read.adc_res[0] or _BITS[str(read.fmt[0])][0]
        digital = physical * read.adc_gain[0] + read.baseline[0]
        return np.asarray((digital - (read.adc_zero[0] or 0)) / 2.0 ** (bits - 1), np.float32)

    return LabChannel(
        name=name,
        unit=str(record.units[index] or "") if calibrated else "",
        count=length * per_frame,
        rate_hz=rate_hz,
        values=values,
        sound=sound,
    )


def _physical(wfdb: Any, place: str, index: int) -> tuple[FloatArray, Any]:
    """Read one channel, NaN where a sample is missing."""
    read = wfdb.rdrecord(place, channels=[index], physical=True, smooth_frames=False)
    return np.asarray(read.e_p_signal[0], np.float64), read
