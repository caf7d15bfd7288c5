"""What can be wrong with input: a small tree.

::

    TapfallError              anything this package raises on purpose
    ├── InputError            the data or the arguments cannot be used
    │   ├── AudioError        the sound: missing, empty, not audio, rate too low
    │   ├── CuffLogError      the cuff-pressure log: header, order, range, unit
    │   ├── ReadingError      a reading file that does not follow its schema
    │   ├── ScenarioError     a scenario file or a scenario's field
    │   └── SettingError      an option or argument outside what is allowed
    └── MisuseError           a listener used out of order; its state is kept

A message is one line: *what was found, where, and what is allowed*.  Several
faults in one file become one line followed by at most ten indented ones.
Bad physiology is never an error: it is a :class:`tapfall.model.Reading` with
flags and reasons.
"""

from __future__ import annotations

from collections.abc import Sequence

#: How many further faults an error lists before it only counts them.
MAX_LISTED_FAULTS = 10


class TapfallError(Exception):
    """Base of every error raised on purpose by this package."""


class InputError(TapfallError, ValueError):
    """The data or the arguments cannot be used."""


class AudioError(InputError):
    """The sound cannot be used."""


class CuffLogError(InputError):
    """The cuff-pressure log cannot be used."""


class ReadingError(InputError):
    """A reading file does not follow its schema."""


class ScenarioError(InputError):
    """A scenario, or one of its fields, cannot be used."""


class SettingError(InputError):
    """An option or argument is outside what is allowed."""


class MisuseError(TapfallError, RuntimeError):
    """A stateful object was used out of order; its state is unchanged."""


def printable(text: str) -> str:
    r"""Escape every character that is not printable.

    File names and cells of other people's files reach terminals and error
    messages only through here: a control character could otherwise move the
    cursor, and a line break could forge a second line.

    Examples
    --------
    >>> print(printable("arm\x1b[2J.wav"))
    arm\x1b[2J.wav
    """
    if text.isprintable():
        return text
    return "".join(
        ch if ch.isprintable() else ch.encode("unicode_escape", "surrogatepass").decode("ascii")
        for ch in text
    )


def shown(cell: str, longest: int = 40) -> str:
    """Quote a piece of a file for an error message, shortened and escaped.

    Examples
    --------
    >>> print(shown("x" * 50, longest=5))
    'xxxxx...'
    """
    tail = "..." if len(cell) > longest else ""
    return f"'{printable(cell[:longest])}{tail}'"


def fault_text(headline: str, faults: Sequence[str] = ()) -> str:
    """Join a headline and its further faults into one message.

    Parameters
    ----------
    headline
        The first line.
    faults
        Further faults, one line each; at most ten are listed.

    Returns
    -------
    str
        One line, then at most ten indented ones and a count of the rest.

    Examples
    --------
    >>> print(fault_text("log.csv: 2 faults", ["line 3: x", "line 9: y"]))
    log.csv: 2 faults
      line 3: x
      line 9: y
    """
    shown = [f"  {fault}" for fault in faults[:MAX_LISTED_FAULTS]]
    if len(faults) > MAX_LISTED_FAULTS:
        shown[-1] = f"  and {len(faults) - MAX_LISTED_FAULTS + 1} more"
    return "\n".join([headline, *shown])
