"""The cuff-pressure log: CSV with a header that names the unit.

The header names a column ``time_s`` and a column ``pressure_mmHg`` or
``pressure_kPa``, in any order and case; other columns are passed over (one named
``tapfall_simulated`` says that no person was measured).  Cells
are parted by commas, semicolons or tabs; with the last two a decimal comma is
read as a point.  Empty lines are passed over.  The file is UTF-8 text, with
or without a byte-order mark, with any line ends.

Rules: numbers are finite, pressures lie in -20 to 400 mmHg, times increase.
A row equal in time and pressure to the row before it is dropped and counted.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tapfall.errors import CuffLogError, fault_text, shown
from tapfall.files.cuffrules import (
    MAX_WORDED,
    Column,
    check_length,
    check_rows,
    check_spacing,
    check_unit,
)
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.files.numbers import number_of
from tapfall.files.rows import width_fault
from tapfall.model import CuffLog
from tapfall.standards import KILOPASCAL

#: Longest line of a log, bytes, and largest log, bytes (our choice).
MAX_LINE = 10_000
MAX_BYTES = 200_000_000

_CHUNK_BYTES = 1 << 20
_WANTED = "a cuff log (CSV with the columns time_s and pressure_mmHg or pressure_kPa)"
#: The column that marks a log as simulated: a table keeps it where it loses a comment.
SIMULATED_COLUMN = "tapfall_simulated"

_UNITS = {"pressure_mmhg": ("mmHg", 1.0), "pressure_kpa": ("kPa", KILOPASCAL.value)}


@dataclass(slots=True)
class _Rows:
    """Rows read so far, chunk by chunk, and the faults found in them.

    Only the first faults are kept in words, so that a file full of them stays small.
    """

    time_s: list[NDArray[np.float64]] = field(default_factory=list)
    raw: list[NDArray[np.float64]] = field(default_factory=list)
    line: list[NDArray[np.int64]] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    fault_count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where a line holds time and pressure, and what parts its cells."""

    delimiter: str
    width: int
    time: int
    pressure: int
    column: Column
    simulated: bool = False


def read_cuff_log(path: PathLike) -> CuffLog:
    """Read a cuff-pressure log from a CSV file.

    Parameters
    ----------
    path
        The file, at most 200 MB, no line longer than 10,000 bytes.

    Returns
    -------
    CuffLog
        Pressures in mmHg whatever the unit of the file.

    Raises
    ------
    CuffLogError
        One line per fault, with the number of the line in the file.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "arm.csv"
    ...     _ = path.write_text("time_s;pressure_kPa\\n0,0;16,0\\n0,5;15,9\\n")
    ...     read_cuff_log(path).pressure_mmhg.round(2).tolist()
    [120.01, 119.26]
    """
    return read_marked_cuff_log(path)[0]


def read_marked_cuff_log(path: PathLike) -> tuple[CuffLog, str, bool]:
    """Read a log with the SHA-256 of its file, and whether it is marked as simulated.

    Raises
    ------
    CuffLogError
        As :func:`read_cuff_log` does.
    """
    label = label_of(path)
    with open_regular(path, CuffLogError, _WANTED, MAX_BYTES) as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        file.seek(0)
        rows = _Rows()
        layout: Layout | None = None
        for number, lines in _line_chunks(file, label):
            if layout is None:
                skip = next((i for i, line in enumerate(lines) if line.strip()), None)
                if skip is None:
                    continue
                layout = layout_of(lines[skip], f"{label}: line {number + skip}")
                lines, number = lines[skip + 1 :], number + skip + 1
            _take(lines, number, layout, rows)
    if layout is None:
        raise CuffLogError(f"{label}: found only empty lines; allowed {_WANTED}")
    time_s = np.concatenate(rows.time_s)
    raw = np.concatenate(rows.raw)
    kept, faults, count = check_rows(time_s, raw, np.concatenate(rows.line), layout.column)
    count += rows.fault_count
    if count:
        texts = [f"line {line}: {text}" for line, text in sorted(rows.faults + faults)]
        texts += [""] * (count - len(texts))
        raise CuffLogError(fault_text(f"{label}: {texts[0]}", texts[1:]))
    count = int(np.count_nonzero(kept))
    if count < 2:
        found = "1 row" if count else "no rows"
        raise CuffLogError(f"{label}: found {found} below the header; allowed 2 or more")
    log = CuffLog(
        time_s=time_s[kept],
        pressure_mmhg=raw[kept] * layout.column.mmhg_per_unit,
        rows_repeated=len(kept) - count,
    )
    check_length(label, log)
    check_spacing(label, log)
    check_unit(label, log, layout.column)
    return log, sha256, layout.simulated


