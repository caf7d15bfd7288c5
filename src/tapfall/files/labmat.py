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
from tapfall.files.labfile import LabChannel, LabFile, check_sample_count, hash_of, refusing
from tapfall.files.matread import MatVariable, NewerVersionError, mat_variables
from tapfall.files.names import PathLike, label_of

FORM = "a MATLAB file"

_RATES = ("rate_hz", "fs", "samplerate")
_UNIT_AT_END = re.compile(r"_(mmhg|kpa|hpa|pa|mbar|cmh2o|uv|mv|v)$", re.IGNORECASE)
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
    with refusing(label, FORM, error):
        try:
            held = _Held(label, mat_variables(Path(path)), error)
        except NewerVersionError:
            raise error(
                f"{label}: found a MATLAB file of version 7.3; allowed up to 7 (save with -v7)"
            ) from None
        channels = tuple(held.channel(variable) for variable in held.vectors())
    return LabFile(label=label, form=FORM, sha256=sha256, channels=channels, error=error)


def _is_vector(variable: MatVariable) -> bool:
    if variable.kind in ("", "char") or len(variable.shape) != 2 or min(variable.shape) != 1:
        return False
    return 1 < max(variable.shape) <= MAX_SAMPLES


class _Held:
    """The variables of a file, found by their names in any case."""

    def __init__(self, label: str, found: list[MatVariable], error: type[InputError]) -> None:
        self._label, self._found, self._error = label, found, error
        self._by_lower = {variable.name.lower(): variable for variable in found}

    def vectors(self) -> list[MatVariable]:
        """The numeric vectors that stand for themselves, in the order of the file."""
        return [one for one in self._found if _is_vector(one) and not self._helps(one)]

    def _helps(self, variable: MatVariable) -> bool:
        name = variable.name.lower()
        of = name.removesuffix("_time_s")
        return name == "time_s" or (of != name and of in self._by_lower)

    def channel(self, variable: MatVariable) -> LabChannel:
        """Return a vector with its rate, or times, and its unit."""
        name, count = variable.name, math.prod(variable.shape)
        lower = name.lower()
        check_sample_count(self._label, name, count, self._error)
        rate_hz = self._first_number([f"{lower}_{rate}" for rate in _RATES])
        times = self._times(f"{lower}_time_s", count, must=True)
        if times is None and rate_hz is None:
            times = self._times("time_s", count, must=False)
        at_end = _UNIT_AT_END.search(name)
        unit = self._text(f"{lower}_unit") or (at_end[1] if at_end else "")
        return LabChannel(
            name=name,
            unit=unit,
            count=count,
            rate_hz=rate_hz or self._first_number(list(_RATES)),
            values=lambda: self._numbers(variable).astype(np.float64),
            sound=lambda: _full_scale(self._numbers(variable)),
            time_s=None if times is None else lambda: self._numbers(times).astype(np.float64),
        )

    def _numbers(self, variable: MatVariable) -> NDArray[Any]:
        """The samples, of the type that the file declares whatever it stores them as."""
        if variable.is_complex:
            raise self._error(
                f"{self._label}: channel {shown(variable.name)}: found complex numbers; allowed "
                "real ones"
            )
        return variable.numbers().astype(variable.kind)

    def _first_number(self, names: list[str]) -> float | None:
        return next((n for n in map(self._number, names) if n is not None), None)

    def _number(self, name: str) -> float | None:
        variable = self._by_lower.get(name)
        if variable is None or variable.kind in ("", "char") or math.prod(variable.shape) != 1:
            return None
        number = float(self._numbers(variable)[0])
        if not (math.isfinite(number) and number > 0.0):
            raise self._error(
                f"{self._label}: found {variable.name} {number:g}; allowed a rate above 0"
            )
        return number

    def _text(self, name: str) -> str:
        variable = self._by_lower.get(name)
        if variable is None or variable.kind != "char":
            return ""
        return variable.text().strip() if math.prod(variable.shape) <= _LONGEST_TEXT else ""

    def _times(self, name: str, count: int, *, must: bool) -> MatVariable | None:
        variable = self._by_lower.get(name)
        if variable is None or not _is_vector(variable):
            return None
        held = math.prod(variable.shape)
        if held != count and must:
            raise self._error(
                f"{self._label}: found {held} values in {shown(variable.name)}; allowed {count}, "
                "one for each sample"
            )
        return variable if held == count else None


def _full_scale(samples: NDArray[Any]) -> NDArray[np.float32]:
    """Bring samples to full scale 1.0.

    Integers have a full scale of their own.  Floats beyond 1.0 do not tell theirs: they
    are brought below 0.5 by a power of two, where nothing counts as clipped.
    """
    if samples.dtype.kind in "iu":
        full = 2.0 ** (8 * samples.dtype.itemsize - 1)
        middle = full if samples.dtype.kind == "u" else 0.0
        return np.asarray((samples.astype(np.float64) - middle) / full, np.float32)
    peak = float(np.max(np.abs(samples)))
    if not math.isfinite(peak) or peak <= 1.0:
        return samples.astype(np.float32)
    return np.asarray(samples / 2.0 ** (math.floor(math.log2(peak)) + 2), np.float32)
