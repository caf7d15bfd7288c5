"""Do the sounds sound right?  Experts rate a set; their ratings stand beside its grade.

A sheet is CSV with a row for each item and the columns ``set_id, rater, item,
realistic_1_to_5, phases, first_mmHg, last_mmHg, remarks``: how real it sounds (5: as from
an arm), the phases that are heard (``K1 K2 K4`` or ``K1, K2, K4``), and the pressures of the first
and last beat that can be heard, as the dial shows them.  Empty cells are left out.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.errors import InputError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.rows import read_rows
from tapfall.files.tables import table_text
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
MAX_BYTES = 1_000_000
_WANTED = f"a sheet of ratings (CSV with the columns {','.join(COLUMNS)})"
_BETWEEN = re.compile(r"[\s,;/+]+")
_NUMBER = re.compile(r"\d{1,3}(\.\d{1,2})?")
_HEARD = (Phase.K1, Phase.K2, Phase.K3, Phase.K4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """What one expert says of one item; pressures as the dial shows them."""

    set_id: str
    rater: str
    item: str
    realistic: int | None
    phases: tuple[Phase, ...]
    first_mmhg: float | None
    last_mmhg: float | None


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

    Raises
    ------
    InputError
        It is none, or a cell is not what is allowed; the message names the line.
    """
    label = label_of(path)
    rows, _ = read_rows(path, _WANTED, MAX_BYTES)
    if not rows or tuple(rows[0][1]) != COLUMNS:
        raise InputError(f"{label}: line 1: found another header; allowed {_WANTED}")
    found: list[Rating] = []
    faults: list[str] = []
    for line, cells in rows[1:]:
        try:
            if len(cells) != len(COLUMNS):
                raise InputError(f"found {len(cells)} cells; allowed {len(COLUMNS)}")
            found.append(_rating(dict(zip(COLUMNS, cells, strict=True))))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    if not found:
        raise InputError(f"{label}: found no ratings; allowed at least one")
    return tuple(found)


def _rating(row: dict[str, str]) -> Rating:
    real = row["realistic_1_to_5"]
    if real not in ("", "1", "2", "3", "4", "5"):
        raise InputError(f"realistic_1_to_5: found {shown(real)}; allowed 1 to 5, or nothing")
    if not row["rater"]:
        raise InputError("rater: found nothing; allowed a code")
    names = [name.upper() for name in _BETWEEN.split(row["phases"]) if name]
    for name in names:
        if name not in _HEARD:
            raise InputError(f"phases: found {shown(name)}; allowed {' '.join(_HEARD)}")
    pressures = []
    for column in ("first_mmHg", "last_mmHg"):
        cell = row[column]
        if cell and not _NUMBER.fullmatch(cell):
            raise InputError(f"{column}: found {shown(cell)}; allowed mmHg, or nothing")
        pressures.append(float(cell) if cell else None)
    return Rating(
        set_id=row["set_id"],
        rater=row["rater"],
        item=row["item"],
        realistic=int(real) if real else None,
        phases=tuple(Phase(name) for name in names),
        first_mmhg=pressures[0],
        last_mmhg=pressures[1],
    )


def rated(key: Key, ratings: Sequence[Rating]) -> Rated:
    """Hold ratings against the key of their set.

    Raises
    ------
    InputError
        A rating belongs to another set or item, or stands twice.
    """
    items = {item.name: item for item in key.items}
    real: list[int] = []
    share: list[float] = []
    first: list[float] = []
    last: list[float] = []
    seen: set[tuple[str, str]] = set()
    for one in ratings:
        if (one.rater.upper(), one.item) in seen:
            raise InputError(
                f"ratings: found {shown(one.item)} by {shown(one.rater)} twice; allowed once"
            )
        seen.add((one.rater.upper(), one.item))
        if one.set_id != key.set_id or one.item not in items:
            raise InputError(
                f"ratings: found {shown(one.item)} of the set {shown(one.set_id)}; allowed items "
                f"of {shown(key.set_id)}"
            )
        item = items[one.item]
        if one.realistic is not None:
            real.append(one.realistic)
        heard = [beat for beat in item.beats if beat.audible]
        true = {beat.phase for beat in heard if beat.phase in _HEARD}
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
