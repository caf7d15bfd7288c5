"""Cells of answers: a value, or a fault in words; the same for JSON and CSV."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

from tapfall.errors import InputError, shown
from tapfall.files.numbers import plain_number
from tapfall.lesson.nouns import Answer, Mode

#: Most marks of an item; longest code and longest name (our choice).
MAX_MARKS, LONGEST_CODE, LONGEST_NAME = 2000, 20, 100
#: Pressures that a dial can show, mmHg: those of a cuff and a displaced zero above them.
DIAL_MMHG = (0, 340)
#: What stands where nothing can be told: no letter, or a dash, as the sheets to print ask for
#: (hyphen, minus, en dash, em dash).
NOTHING = ("", "-", "\u2212", "\u2013", "\u2014")
#: Longest sound, seconds, and most replays (our choice).
LONGEST_S, MOST_REPLAYS = 3600.0, 10_000

#: So many names stand in a message (our choice).
_FEW_NAMES = 5
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,19}")

Name = TypeVar("Name", str, tuple[str, ...])


def answer_of(cells: dict[str, str], marks: Sequence[str], where: str) -> Answer:
    """Build an answer from cells; ``where`` begins the message of a fault."""
    name = _name(cells["item"], f"{where}item: ")
    systolic, diastolic = (
        _pressure(cells[column], f"{where}{column}: ")
        for column in ("systolic_mmHg", "diastolic_mmHg")
    )
    if systolic is not None and diastolic is not None and diastolic >= systolic:
        raise InputError(
            f"{where}diastolic_mmHg: found {diastolic:g} beside a systolic of {systolic:g}; "
            "allowed a diastolic below it"
        )
    replays = cells["replays"]
    times = _whole(replays)
    if times is None or not 0 <= times <= MOST_REPLAYS:
        raise InputError(
            f"{where}replays: found {shown(replays)}; allowed a whole number, 0 to {MOST_REPLAYS}"
        )
    if len(marks) > MAX_MARKS:
        raise InputError(f"{where}marks_s: found {len(marks)}; allowed at most {MAX_MARKS}")
    return Answer(
        item=name,
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        marks_s=tuple(sorted(_second(mark, f"{where}marks_s: ") for mark in marks)),
        replays=times,
    )


def names_text(names: Sequence[str]) -> str:
    """Return names of items for a message: those of a key, the first and the last if many.

    Examples
    --------
    >>> names_text(["item-01", "item-02"])
    "'item-01', 'item-02'"
    >>> names_text([f"item-{n:02d}" for n in range(1, 16)])
    "'item-01' to 'item-15'"
    >>> names_text([*"abcdefg", "x"])
    "'a', 'b', 'c', 'd', 'e' and 3 more"
    """
    if len(names) <= _FEW_NAMES:
        return ", ".join(map(shown, names))
    if list(names) == [f"item-{n:02d}" for n in range(1, len(names) + 1)]:
        return f"{shown(names[0])} to {shown(names[-1])}"
    told = ", ".join(map(shown, names[:_FEW_NAMES]))
    return f"{told} and {len(names) - _FEW_NAMES} more"


def check_known(item: str, names: Sequence[str], where: str) -> None:
    """Raise where an item is none of a key's.

    Raises
    ------
    InputError
        It is none.
    """
    if item not in names:
        raise InputError(
            f"{where}item: found {shown(item)}; allowed {names_text(names)}, of the key"
        )


def check_new(name: Name, seen: set[Name], where: str) -> None:
    """Raise where an item was answered before, else note it.

    ``name`` is the item's, or ends in it.
    """
    if name in seen:
        item = name if isinstance(name, str) else name[-1]
        raise InputError(
            f"{where}item: found {shown(item)} again; allowed one answer to an item in a session"
        )
    seen.add(name)


def _pressure(cell: str, where: str) -> float | None:
    if cell in NOTHING:
        return None
    low, high = DIAL_MMHG
    mmhg = _whole(cell)
    if mmhg is None or not low <= mmhg <= high:
        raise InputError(
            f"{where}found {shown(cell)}; allowed whole mmHg, {low} to {high}, or nothing or a "
            "dash where it cannot be told"
        )
    return float(mmhg)


def _whole(cell: str) -> int | None:
    """A whole number, also with decimals of 0."""
    value = plain_number(cell, comma=True)
    return None if value is None or value % 1 else int(value)


def _second(cell: str, where: str) -> float:
    value = plain_number(cell, comma=True)
    if value is None or not 0.0 <= value <= LONGEST_S:
        raise InputError(f"{where}found {shown(cell)}; allowed seconds, 0 to {LONGEST_S:g}")
    return value


def _name(text: str, where: str = "") -> str:
    if not (text and len(text) <= LONGEST_NAME and text.isprintable()):
        raise InputError(
            f"{where}found {shown(text)}; allowed a name of 1 to {LONGEST_NAME} characters that "
            "can be printed"
        )
    return text


def _code(text: str) -> str:
    if not _CODE.fullmatch(text):
        raise InputError(
            f"found {shown(text)}; allowed a code (no name) of 1 to {LONGEST_CODE} letters, "
            "digits, hyphens, dots and underscores, the first a letter or digit"
        )
    return text


def _saved(text: str) -> str:
    try:
        if len(text) > 40 or not text.isascii():
            raise ValueError
        datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"found {shown(text)}; allowed a day and time such as 2026-03-01T10:15:00Z"
        ) from None
    return text


def _mode(text: str) -> Mode:
    if text not in set(Mode):
        raise InputError(f"found {shown(text)}; allowed {', '.join(Mode)}")
    return Mode(text)


#: What is checked of a session beside its answers.
HEAD = {"set_id": _name, "learner": _code, "saved": _saved, "mode": _mode}
