"""When more readings are advised, and what else has to be said of a visit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from tapfall.model import FLAG_SENTENCES, Flag, Rhythm, Rule
from tapfall.standards import (
    ARMS_TO_AVOID,
    IRREGULAR_READINGS,
    LOW_CAUTION,
    LOW_DIASTOLIC,
    LOW_SYSTOLIC,
    NO_DIAGNOSIS,
    VERY_HIGH_CAUTION,
    is_very_high,
)
from tapfall.visit.average import both_of
from tapfall.visit.guidelines import STABLE_MMHG, Guideline, Take, apart_mmhg
from tapfall.visit.result import ArmsCompared, Average
from tapfall.visit.schemes import Scheme
from tapfall.visit.taken import Arm, Taken

Series = Mapping[Arm | None, Sequence[Taken]]


def more_readings(
    guideline: Guideline,
    series: Series,
    averaged: Mapping[Arm | None, int],
    average: Average | None,
) -> tuple[str, ...]:
    """Say why further readings are advised: one sentence for each reason.

    Parameters
    ----------
    guideline
        Whose rules are followed.
    series
        The readings of each arm that can be used, in order.
    averaged
        How many of each arm are averaged.
    average
        The average that stands for the visit.
    """
    if not series:
        return ("No reading could be used: measure again.",)
    # Without an average the arm with most readings is the one that is being measured.
    most = max(series, key=lambda arm: len(series[arm]))
    arm = most if average is None else average.arm
    readings = series[arm]
    values = [both_of(one.reading) for one in readings]
    found = [
        *_too_few(guideline, values, arm),
        *_too_far_apart(guideline, values, averaged[arm]),
        *_irregular(readings),
    ]
    return tuple(found)


def _too_few(
    guideline: Guideline, values_mmhg: Sequence[tuple[float, float]], arm: Arm | None
) -> Iterator[str]:
    count = len(values_mmhg)
    if count >= guideline.readings or enough(guideline, values_mmhg):
        return
    missing = guideline.readings - count
    of_arm = "" if arm is None else f" of the {arm} arm"
    yield (
        f"{guideline.title} asks for {guideline.readings} readings, {count}{of_arm} could be "
        f"used: take {missing} more."
    )


def enough(guideline: Guideline, values_mmhg: Sequence[tuple[float, float]]) -> bool:
    """Whether the first reading is so low that the guideline asks for no others."""
    systolic, diastolic = guideline.enough_systolic_mmhg, guideline.enough_diastolic_mmhg
    if systolic is None or diastolic is None or not values_mmhg:
        return False
    return values_mmhg[0][0] < systolic and values_mmhg[0][1] < diastolic


def _too_far_apart(
    guideline: Guideline, values_mmhg: Sequence[tuple[float, float]], averaged: int
) -> Iterator[str]:
    count = len(values_mmhg)
    if guideline.take is Take.STABLE_TWO:
        if count > 1 and not averaged:
            yield (
                f"{guideline.title} averages two readings in a row that differ by less than "
                f"{STABLE_MMHG:g} mmHg, and there are none: take another."
            )
        return
    if guideline.differ_mmhg is None or count < 2:
        return
    watched = values_mmhg[:2] if guideline.differ_first else values_mmhg
    if count > guideline.readings:
        # More were taken: what matters now is whether those that are averaged agree.
        watched = values_mmhg[count - averaged :]
        if guideline.take is Take.ALL:
            watched = values_mmhg[-2:]
    apart = max(apart_mmhg(one, other) for one in watched for other in watched)
    if apart > guideline.differ_mmhg:
        which = "The first two readings" if watched == values_mmhg[:2] else "Readings"
        yield (
            f"{which} differ by more than {guideline.differ_mmhg:g} mmHg ({apart:.1f}): take "
            f"another ({guideline.title})."
        )


def is_irregular(one: Taken) -> bool:
    """Whether the rhythm of a reading is irregular."""
    reading = one.reading
    return reading.rhythm is Rhythm.IRREGULAR or Flag.IRREGULAR_RHYTHM in reading.flags


def _irregular(readings: Sequence[Taken]) -> Iterator[str]:
    wanted = int(IRREGULAR_READINGS.value)
    if len(readings) < wanted and any(is_irregular(one) for one in readings):
        yield (
            f"{FLAG_SENTENCES[Flag.IRREGULAR_RHYTHM]} In atrial fibrillation the mean of "
            f"{wanted} is advised."
        )


def notes(
    guideline: Guideline,
    scheme: Scheme,
    taken: Sequence[Taken],
    series: Series,
    average: Average | None,
    arms: ArmsCompared | None,
) -> tuple[str, ...]:
    """Say what else has to be known, one sentence or two for each."""
    return tuple(_notes(guideline, scheme, taken, series, average, arms))


def _notes(
    guideline: Guideline,
    scheme: Scheme,
    taken: Sequence[Taken],
    series: Series,
    average: Average | None,
    arms: ArmsCompared | None,
) -> Iterator[str]:
    if average is not None:
        mine = series[average.arm]
        if average.review_count:
            yield (
                f"{average.review_count} of the {average.count} readings averaged should be "
                "checked by a person (status review)."
            )
        rule = mine[0].reading.diastolic.rule
        if rule is Rule.K4:
            yield "The diastolic is the muffling (K4); categories are meant for the last sound."
        if len(mine) == 1 and enough(guideline, [both_of(mine[0].reading)]):
            yield (
                f"{guideline.title}: a first reading below {guideline.enough_systolic_mmhg:g}/"
                f"{guideline.enough_diastolic_mmhg:g} mmHg needs no others."
            )
        if len(mine) >= IRREGULAR_READINGS.value and any(is_irregular(one) for one in mine):
            yield (
                "The rhythm is irregular: pressures differ from beat to beat. Deflate slower, "
                "and trust the mean of several readings only."
            )
    yield from _too_soon(guideline, taken)
    given = sum(one.time is not None for one in taken)
    if 0 < given < len(taken):
        yield "Some readings have no time: all are taken in the order given."
    if arms is None:
        yield (
            "There is no average of both arms: on a first visit measure both, afterwards the arm "
            "with the higher value (ACC/AHA)."
        )
    if len({one.arm is None for one in taken}) > 1:
        yield "Readings whose arm is not stated are averaged apart."
    if guideline.occasions > 1:
        yield f"{guideline.title} wants this on {guideline.occasions} occasions or more."
    if scheme.note:
        yield scheme.note


def _too_soon(guideline: Guideline, taken: Sequence[Taken]) -> Iterator[str]:
    times = [one.time for one in taken if one.time is not None]
    if guideline.spacing_s is None or len(times) < len(taken):
        return
    steps_s = [(b - a).total_seconds() for a, b in pairwise(times)]
    least_s = min(steps_s, default=guideline.spacing_s)
    if least_s < guideline.spacing_s:
        yield (
            f"Two readings are {least_s:.0f} s apart; {guideline.title} wants "
            f"{guideline.spacing_s:.0f} s or more."
        )


def cautions(taken: Sequence[Taken], average: Average | None) -> tuple[str, ...]:
    """Return the cautions of a visit, the most pressing first."""
    found = [VERY_HIGH_CAUTION] if any(map(_very_high, taken)) else []
    if average is not None and (
        average.systolic.mmhg < LOW_SYSTOLIC.value or average.diastolic.mmhg < LOW_DIASTOLIC.value
    ):
        found.append(LOW_CAUTION)
    return (*found, NO_DIAGNOSIS, ARMS_TO_AVOID)


def _very_high(one: Taken) -> bool:
    """Whether a reading is very high, also one that is not averaged, also by its bound."""
    return is_very_high(one.reading.systolic.at_least_mmhg, one.reading.diastolic.mmhg)
