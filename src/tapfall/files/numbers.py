"""Numbers in cells of tables: what is taken for one, and what a decimal comma means."""

from __future__ import annotations

import math
import re

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)", re.ASCII)
_ANY = re.compile(rf"{_PLAIN.pattern}([eE][+-]?\d+)?", re.ASCII)
#: Most signs of a number that a person wrote (our choice).
_LONGEST = 29


def with_point(cell: str) -> str:
    """Return a cell with its decimal comma turned into a point; of several commas none is.

    Examples
    --------
    >>> with_point("120,5"), with_point("1,120,5")
    ('120.5', '1,120,5')
    """
    return cell.replace(",", ".") if cell.count(",") == 1 else cell


def number_of(cell: str, *, comma: bool = False) -> float | None:
    """Return the finite number that a cell holds, as programs write it, with an exponent or none.

    Parameters
    ----------
    cell
        Its text.
    comma
        Whether a comma in it is a decimal one: where cells are not parted by commas.

    Returns
    -------
    float or None
        None where it holds no number.  Never -0.0.

    Examples
    --------
    >>> number_of("1.2e2"), number_of("1,5", comma=True), number_of("1,5"), number_of("1_0")
    (120.0, 1.5, None, None)
    """
    return _read(_ANY, cell, comma)


def plain_number(cell: str, *, comma: bool = False) -> float | None:
    """Return the number that a cell holds as people write it: digits and a point alone.

    Parameters
    ----------
    cell, comma
        As for :func:`number_of`.

    Returns
    -------
    float or None
        None where it holds no such number.  Never -0.0.

    Examples
    --------
    >>> plain_number("31.5"), plain_number("-.5"), plain_number("1e2"), plain_number("wide")
    (31.5, -0.5, None, None)
    """
    return None if len(cell) > _LONGEST else _read(_PLAIN, cell, comma)


def _read(pattern: re.Pattern[str], cell: str, comma: bool) -> float | None:
    text = with_point(cell) if comma else cell
    if not pattern.fullmatch(text):
        return None
    value = float(text)
    return value + 0.0 if math.isfinite(value) else None