def _line_chunks(file: io.FileIO, label: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the number of a first line and the lines that follow, about 1 MB at a time."""
    number, rest = 1, b""
    while True:
        data = file.read(_CHUNK_BYTES)
        if number == 1 and not rest:
            data = data.removeprefix(b"\xef\xbb\xbf")
        held = rest + data
        # A last "\r" waits for the chunk that follows: it may be half a line end.
        cut = max(held.rfind(b"\n"), held.rfind(b"\r", 0, -1)) + 1 if data else len(held)
        block, rest = held[:cut], held[cut:]
        lines = block.splitlines()
        for offset, line in enumerate((*lines, rest[: MAX_LINE + 1].rstrip(b"\r"))):
            if len(line) > MAX_LINE:
                raise CuffLogError(
                    f"{label}: line {number + offset}: found more than {MAX_LINE} bytes; "
                    f"allowed at most {MAX_LINE} in a line"
                )
        try:
            texts = [line.decode("utf-8") for line in lines]
        except UnicodeDecodeError as fault:
            bad = number + lines.index(fault.object)
            raise CuffLogError(
                f"{label}: line {bad}: found bytes that are not UTF-8; allowed UTF-8 text"
            ) from None
        if texts:
            yield number, texts
            number += len(texts)
        if not data:
            return


def layout_of(header: str, where: str) -> Layout:
    """Return the layout that a header names; ``where`` is its place, for messages.

    Raises
    ------
    CuffLogError
        It does not name one column of times and one of pressures.
    """
    best: list[str] = []
    for delimiter in (",", ";", "\t"):
        try:
            cells = csv.reader([header], delimiter=delimiter, skipinitialspace=True, strict=True)
            names = [name.strip() for name in next(cells)]
        except csv.Error:
            continue
        best = max(best, names, key=len)
        lowered = [name.lower() for name in names]
        units = [name for name in lowered if name in _UNITS]
        if lowered.count("time_s") == 1 and len(units) == 1:
            unit, factor = _UNITS[units[0]]
            pressure = lowered.index(units[0])
            return Layout(
                delimiter=delimiter,
                width=len(names),
                time=lowered.index("time_s"),
                pressure=pressure,
                column=Column(name=f"pressure_{unit}", unit=unit, mmhg_per_unit=factor),
                simulated=SIMULATED_COLUMN in lowered,
            )
    listed = ", ".join(shown(name, 20) for name in best[:6])
    more = ", ..." if len(best) > 6 else ""
    raise CuffLogError(
        f"{where}: found the columns {listed}{more}; "
        "allowed one time_s and one of pressure_mmHg and pressure_kPa"
    )


def _take(lines: list[str], number: int, layout: Layout, rows: _Rows) -> None:
    """Turn lines into rows, the plain ones at once, the others one by one."""
    end = len(lines)
    while end and not lines[end - 1].strip():
        end -= 1
    lines = lines[:end]
    fast = _plain(lines, layout)
    if fast is None:
        _take_slowly(lines, number, layout, rows)
        return
    rows.time_s.append(fast[0])
    rows.raw.append(fast[1])
    rows.line.append(np.arange(number, number + len(lines), dtype=np.int64))


def _plain(
    lines: list[str], layout: Layout
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Return times and pressures where every line is plain numbers, else None."""
    text = "\n".join(lines)
    # What float() accepts and this format does not: underscores, other scripts' digits.
    if not text.isascii() or "_" in text or '"' in text:
        return None
    if layout.delimiter != ",":
        lines = text.replace(",", ".").split("\n")
    width, delimiter = layout.width, layout.delimiter
    if {line.count(delimiter) for line in lines} != {width - 1}:
        return None
    cells = delimiter.join(lines).split(delimiter)
    try:
        time_s = np.array([*map(float, cells[layout.time :: width])])
        raw = np.array([*map(float, cells[layout.pressure :: width])])
    except ValueError:
        return None
    if not (np.isfinite(time_s).all() and np.isfinite(raw).all()):
        return None
    return time_s, raw


def _take_slowly(lines: list[str], number: int, layout: Layout, rows: _Rows) -> None:
    times, pressures, numbers = [], [], []
    for line_number, line in enumerate(lines, number):
        if not line.strip():
            continue
        found = row_of(line, layout)
        if isinstance(found, str):
            rows.fault_count += 1
            if len(rows.faults) < MAX_WORDED:
                rows.faults.append((line_number, found))
            continue
        times.append(found[0])
        pressures.append(found[1])
        numbers.append(line_number)
    rows.time_s.append(np.array(times, dtype=np.float64))
    rows.raw.append(np.array(pressures, dtype=np.float64))
    rows.line.append(np.array(numbers, dtype=np.int64))


def _decimal_commas(cells: list[str]) -> bool:
    """Whether a row looks like numbers that a decimal comma has cut in two."""
    return all(number_of(cell.strip()) is not None for cell in cells)


def row_of(line: str, layout: Layout) -> tuple[float, float] | str:
    """Return time and pressure, or what is wrong with the line."""
    try:
        reader = csv.reader([line], delimiter=layout.delimiter, skipinitialspace=True, strict=True)
        cells = next(reader)
    except csv.Error:
        return f"found the quoting {shown(line)}; allowed cells closed by their quotes"
    if len(cells) != layout.width:
        hint = ""
        if layout.delimiter == "," and len(cells) > layout.width and _decimal_commas(cells):
            hint = " (with decimal commas, part the cells by semicolons or tabs)"
        return width_fault(cells, layout.width) + hint
    values = []
    for name, index in (("time_s", layout.time), (layout.column.name, layout.pressure)):
        cell = cells[index].strip()
        value = number_of(cell, comma=layout.delimiter != ",")
        if value is None:
            return f"found {name} {shown(cell)}; allowed a finite number"
        values.append(value)
    return values[0], values[1]
