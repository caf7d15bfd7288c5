"""The face of the manometer: 0 to 300 mmHg over 300 degrees, one degree for each mmHg."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Where 0 mmHg lies, degrees clockwise from the top.
FIRST_DEG = -150.0
TOP_MMHG = 300
#: Marks of the scale: each 2 mmHg, each 10, and each 20 with a number, as manometers for
#: the arm have them (common practice).
FINE_MMHG, MIDDLE_MMHG, NUMBERED_MMHG = 2, 10, 20
#: Distances from the centre, of a face 400 wide.
_OUTER, _FINE, _MIDDLE, _NUMBERED, _NUMBERS = 184.0, 174.0, 167.0, 160.0, 140.0


#: What points at the two values from the rim, as paths at the top of the face: a triangle and
#: a disc, told apart without their colours.  The triangle is more than twice as long as
#: wide: it points to the scale and not along the rim.
POINTERS = {
    "systolic": "M0 -176L-5 -199L5 -199Z",
    "diastolic": "M-7 -193A7 7 0 1 1 7 -193A7 7 0 1 1 -7 -193Z",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A number on the face, by the middle of its text."""

    text: str
    x: str
    y: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """Paths and numbers of the face, around 0, 0."""

    fine: str
    bold: str
    rim: str
    numbers: tuple[Number, ...]


def face() -> Face:
    """Return the face.

    Examples
    --------
    >>> found = face()
    >>> found.numbers[0], len(found.numbers), found.fine.count("M") + found.bold.count("M")
    (Number(text='0', x='-70.0', y='121.2'), 16, 151)
    """
    marks = range(0, TOP_MMHG + 1, FINE_MMHG)
    fine = [mmhg for mmhg in marks if mmhg % MIDDLE_MMHG]
    bold = [mmhg for mmhg in marks if not mmhg % MIDDLE_MMHG]
    return Face(
        fine="".join(_mark(mmhg, _FINE) for mmhg in fine),
        bold="".join(_mark(m, _MIDDLE if m % NUMBERED_MMHG else _NUMBERED) for m in bold),
        rim=f"M{_point(0, _OUTER)}A{_OUTER} {_OUTER} 0 1 1 {_point(TOP_MMHG, _OUTER)}",
        numbers=tuple(
            Number(text=str(mmhg), x=x, y=y)
            for mmhg in range(0, TOP_MMHG + 1, NUMBERED_MMHG)
            for x, y in [_point(mmhg, _NUMBERS).split()]
        ),
    )


def _mark(mmhg: int, inner: float) -> str:
    return f"M{_point(mmhg, inner)}L{_point(mmhg, _OUTER)}"


def _point(mmhg: float, away: float) -> str:
    turned = math.radians(mmhg + FIRST_DEG)
    return f"{away * math.sin(turned):.1f} {-away * math.cos(turned):.1f}"
