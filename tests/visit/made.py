"""Readings of a visit that the tests of this folder share."""

from __future__ import annotations

from datetime import datetime, timedelta

from tapfall.model import (
    Beat,
    Diastolic,
    Phase,
    Reading,
    Reason,
    Rhythm,
    Rule,
    State,
    Status,
    Threshold,
)
from tapfall.visit import Arm, Taken

NOTHING = Threshold(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS)
START = datetime(2026, 3, 31, 9, 15)


def reading(
    systolic: float = 128.0,
    diastolic: float = 82.0,
    *,
    status: Status = Status.OK,
    half: float | None = 2.0,
    rhythm: Rhythm = Rhythm.REGULAR,
    rule: Rule = Rule.LAST_SOUND,
    beat_s: float | None = None,
) -> Reading:
    """A reading with both pressures observed, each with an interval of +- ``half``."""

    def bounds(mmhg: float) -> dict[str, float | None]:
        if half is None:
            return {"low_mmhg": None, "high_mmhg": None}
        return {"low_mmhg": mmhg - half, "high_mmhg": mmhg + half}

    beats = ()
    if beat_s is not None:
        beats = (Beat(time_s=beat_s, cuff_mmhg=120.0, heard=0.9, phase=Phase.K1),)
    return Reading(
        status=status,
        systolic=Threshold(state=State.OBSERVED, mmhg=systolic, **bounds(systolic)),
        diastolic=Diastolic(state=State.OBSERVED, mmhg=diastolic, rule=rule, **bounds(diastolic)),
        first_silence=NOTHING,
        muffling=NOTHING,
        rhythm=rhythm,
        beats=beats,
    )


def unreadable() -> Reading:
    """A reading of which nothing could be read."""
    return Reading(
        status=Status.UNREADABLE,
        systolic=NOTHING,
        diastolic=Diastolic(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS),
        first_silence=NOTHING,
        muffling=NOTHING,
        reasons=(Reason.NO_SOUNDS,),
    )


def not_reached(low: float) -> Reading:
    """A reading whose systolic is only a bound."""
    return Reading(
        status=Status.REVIEW,
        systolic=Threshold(state=State.NOT_REACHED, low_mmhg=low),
        diastolic=Diastolic(state=State.OBSERVED, mmhg=80.0),
        first_silence=NOTHING,
        muffling=NOTHING,
    )


def series(*pairs: tuple[float, float], arm: Arm | None = Arm.LEFT, **how: object) -> list[Taken]:
    """Readings of one arm in order, without times."""
    return [
        Taken(reading=reading(*pair, **how), arm=arm, label=f"{arm} {number}")  # type: ignore[arg-type]
        for number, pair in enumerate(pairs, 1)
    ]


def after(minutes: float) -> datetime:
    """Minutes after the first reading."""
    return START + timedelta(minutes=minutes)
