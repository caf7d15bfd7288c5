"""MATLAB files up to version 7: every numeric vector is a channel.

Beside a vector ``NAME`` the file may hold ``NAME_rate_hz`` or ``NAME_fs`` (a number),
``NAME_time_s`` (a vector as long) and ``NAME_unit`` (a text).  What is missing is taken
from ``time_s`` of the same length, and from ``rate_hz``, ``fs`` or ``samplerate``; the
unit from the end of the name, as in ``pressure_mmHg``.  Case does not matter.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.errors import InputError, shown
from tapfall.files.audio import MAX_SAMPLES
from tapfall.files.labfile import LabChannel, LabFile, check_count, hash_of, refusing
from tapfall.files.names import PathLike, label_of

FORM = "a MATLAB file"

#: Bits of full scale: half the range of an unsigned number.
_INTEGERS = {f"{sign}int{bits}": bits - 1 for sign in ("", "u") for bits in (8, 16, 32, 64)}
#: The type of each kind; a file may store its values in a smaller one.
_NUMBERS = {"double": "f8", "single": "f4", **{kind: kind for kind in _INTEGERS}}
_RATES = ("rate_hz", "fs", "samplerate")
_UNIT_AT_END = re.compile(r"_(mmhg|kpa|hpa|pa|mbar|cmh2o|uv|mv|v)$", re.IGNORECASE)
_MOST_VARIABLES = 10_000
_LONGEST_TEXT = 100


def open_mat(path: PathLike, error: type[InputError]) -> LabFile:
    """Open a MATLAB file of version 4 to 7.

    Raises
    ------
    InputError
        Of the given type: it is no such file, or one of version 7.3.
    """
    label = label_of(path)
    sha256 = hash_of([path], error, FORM)
    from scipy import io

    with refusing(label, FORM, error):
        try:
            found = io.whosmat(str(path), appendmat=False)
        except NotImplementedError:
            raise error(
                f"{label}: found a MATLAB file of version 7.3; allowed up to 7 (save with -v7)"
            ) from None
        if len(found) > _MOST_VARIABLES:
            raise error(f"{label}: found {len(found)} variables; allowed at most {_MOST_VARIABLES}")
        held = _Held(label, path, io, found, error)
        channels = tuple(held.channel(name) for name in held.channel_names())
    return LabFile(label=label, form=FORM, sha256=sha256, channels=channels, error=error)


class _Held:
    """The variables of a file: their shapes and kinds, and small ones read at once."""

    def __init__(
        self, label: str, path: PathLike, io: Any, found: list[Any], error: type[InputError]
    ) -> None:
        self._label, self._path, self._io, self._error = label, Path(path), io, error
        self._sizes: dict[str, int] = {}
        self._shapes: dict[str, tuple[int, ...]] = {}
        self._kinds: dict[str, str] = {}
        for name, shape, kind in found:
            self._sizes[name] = math.prod(int(size) for size in shape)
            self._shapes[name], self._kinds[name] = tuple(shape), kind
        self._by_lower = {name.lower(): name for name in self._sizes}
        small = [
            name
            for name, size in self._sizes.items()
            if (self._kinds[name] in _NUMBERS and size == 1)
            or (self._kinds[name] == "char" and 0 < size <= _LONGEST_TEXT)
        ]
        # An empty list of names would be no choice at all: everything.
        self._small = self._load(small) if small else {}

    def _load(self, names: list[str]) -> dict[str, Any]:
        loaded: dict[str, Any] = self._io.loadmat(
            str(self._path), appendmat=False, variable_names=names
        )
        return loaded

    def channel_names(self) -> list[str]:
        """Names of the numeric vectors that stand for themselves."""
        return [name for name in self._sizes if self._is_vector(name) and not self._helps(name)]

    def _is_vector(self, name: str) -> bool:
        shape = self._shapes[name]
        if self._kinds[name] not in _NUMBERS or len(shape) != 2 or min(shape) != 1:
            return False
        return 1 < max(shape) <= MAX_SAMPLES

    def _helps(self, name: str) -> bool:
        lower = name.lower()
        return lower == "time_s" or (
            lower.endswith("_time_s") and lower.removesuffix("_time_s") in self._by_lower
        )

    def _number(self, name: str) -> float | None:
        own = self._by_lower.get(name)
        value = self._small.get(own) if own is not None else None
        if value is None or not np.issubdtype(value.dtype, np.number) or np.iscomplexobj(value):
            return None
        number = float(value.ravel()[0])
        if not (np.isfinite(number) and number > 0.0):
            raise self._error(f"{self._label}: found {own} {number:g}; allowed a rate above 0")
        return number

    def _text(self, name: str) -> str:
        own = self._by_lower.get(name)
        value = self._small.get(own) if own is not None else None
        return str(value.ravel()[0]).strip() if value is not None and value.size else ""

    def channel(self, name: str) -> LabChannel:
        lower, count = name.lower(), self._sizes[name]
        check_count(self._label, name, count, self._error)
        own_times = self._times(f"{lower}_time_s", count, must=True)
        own_rate_hz = self._first_number([f"{lower}_{rate}" for rate in _RATES])
        times = own_times
        if times is None and own_rate_hz is None:
            times = self._times("time_s", count, must=False)
        unit = self._text(f"{lower}_unit")
        at_end = _UNIT_AT_END.search(name)

        return LabChannel(
            name=name,
            unit=unit or (at_end[1] if at_end else ""),
            count=count,
            rate_hz=own_rate_hz or self._first_number(list(_RATES)),
            values=lambda: self._vector(name).astype(np.float64),
            sound=lambda: _full_scale(self._vector(name), self._kinds[name]),
            time_s=None if times is None else lambda: self._vector(times).astype(np.float64),
        )

    def _first_number(self, names: list[str]) -> float | None:
        return next((n for n in map(self._number, names) if n is not None), None)

    def _times(self, lower: str, count: int, *, must: bool) -> str | None:
        name = self._by_lower.get(lower)
        if name is None or not self._is_vector(name):
            return None
        if self._sizes[name] == count:
            return name
        if must:
            raise self._error(
                f"{self._label}: found {self._sizes[name]} values in {shown(name)}; allowed "
                f"{count}, one for each sample"
            )
        return None

    def _vector(self, name: str) -> NDArray[Any]:
        value = self._load([name])[name]
        if np.iscomplexobj(value) or value.size != self._sizes[name]:
            raise self._error(
                f"{self._label}: channel {shown(name)}: found complex numbers; allowed real ones"
            )
        return np.asarray(value).ravel().astype(_NUMBERS[self._kinds[name]])


def _full_scale(samples: NDArray[Any], kind: str) -> NDArray[np.float32]:
    """Bring samples to full scale 1.0.

    Integers have a full scale of their own.  Floats beyond 1.0 do not tell theirs: they
    are brought below 0.5 by a power of two, where nothing counts as clipped.
    """
    if kind in _INTEGERS:
        full = 2.0 ** _INTEGERS[kind]
        shift = full if kind.startswith("u") else 0.0
        return np.asarray((samples.astype(np.float64) - shift) / full, np.float32)
    peak = float(np.max(np.abs(samples)))
    if not np.isfinite(peak) or peak <= 1.0:
        return samples.astype(np.float32)
    return np.asarray(samples / 2.0 ** (np.floor(np.log2(peak)) + 2.0), np.float32)
