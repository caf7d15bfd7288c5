"""Cells of a table of pairs: one parser for each column, a value or a fault in words."""

from __future__ import annotations

from collections.abc import Callable

from tapfall.errors import InputError, printable, shown
from tapfall.files.numbers import plain_number
from tapfall.technique.stated import ARM_CM, CUFFS

MEASURES = ("systolic", "diastolic", "mean")
SEXES = ("female", "male", "other")
YES_NO = ("yes", "no")
AGE_YEARS = (0.0, 130.0)
#: Letters of a name (our choice).
MAX_NAME = 60
#: Pressures that can be written down, mmHg (diastolic can be 0).
LOWEST_MMHG, HIGHEST_MMHG = 0.0, 400.0

#: What other programs write where there is nothing.
NOTHING = ("na", "n/a", "nan", "none", "null", "-", ".")

_BOUNDS = (">=", "<=")
_NAN = float("nan")


def hint(text: str) -> str:
    """Return what helps where a cell says in a word that it holds nothing.

    Examples
    --------
    >>> hint("NA"), hint("12O")
    (' (leave it empty)', '')
    """
    return " (leave it empty)" if text.lower() in NOTHING else ""


def pressure(column: str, allowed: str) -> Callable[[str], float]:
    """Return a parser of pressures; an empty cell is not a number."""

    def parse(text: str) -> float:
        if not text:
            return _NAN
        value = plain_number(text)
        if value is None:
            raise InputError(
                f"{column}: found {shown(text)}; allowed {allowed}, such as 120.5{hint(text)}"
            )
        if not LOWEST_MMHG <= value <= HIGHEST_MMHG:
            raise InputError(
                f"{column}: found {shown(text)}; allowed {LOWEST_MMHG:g} to {HIGHEST_MMHG:g} mmHg"
            )
        return value

    return parse


_ESTIMATE = pressure("estimate", "a number, >= or <= and one, or nothing")


def estimate(text: str) -> tuple[float, int]:
    """Return a pressure and what it bounds: 1 from below, -1 from above, 0 nothing.

    Examples
    --------
    >>> estimate("118.5"), estimate(">= 180")
    ((118.5, 0), (180.0, 1))
    """
    if not text.startswith(_BOUNDS):
        return _ESTIMATE(text), 0
    rest = text[2:].strip()
    if plain_number(rest) is None:
        raise InputError(f"estimate: found {shown(text)}; allowed a number behind {text[:2]}")
    return _ESTIMATE(rest), 1 if text[0] == ">" else -1


def name(column: str) -> Callable[[str], str]:
    """Return a parser of names; what cannot be printed is escaped."""

    def parse(text: str) -> str:
        if len(text) > MAX_NAME:
            raise InputError(f"{column}: found {shown(text)}; allowed at most {MAX_NAME} letters")
        return printable(text)

    return parse


_SUBJECT = name("subject")


def subject(text: str) -> str:
    """Return the name of a subject, which every row must have."""
    if not text:
        raise InputError("subject: found nothing; allowed a name or number in every row")
    return _SUBJECT(text)


def measure(text: str) -> str:
    """Return which pressure a row is of."""
    if text.lower() not in MEASURES:
        raise InputError(f"measure: found {shown(text.lower())}; allowed {', '.join(MEASURES)}")
    return text.lower()


def confidence(text: str) -> float:
    """Return a confidence; an empty cell is not a number."""
    value = plain_number(text) if text else _NAN
    if value is None or value < 0.0 or value > 1.0:
        raise InputError(f"confidence: found {shown(text)}; allowed 0 to 1, or nothing{hint(text)}")
    return value


def sex(text: str) -> str:
    """Return a sex, or nothing."""
    if text and text.lower() not in SEXES:
        raise InputError(
            f"sex: found {shown(text)}; allowed {', '.join(SEXES)}, or nothing{hint(text)}"
        )
    return text.lower()


def simulated(text: str) -> float:
    """Return 1 for what is known to be simulated, 0 for what is not or may not be."""
    if text and text.lower() not in YES_NO:
        raise InputError(f"simulated: found {shown(text)}; allowed {', '.join(YES_NO)}, or nothing")
    return float(text.lower() == YES_NO[0])


def cuff_size(text: str) -> str:
    """Return a size of cuff by its name, another one as it is."""
    plain = text.lower().replace("-", " ")
    return plain if plain in CUFFS else name("cuff_size")(text)


def bounded(column: str, low: float, high: float, unit: str) -> Callable[[str], float]:
    """Return a parser of numbers within bounds; an empty cell is not a number."""

    def parse(text: str) -> float:
        value = plain_number(text) if text else _NAN
        if value is None or value < low or value > high:
            raise InputError(
                f"{column}: found {shown(text)}; allowed {low:g} to {high:g} {unit}, or nothing"
                f"{hint(text)}"
            )
        return value

    return parse


age_years = bounded("age_years", *AGE_YEARS, "years")
arm_cm = bounded("arm_cm", *ARM_CM, "cm")
