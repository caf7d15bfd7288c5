"""One reading of a visit: the judgement, the arm, a name, and when it was taken."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from tapfall.errors import SettingError, shown
from tapfall.model import Reading


class Arm(StrEnum):
    """Which arm a reading was taken on."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A reading and how it stands in the visit.

    Parameters
    ----------
    reading
        The judgement.
    arm
        The arm it was taken on; None where that is not known.
    label
        What it is called in tables: the name of its file.
    time
        When it was taken; None where that is not known.
    """

    reading: Reading
    arm: Arm | None = None
    label: str = ""
    time: datetime | None = None


def in_order(readings: Sequence[Taken]) -> tuple[Taken, ...]:
    """Return readings by time where each has one, else in the order given.

    Readings of one time keep the order given.

    Raises
    ------
    SettingError
        There is no reading, a value is not finite, or some times have a time zone and
        others none.
    """
    if not readings:
        raise SettingError("visit: found no readings; allowed one or more")
    for number, one in enumerate(readings, 1):
        _check(number, one)
    times = [one.time for one in readings if one.time is not None]
    if len({time.utcoffset() is None for time in times}) > 1:
        raise SettingError(
            "visit: found times with and without a time zone; allowed all of one kind"
        )
    if len(times) < len(readings):
        return tuple(readings)
    return tuple(sorted(readings, key=lambda one: one.time or times[0]))


def _check(number: int, one: Taken) -> None:
    for name, threshold in (
        ("systolic", one.reading.systolic),
        ("diastolic", one.reading.diastolic),
    ):
        for value in (threshold.mmhg, threshold.low_mmhg, threshold.high_mmhg):
            if value is not None and not math.isfinite(value):
                raise SettingError(
                    f"visit: reading {number} {shown(one.label)}: {name}: found {value}; "
                    "allowed finite numbers"
                )
