"""What a learner does wrong again and again, told from chance.

Each habit says what would have been read on each item.  Its share is the slope of a line
through zero: of the errors over what the habit would have made them (1: always, 0: never).
A habit is found where that share is at least a half and further from zero than the scatter
of the learner's own readings explains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tapfall.lesson.errors import misses, targets
from tapfall.lesson.nouns import Answer, Habit, KeyItem

#: Items on which a habit must be able to show before it is judged (our choice).
FEWEST = 4
#: A habit is one if it explains at least this share (our choice).
LEAST_SHARE = 0.5
#: Chance of accusing a careful reader of one habit: six are tested, so that about 3 in 100
#: are accused of any (our choice).
CHANCE = 0.005
#: Least scatter of a reading, mmHg: dials are read to 2 mmHg.
LEAST_SD_MMHG = 1.0
#: An error further than this from both the truth and the habit's value is something else.
ELSEWHERE_MMHG = 6.0
#: Reading the needle instead of the sound is at least so far above (our choice), and a
#: careful reader so far above with this chance (5 mmHg, twice the scatter of two observers).
PULSE_MMHG, PULSE_CHANCE = 5.0, 0.02
#: One pressure in five ends in 0, read to 2 mmHg; one in five in 0 or 5, read to 1 mmHg.
ROUND_CHANCE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class HabitFound:
    """What was found of one habit.

    ``present`` is None where it cannot be judged; ``share`` is how much of the answers it
    explains, ``items`` on how many it could show.
    """

    habit: Habit
    present: bool | None
    share: float | None
    items: int
    p_value: float | None


def find_habits(items: Sequence[KeyItem], answers: Sequence[Answer]) -> tuple[HabitFound, ...]:
    """Look for every habit in the answers of one learner.

    Parameters
    ----------
    items, answers
        The key's items and the answers to them, in the same order.

    Returns
    -------
    tuple of HabitFound
        In the order of :class:`tapfall.lesson.nouns.Habit`.
    """
    scatter = _scatter(items, answers)
    found = []
    for habit in Habit:
        if habit is Habit.ROUNDS:
            found.append(_rounds(items, answers))
        elif habit is Habit.READ_PULSE:
            found.append(_reads_pulse(items, answers))
        else:
            found.append(_slope(habit, items, answers, scatter))
    return tuple(found)


def _scatter(items: Sequence[KeyItem], answers: Sequence[Answer]) -> float:
    """Scatter of the readings around what they were read at, mmHg."""
    errors = [
        one.error_mmhg
        for item, answer in zip(items, answers, strict=True)
        for one in misses(item, answer)
        if one.error_mmhg is not None and abs(one.error_mmhg) <= ELSEWHERE_MMHG
    ]
    if len(errors) < 4:
        return 2.0
    away = np.abs(np.array(errors) - np.median(errors))
    return max(LEAST_SD_MMHG, 1.4826 * float(np.median(away)))


def _slope(
    habit: Habit, items: Sequence[KeyItem], answers: Sequence[Answer], scatter: float
) -> HabitFound:
    shifts, errors, shown = [], [], 0
    for item, answer in zip(items, answers, strict=True):
        pairs = [
            (targets(item, one.measure)[habit], one)
            for one in misses(item, answer)
            if habit in targets(item, one.measure) and one.error_mmhg is not None
        ]
        shown += bool(pairs)
        for at_mmhg, one in pairs:
            if one.true_mmhg is None or one.error_mmhg is None:  # pragma: no cover - above
                continue
            shift = at_mmhg - one.true_mmhg
            sign = math.copysign(1.0, shift)
            along = sign * one.error_mmhg
            if not -ELSEWHERE_MMHG <= along <= abs(shift) + ELSEWHERE_MMHG:
                along = 0.0
            shifts.append(abs(shift))
            errors.append(along)
    if shown < FEWEST or not shifts:
        return HabitFound(habit=habit, present=None, share=None, items=shown, p_value=None)
    wide = np.array(shifts)
    share = float(wide @ np.array(errors) / (wide @ wide))
    z = share * math.sqrt(float(wide @ wide)) / scatter
    p_value = float(stats.norm.sf(z))
    return HabitFound(
        habit=habit,
        present=share >= LEAST_SHARE and p_value < CHANCE,
        share=share,
        items=shown,
        p_value=p_value,
    )


def _reads_pulse(items: Sequence[KeyItem], answers: Sequence[Answer]) -> HabitFound:
    counts = [
        one.error_mmhg >= max(PULSE_MMHG, 2 * item.step_mmhg)
        for item, answer in zip(items, answers, strict=True)
        for one in misses(item, answer)
        if one.measure == "systolic"
        and one.error_mmhg is not None
        and Habit.READ_PULSE in item.shows
    ]
    return _counted(Habit.READ_PULSE, counts, PULSE_CHANCE, len(counts))


def _rounds(items: Sequence[KeyItem], answers: Sequence[Answer]) -> HabitFound:
    """Digits as they were read from the dial, before its displacement is taken off."""
    read = [
        [value for value in (answer.systolic_mmhg, answer.diastolic_mmhg) if value is not None]
        for item, answer in zip(items, answers, strict=True)
        if Habit.ROUNDS in item.shows
    ]
    values = [round(value) for pair in read for value in pair]
    odd = any(value % 2 and value % 5 for value in values)
    step = 5 if odd or any(value % 10 == 5 for value in values) else 10
    counts = [value % step == 0 for value in values]
    return _counted(Habit.ROUNDS, counts, ROUND_CHANCE, sum(map(bool, read)))


def _counted(habit: Habit, counts: Sequence[bool], chance: float, items: int) -> HabitFound:
    if items < FEWEST:
        return HabitFound(habit=habit, present=None, share=None, items=items, p_value=None)
    hits = sum(counts)
    share = hits / len(counts)
    p_value = float(stats.binom.sf(hits - 1, len(counts), chance))
    return HabitFound(
        habit=habit,
        present=share >= LEAST_SHARE and p_value < CHANCE,
        share=share,
        items=items,
        p_value=p_value,
    )
