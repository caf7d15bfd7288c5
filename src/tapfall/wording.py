"""How numbers stand in sentences, and how wide lines are, wherever something is told."""

from __future__ import annotations

import math
import re

#: Columns of what is printed (our choice: any terminal has them).
WIDTH = 80

_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?(e[+-]?\d+)?(?![\w.-])")


def counted(count: int, noun: str) -> str:
    """Return so many of something.

    Examples
    --------
    >>> counted(1, "row"), counted(0, "row")
    ('1 row', '0 rows')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def whole(mmhg: float) -> int:
    """Return a number without its fraction; halves go up.

    Examples
    --------
    >>> whole(127.6), whole(82.5)
    (128, 83)
    """
    return math.floor(mmhg + 0.5)


def with_unit(found: str, unit: str) -> str:
    """Put the unit behind the number that a text begins with.

    A sentence keeps the units that it names itself.

    Examples
    --------
    >>> with_unit("46, by sounds", "mmHg"), with_unit("sounds down to 88 mmHg", "mmHg")
    ('46 mmHg, by sounds', 'sounds down to 88 mmHg')
    """
    number = _NUMBER.match(found)
    if number is None or not unit:
        return found
    return f"{number[0]} {unit}{found[number.end() :]}"


def chance(probability: float) -> str:
    """A probability that never claims certainty.

    Examples
    --------
    >>> chance(0.9999), chance(0.5), chance(0.0)
    ('above 0.99', '0.50', 'below 0.01')
    """
    if probability > 0.99:
        return "above 0.99"
    return "below 0.01" if probability < 0.01 else f"{probability:.2f}"


def brief_chance(probability: float) -> str:
    """The same for a table.

    Examples
    --------
    >>> brief_chance(0.9999), brief_chance(0.5), brief_chance(0.0)
    ('>0.99', '0.50', '<0.01')
    """
    return chance(probability).replace("above ", ">").replace("below ", "<")
