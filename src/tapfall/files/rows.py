"""Rows of small CSV files that people fill in: UTF-8, parted by commas, semicolons or tabs."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from tapfall.errors import InputError, shown
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.wording import counted

TYPE_CHECKING = False
if TYPE_CHECKING:
    from _csv import Reader

#: One row: the line on which it ends, and its cells without space around them.
Row = tuple[int, list[str]]
_DELIMITERS = ",;\t"


def read_rows(
    path: PathLike,
    wanted: str,
    largest_bytes: int,
    error: type[InputError] = InputError,
) -> tuple[list[Row], str]:
    """Read the rows of a file that are not empty, at least one.

    Parameters
    ----------
    path
        The file.
    wanted
        What it should be, for the message.
    largest_bytes
        The largest size accepted.
    error
        The error type to raise.

    Returns
    -------
    rows
        The header first.
    delimiter
        What parts the cells, see :func:`delimiter_of`.

    Raises
    ------
    InputError
        Of the given type: it cannot be read, is not CSV in UTF-8, or every line is empty;
        the message names file and line.
    """
    label = label_of(path)
    with open_regular(path, error, wanted, largest_bytes) as file:
        text = text_of(label, file.read(largest_bytes + 1), wanted, error)
    delimiter = delimiter_of(text)
    return rows_of(label, text, delimiter, wanted, error), delimiter


def text_of(
    label: str,
    data: bytes,
    wanted: str,
    error: type[InputError] = InputError,
) -> str:
    """Return the text of bytes in UTF-8, with or without a byte order mark.

    Parameters
    ----------
    label
        The name of the file, for the message.
    data
        The bytes.
    wanted, error
        As for :func:`rows_of`.

    Returns
    -------
    str
        Without the byte order mark.

    Raises
    ------
    InputError
        Of the given type: they are not UTF-8; the message names the line.

    Examples
    --------
    >>> text_of("x.csv", b"a,b", "a table")
    'a,b'
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(10) + 1
        raise error(
            f"{label}: line {line}: found bytes that are not UTF-8; allowed {wanted}"
        ) from None


def columns_of(
    label: str, header: Row, known: Sequence[str], needed: Sequence[str], wanted: str
) -> tuple[str, ...]:
    """Return the names of a table's columns, each as it is spelt among the known ones.

    Parameters
    ----------
    label
        The name of the file, for the message.
    header
        The first row, names in any order and case.
    known, needed
        Names that a column may have, and those that have to be there.
    wanted
        What the file should be, for the message.

    Returns
    -------
    tuple of str
        In the order of the file.

    Raises
    ------
    InputError
        A name is unknown, stands twice, or is missing; the message names the line.

    Examples
    --------
    >>> columns_of("x.csv", (1, ["B", "a_mmhg"]), ("a_mmHg", "b"), ("b",), "a table")
    ('b', 'a_mmHg')
    """
    line, cells = header
    spelt = {name.lower(): name for name in known}
    names: list[str] = []
    for cell in cells:
        name = spelt.get(cell.lower())
        if name is None:
            raise InputError(
                f"{label}: line {line}: found the column {shown(cell)}; allowed {', '.join(known)}"
            )
        if name in names:
            raise InputError(f"{label}: line {line}: found '{name}' twice; allowed once")
        names.append(name)
    for name in needed:
        if name not in names:
            raise InputError(f"{label}: line {line}: found no column '{name}'; allowed {wanted}")
    return tuple(names)


def width_fault(cells: Sequence[str], width: int) -> str:
    """Say of a row that it has another number of cells than the header.

    Examples
    --------
    >>> width_fault(["120"], 2)
    'found 1 cell; allowed 2, as in the header'
    """
    return f"found {counted(len(cells), 'cell')}; allowed {width}, as in the header"


def check_row_count(label: str, rows: list[Row], most: int, error: type[InputError]) -> None:
    """Refuse a table without rows below its header, and one with too many.

    Raises
    ------
    InputError
        Of the given type.
    """
    if len(rows) == 1:
        raise error(f"{label}: found no rows below the header; allowed 1 to {most}")
    if len(rows) - 1 > most:
        raise error(f"{label}: found {len(rows) - 1} rows; allowed at most {most}")


def rows_of(
    label: str,
    text: str,
    delimiter: str,
    wanted: str,
    error: type[InputError] = InputError,
) -> list[Row]:
    r"""Return the rows of a text that are not empty, at least one.

    Parameters
    ----------
    label
        The name of the file, for the message.
    text
        What it holds.
    delimiter
        What parts its cells, see :func:`delimiter_of`.
    wanted
        What it should be, for the message.
    error
        The error type to raise.

    Returns
    -------
    list of Row
        The header first.

    Raises
    ------
    InputError
        Of the given type: every line is empty, or one is not CSV; the message names it.

    Examples
    --------
    >>> rows_of("x.csv", "a;b\n\n1; 2\n", ";", "a table")
    [(1, ['a', 'b']), (3, ['1', '2'])]
    """
    reader = _reader(text, delimiter)
    try:
        rows = list(_filled(reader))
    except csv.Error as fault:
        raise error(
            f"{label}: line {reader.line_num}: found what is not CSV ({fault}); allowed {wanted}"
        ) from None
    if not rows:
        raise error(f"{label}: found only empty lines; allowed {wanted}")
    return rows


def delimiter_of(text: str) -> str:
    r"""Return the delimiter that stands most often in the first line that is not empty.

    Examples
    --------
    >>> delimiter_of("\na;b;c,d\n")
    ';'
    """
    return max(_DELIMITERS, key=first_filled(text).count)


def first_filled(text: str) -> str:
    """Return the first line of a text that is not empty; an empty text has none."""
    # Line by line: a large text is not taken apart for its first line.
    lines = io.StringIO(text, newline="")
    return next((line.rstrip("\r\n") for line in lines if line.strip()), "")


def _reader(text: str, delimiter: str) -> Reader:
    # Not str.splitlines: it would break rows at characters that are no line ends of CSV.
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)


def _filled(reader: Reader) -> Iterator[Row]:
    for row in reader:
        cells = [cell.strip() for cell in row]
        if any(cells):
            yield reader.line_num, cells
