"""Tables written for spreadsheets: CSV whose texts cannot become formulas."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from tapfall.errors import printable

#: First characters that make a spreadsheet read a text as a formula; the wide ones of
#: East Asian keyboards too.
FORMULA_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")

Cell = str | float | int | bool | None


def cell_text(cell: Cell) -> str:
    """Return a cell as it is written: texts that could be formulas begin with an apostrophe.

    Control characters and line breaks are escaped: a lone carriage return would begin a row.

    Examples
    --------
    >>> [cell_text(one) for one in ("=1+1", "arm.wav", -3.5, None, True)]
    ["'=1+1", 'arm.wav', '-3.5', '', 'yes']
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        text = printable(cell)
        return f"'{text}" if text.startswith(FORMULA_STARTS) else text
    return str(cell)


def table_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a table as CSV, one line break after each row.

    Parameters
    ----------
    header
        Names of the columns, as they are.
    rows
        The cells of each row; numbers stay numbers, None becomes empty.

    Returns
    -------
    str
        Texts are escaped as :func:`cell_text` does it.

    Examples
    --------
    >>> print(table_text(("name", "mmHg"), [("@arm", 120.5)]), end="")
    name,mmHg
    '@arm,120.5
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([cell_text(cell) for cell in row] for row in rows)
    return buffer.getvalue()
