"""Do the sounds sound right?  Experts rate a set; their ratings stand beside its grade.

A sheet is CSV with a row for each item and the columns ``set_id, rater, item,
realistic_1_to_5, phases, first_mmHg, last_mmHg, remarks``: how real it sounds (5: as from
an arm), the phases that are heard (``K1 K2 K4`` or ``K1, K2, K4``), and the pressures of the first
and last beat that can be heard, as the dial shows them.  Cells that are empty or hold a dash
are left out, and so are rows without a rating; one code of a rater in a sheet is that of all
its rows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.errors import InputError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.numbers import plain_number
from tapfall.files.rows import read_rows, width_fault
from tapfall.files.tables import table_text
from tapfall.lesson.answercells import DIAL_MMHG, NOTHING, check_known
from tapfall.lesson.nouns import Key, LessonSet
from tapfall.model import Phase

COLUMNS = (
    "set_id",
    "rater",
    "item",
    "realistic_1_to_5",
    "phases",
    "first_mmHg",
    "last_mmHg",
    "remarks",
)
#: Cells of which a row needs one.
_RATED = ("realistic_1_to_5", "phases", "first_mmHg", "last_mmHg")
MAX_BYTES = 1_000_000
_WANTED = f"a sheet of ratings (CSV with the columns {','.join(COLUMNS)})"
_BETWEEN = re.compile(r"[\s,;/+]+")
_HEARD = tuple(phase for phase in Phase if phase.sounds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """What one expert says of one item; pressures as the dial shows them.

    ``where`` is the place that it was read at, for messages.
    """

    set_id: str
    rater: str
    item: str
    realistic: int | None
    phases: tuple[Phase, ...]
    first_mmhg: float | None
    last_mmhg: float | None
    where: str = "ratings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rated:
    """All ratings of one set.

    ``realistic`` is the mean of 1 to 5; ``first_mmhg`` and ``last_mmhg`` the mean of heard
    minus true; ``phases_share`` the share of phases, named or true, that are both.
    """

    grade: str | None
    raters: int
    ratings: int
    realistic: float | None
    realistic_sd: float | None
    phases_share: float | None
    first_mmhg: float | None
    last_mmhg: float | None


def blank_sheet(lesson: LessonSet) -> str:
    """Return a sheet to fill in, with a row for each item."""
    rows = [(lesson.set_id, "", item.name, "", "", "", "", "") for item in lesson.items]
    return table_text(COLUMNS, rows)


def read_ratings(path: PathLike) -> tuple[Rating, ...]:
    """Read a sheet that an expert filled in.

    Returns
    -------
    tuple of Rating
        One for each row that holds a rating, at least one.

    Raises
    ------
    InputError
        It is none, or a cell is not what is allowed; the message names the line.
    """
    label = label_of(path)
    rows, _ = read_rows(path, _WANTED, MAX_BYTES)
    head, names = rows[0]
    if tuple(names) != COLUMNS:
        raise InputError(f"{label}: line {head}: found another header; allowed {_WANTED}")
    place = COLUMNS.index("rater")
    codes = {cells[place].upper(): cells[place] for _, cells in rows[1:] if cells[place:]}
    codes.pop("", None)
    only = next(iter(codes.values())) if len(codes) == 1 else ""
    found: list[Rating] = []
    faults: list[str] = []
    for line, cells in rows[1:]:
        try:
            if len(cells) != len(COLUMNS):
                raise InputError(width_fault(cells, len(COLUMNS)))
            cell = dict(zip(COLUMNS, cells, strict=True))
            cell |= {name: "" for name in _RATED if cell[name] in NOTHING}
            if any(cell[name] for name in _RATED):
                cell["rater"] = cell["rater"] or only
                found.append(_rating(cell, f"{label}: line {line}"))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    if not found:
        raise InputError(f"{label}: found no ratings; allowed at least one")
    return tuple(found)


def _rating(row: dict[str, str], where: str) -> Rating:
    real = row["realistic_1_to_5"]
    if real not in ("", "1", "2", "3", "4", "5"):
        raise InputError(f"realistic_1_to_5: found {shown(real)}; allowed 1 to 5, or nothing")
    if not row["rater"]:
        raise InputError(
            "rater: found nothing; allowed a code in each row, or one code in the sheet"
        )
    names = [name.upper() for name in _BETWEEN.split(row["phases"]) if name]
    for name in names:
        if name not in _HEARD:
            raise InputError(f"phases: found {shown(name)}; allowed {' '.join(_HEARD)}")
    first, last = (_pressure(row[column], column) for column in ("first_mmHg", "last_mmHg"))
    if first is not None and last is not None and last > first:
        raise InputError(
            f"last_mmHg: found {last:g} beside a first of {first:g}; allowed one that is no higher"
        )
    return Rating(
        set_id=row["set_id"],
        rater=row["rater"],
        item=row["item"],
        realistic=int(real) if real else None,
        phases=tuple(Phase(name) for name in names),
        first_mmhg=first,
        last_mmhg=last,
        where=where,
    )


def _pressure(cell: str, column: str) -> float | None:
    if not cell:
        return None
    low, high = DIAL_MMHG
    value = plain_number(cell, comma=True)
    if value is None or not low <= value <= high:
        raise InputError(
            f"{column}: found {shown(cell)}; allowed mmHg, {low} to {high}, or nothing"
        )
    return value


def check_ratings(known: Sequence[Key], ratings: Sequence[Rating]) -> None:
    """Raise where ratings are of no set or item that there is a key of, or stand twice.

    Raises
    ------
    InputError
        The message names file and line.
    """
    keys = {key.set_id: [item.name for item in key.items] for key in known}
    seen: dict[tuple[str, str, str], str] = {}
    for one in ratings:
        if one.set_id not in keys:
            raise InputError(
                f"{one.where}: set_id: found {shown(one.set_id)}; allowed "
                f"{', '.join(map(shown, keys))}, of the keys"
            )
        check_known(one.item, keys[one.set_id], f"{one.where}: ")
        who = (one.set_id, one.rater.upper(), one.item)
        if who in seen:
            raise InputError(
                f"{one.where}: found {shown(one.item)} by {shown(one.rater)} twice (also in "
                f"{seen[who]}); allowed once"
            )
        seen[who] = one.where


def rated(key: Key, ratings: Sequence[Rating]) -> Rated:
    """Hold ratings against the key of their set.

    Raises
    ------
    InputError
        A rating belongs to another set or item, or stands twice.
    """
    check_ratings([key], ratings)
    items = {item.name: item for item in key.items}
    real: list[int] = []
    share: list[float] = []
    first: list[float] = []
    last: list[float] = []
    for one in ratings:
        item = items[one.item]
        if one.realistic is not None:
            real.append(one.realistic)
        heard = [beat for beat in item.beats if beat.audible]
        true = {beat.phase for beat in heard if beat.phase.sounds}
        if one.phases and true:
            share.append(len(true & set(one.phases)) / len(true | set(one.phases)))
        if one.first_mmhg is not None and heard:
            first.append(one.first_mmhg - item.offset_mmhg - heard[0].mmhg)
        if one.last_mmhg is not None and heard:
            last.append(one.last_mmhg - item.offset_mmhg - heard[-1].mmhg)

    def mean(values: Sequence[float]) -> float | None:
        return float(np.mean(values)) if values else None

    return Rated(
        grade=key.grade,
        raters=len({one.rater.upper() for one in ratings}),
        ratings=len(ratings),
        realistic=mean(real),
        realistic_sd=float(np.std(real, ddof=1)) if len(real) > 1 else None,
        phases_share=mean(share),
        first_mmhg=mean(first),
        last_mmhg=mean(last),
    )
