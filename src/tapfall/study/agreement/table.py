"""The table of an agreement study: CSV with a reference and an estimate in each row.

The header names the columns ``reference`` and ``estimate`` and, if wanted, those of
:data:`COLUMNS`, in any order and case.  Cells are parted by commas, semicolons or tabs, with
decimal commas where it is not by commas.  An empty estimate is an abstention, ``>=120`` or
``<=60`` a bound; neither is ever replaced by a number.  ``reference_2`` is what a second
observer wrote down: the reference is then the mean of both, and none where they are more than
4 mmHg apart (ISO 81060-2, from memory).
``simulated`` is ``yes`` where no person was measured.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from tapfall.errors import InputError, fault_text
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.files.numbers import with_point
from tapfall.files.rows import columns_of, delimiter_of, text_of, width_fault
from tapfall.study.agreement import cells
from tapfall.study.agreement.rows import Gathered, Row, Table

__all__ = ["COLUMNS", "MAX_BYTES", "MAX_ROWS", "Row", "Table", "read_table", "table_of"]

NEEDED = ("reference", "estimate")
#: What a column may be called, and how its cells are read.
PARSERS: dict[str, Callable[[str], Any]] = {
    "reference": cells.pressure("reference", "a number or nothing"),
    "reference_2": cells.pressure("reference_2", "a number or nothing"),
    "estimate": cells.estimate,
    "subject": cells.subject,
    "condition": cells.name("condition"),
    "measure": cells.measure,
    "confidence": cells.confidence,
    "sex": cells.sex,
    "age_years": cells.age_years,
    "arm_cm": cells.arm_cm,
    "cuff_size": cells.cuff_size,
    "simulated": cells.simulated,
}
COLUMNS = tuple(PARSERS)
#: Columns whose commas are decimal ones in a table that is not parted by commas.
_NUMBERS = frozenset({"reference", "reference_2", "estimate", "confidence", "age_years", "arm_cm"})
#: Largest table, rows in it, names of conditions (our choice).
MAX_BYTES, MAX_ROWS, MAX_CONDITIONS = 200_000_000, 2_000_000, 20
#: Rows that are turned into numbers at a time: texts take far more room than numbers.
_AT_ONCE = 50_000
#: Different cells of a column that are remembered with what they mean.
_REMEMBERED = 200_000

_WANTED = "a table of pairs (CSV with the columns reference and estimate)"


def read_table(path: PathLike) -> Table:
    """Read the table of an agreement study.

    Parameters
    ----------
    path
        The file, UTF-8, at most 200 MB and 2 million rows; pressures in mmHg.

    Returns
    -------
    Table
        The rows in the order of the file, pressures in mmHg.

    Raises
    ------
    InputError
        A column is missing or unknown, or a cell is not what is allowed; the message
        names the line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "pairs.csv"
    ...     _ = path.write_text("reference,estimate\\n120,118.5\\n131,\\n184,>=180\\n")
    ...     [(one.estimate_mmhg, one.bound) for one in read_table(path).rows]
    [(118.5, ''), (None, ''), (180.0, '>=')]
    """
    label = label_of(path)
    with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise InputError(f"{label}: found more than {MAX_BYTES} bytes; allowed at most as many")
    return table_of(label, data)


def table_of(label: str, data: bytes) -> Table:
    """Return the table that the bytes of a file hold; ``label`` names it in errors.

    Parameters
    ----------
    label
        How errors name the table.
    data
        The bytes of the file: CSV, UTF-8.

    Returns
    -------
    Table
        The rows in the order of the file, pressures in mmHg.

    Raises
    ------
    InputError
        A column is missing or unknown, or a cell is not what is allowed; the message
        names the line.

    Examples
    --------
    >>> [one.estimate_mmhg for one in table_of("t", b"reference,estimate\\n120,122\\n").rows]
    [122.0]
    """
    text = text_of(label, data, _WANTED)
    lines = _Lines(label, text)
    header = next(lines.batches(1), None)
    if header is None:
        raise InputError(f"{label}: found only empty lines; allowed {_WANTED}")
    names = [cell.strip() for cell in header[0]]
    columns = columns_of(label, (lines.line, names), COLUMNS, NEEDED, _WANTED)
    gathered, known, count = Gathered(columns), {name: dict[str, Any]() for name in columns}, 0
    for batch in lines.batches(_AT_ONCE):
        count += len(batch)
        if count > MAX_ROWS:
            raise InputError(f"{label}: found more than {MAX_ROWS} rows; allowed at most so")
        if {len(row) for row in batch} != {len(columns)}:
            raise _faulty(label, text, columns)
        for name, found in zip(columns, zip(*batch, strict=True), strict=True):
            meaning, parse = known[name], PARSERS[name]
            if len(meaning) > _REMEMBERED:
                meaning.clear()
            try:
                for cell in set(found).difference(meaning):
                    meaning[cell] = parse(lines.plain(name, cell))
            except InputError:
                raise _faulty(label, text, columns) from None
            gathered.add(name, [meaning[cell] for cell in found])
    if not count:
        raise InputError(f"{label}: found no rows below the header; allowed 1 to {MAX_ROWS}")
    table = gathered.table(hashlib.sha256(data).hexdigest())
    if len(table.conditions) > MAX_CONDITIONS:
        raise InputError(
            f"{label}: found {len(table.conditions)} conditions; allowed at most {MAX_CONDITIONS}"
        )
    return table


class _Lines:
    """The rows of a text that hold anything, a batch at a time.

    :mod:`tapfall.files.rows` keeps every cell of every row, stripped, with its line: of a
    million rows that is most of the time and a gigabyte.  Here cells stay as they are, a
    batch is forgotten once its numbers are taken, and only the line read last is known.
    """

    def __init__(self, label: str, text: str) -> None:
        self._label = label
        delimiter = delimiter_of(text)
        self._reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        self._commas = _NUMBERS if delimiter != "," else frozenset()

    @property
    def line(self) -> int:
        """The line read last."""
        return self._reader.line_num

    def plain(self, column: str, cell: str) -> str:
        """A cell of a column without space around it, a decimal comma turned into a point."""
        text = cell.strip()
        return with_point(text) if column in self._commas else text

    def batches(self, count: int) -> Iterator[list[list[str]]]:
        """Yield the rows, so many at a time."""
        rows = (row for row in self._reader if any(map(str.strip, row)))
        try:
            while batch := list(islice(rows, count)):
                yield batch
        except csv.Error as fault:
            raise InputError(
                f"{self._label}: line {self.line}: found what is not CSV ({fault}); "
                f"allowed {_WANTED}"
            ) from None


def _faulty(label: str, text: str, columns: tuple[str, ...]) -> InputError:
    """Every fault of a table, by line; only read again where there is one."""
    lines, faults = _Lines(label, text), []
    for number, (row,) in enumerate(lines.batches(1)):
        if number:
            try:
                _check_row(lines, row, columns)
            except InputError as fault:
                faults.append(f"line {lines.line}: {fault}")
    return InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))


def _check_row(lines: _Lines, row: list[str], columns: tuple[str, ...]) -> None:
    if len(row) != len(columns):
        raise InputError(width_fault(row, len(columns)))
    cell = {name: lines.plain(name, one) for name, one in zip(columns, row, strict=True)}
    for name in PARSERS:
        if name in cell:
            PARSERS[name](cell[name])
