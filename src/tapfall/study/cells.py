"""Cells of a manifest, one parser for each kind: a value, or a fault in words."""

from __future__ import annotations

from collections.abc import Callable

from tapfall.errors import InputError, shown
from tapfall.files.numbers import plain_number
from tapfall.study.agreement.cells import AGE_YEARS, SEXES, hint
from tapfall.study.agreement.result import NOT_TOLD
from tapfall.technique.stated import ARM_CM, BLADDER_CM, CUFFS

#: Longest cell, and longest name of a recording, a subject or a condition (our choice).
LONGEST_CELL, LONGEST_NAME = 2000, 50
#: Pressures that an observer can have written down, mmHg; 0 where sounds go on to zero.
OBSERVED_MMHG = (0.0, 300.0)
#: Parts of a study's subjects: to recalibrate the confidence on, and to check it on.
SPLITS = ("fit", "check")

#: The condition under which everything is counted together.
ALL = "(all)"
#: Where everything is counted that both observers and tapfall gave a number for.
SAME = "(by all three)"

Bladder = str | tuple[float, float]


def number(low: float, high: float, unit: str) -> Callable[[str], float]:
    """Return a parser of numbers within bounds.

    Examples
    --------
    >>> number(8, 80, "cm")("31.5")
    31.5
    >>> number(8, 80, "cm")("wide")
    Traceback (most recent call last):
    tapfall.errors.InputError: found 'wide'; allowed 8 to 80 cm, or nothing
    """

    def parse(cell: str) -> float:
        value = plain_number(cell)
        if value is None or not low <= value <= high:
            raise InputError(
                f"found {shown(cell)}; allowed {low:g} to {high:g} {unit}, or nothing{hint(cell)}"
            )
        return value

    return parse


def word(*words: str) -> Callable[[str], str]:
    """Return a parser of one of some words, in any case."""

    def parse(cell: str) -> str:
        if cell.lower() not in words:
            raise InputError(
                f"found {shown(cell)}; allowed {', '.join(words)}, or nothing{hint(cell)}"
            )
        return cell.lower()

    return parse


def name(cell: str) -> str:
    """Return the name of a recording, a subject or a condition.

    Raises
    ------
    InputError
        It is empty, too long, or holds what cannot be printed: two names must never look
        alike in what is written.
    """
    if not cell:
        raise InputError("found nothing; allowed a name")
    if len(cell) > LONGEST_NAME:
        raise InputError(f"found {len(cell)} characters; allowed at most {LONGEST_NAME}")
    if not cell.isprintable():
        raise InputError(f"found {shown(cell)}; allowed characters that can be printed")
    return cell


def condition(cell: str) -> str:
    """Return the name of a condition; those that stand for several are taken."""
    if cell in (ALL, SAME):
        raise InputError(
            f"found {shown(cell)}, which stands for several conditions; allowed another"
        )
    return name(cell)


def device(cell: str) -> str:
    """Return the name of a device; that of those without a name is taken."""
    if cell == NOT_TOLD:
        raise InputError(f"found {shown(cell)}, which stands for no name; allowed another")
    return name(cell)


def text(cell: str) -> str:
    """Return any text that is not too long; it is escaped wherever it is written."""
    if len(cell) > LONGEST_CELL:
        raise InputError(f"found {len(cell)} characters; allowed at most {LONGEST_CELL}")
    return cell


def cuff_size(cell: str) -> Bladder:
    """Return a size of cuff by name, or width and length of its bladder in cm.

    Examples
    --------
    >>> cuff_size("large-adult"), cuff_size("12x23")
    ('large adult', (12.0, 23.0))
    """
    plain = cell.lower().replace("-", " ")
    if plain in CUFFS:
        return plain
    sides = [plain_number(part, comma=True) for part in cell.lower().split("x")]
    low, high = BLADDER_CM
    if len(sides) == 2 and None not in sides:
        width, length = (side or 0.0 for side in sides)
        if low <= width <= length <= high:
            return width, length
    names = ", ".join(one.replace(" ", "-") for one in CUFFS)
    raise InputError(
        f"found {shown(cell)}; allowed {names}, or width and length of the bladder in cm, "
        f"{low:g} to {high:g}, such as 12x23, or nothing"
    )


#: Every column that a manifest may have a meaning for, and how its cells are read.
PARSERS: dict[str, Callable[[str], object]] = {
    "recording": name,
    "subject": name,
    "audio": text,
    "cuff": text,
    "observer_1_systolic_mmHg": number(*OBSERVED_MMHG, "mmHg"),
    "observer_1_diastolic_mmHg": number(*OBSERVED_MMHG, "mmHg"),
    "observer_2_systolic_mmHg": number(*OBSERVED_MMHG, "mmHg"),
    "observer_2_diastolic_mmHg": number(*OBSERVED_MMHG, "mmHg"),
    "observer_1_marks": text,
    "observer_2_marks": text,
    "arm_cm": number(*ARM_CM, "cm"),
    "cuff_size": cuff_size,
    "sex": word(*SEXES),
    "age_years": number(*AGE_YEARS, "years"),
    "device": device,
    "condition": condition,
    "split": word(*SPLITS),
    "notes": text,
}

#: Columns that have to be there.
NEEDED = ("recording", "subject", "audio", "cuff")
