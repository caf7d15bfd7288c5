"""Numbers on the command line."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

#: A longer number is none that a person wrote.
_MOST_DIGITS = 19


def whole_number(low: int, high: int | None = None) -> Callable[[str], int]:
    """Return what reads a whole number between two bounds, or from one on.

    Examples
    --------
    >>> whole_number(1, 64)("8")
    8
    >>> whole_number(0)("-3")
    Traceback (most recent call last):
    ...
    argparse.ArgumentTypeError: found '-3'; allowed a whole number, 0 or more
    """

    def read(text: str) -> int:
        plain = text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS
        if not plain or int(text) < low or (high is not None and int(text) > high):
            allowed = f"{low} or more" if high is None else f"{low} to {high}"
            raise argparse.ArgumentTypeError(f"found '{text}'; allowed a whole number, {allowed}")
        return int(text)

    return read


def real_number(low: float, high: float, unit: str) -> Callable[[str], float]:
    """Return what reads a number between two bounds.

    Examples
    --------
    >>> real_number(0, 50, "mmHg")("1e300")
    Traceback (most recent call last):
    ...
    argparse.ArgumentTypeError: found '1e300'; allowed 0 to 50 mmHg
    """

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"found '{text}'; allowed {low} to {high} {unit}")
        return value

    return read
