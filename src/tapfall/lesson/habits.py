"""What a learner does wrong again and again, told from chance.

Each habit says where a reader who has it would read an item (:mod:`tapfall.lesson.anchors`).
The evidence for a habit is how much likelier all readings are with it than without: a Bayes
factor (:mod:`tapfall.lesson.likelihood`).  Where a learner does not have the habit it exceeds
``n`` at most once in ``n`` times on average over what the model leaves open (Markov's
inequality).  A habit is named where its evidence exceeds the number of habits over
:data:`FAMILY_CHANCE`: a careful reader is accused of any of them at most that often.

Habits are taken up one after the other, the one with the most evidence first, and given up
again where a later one explains the same readings: one error accuses of one habit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapfall.lesson.anchors import ways_of
from tapfall.lesson.likelihood import Likelihood, Taken, Value
from tapfall.lesson.nouns import Answer, Habit, KeyItem

#: Items on which a habit must be able to show before it is judged (our choice).
FEWEST = 4
#: Chance of accusing a careful reader of any habit, at most (our choice).
FAMILY_CHANCE = 0.05
#: Evidence from which on a habit is named: 120.
NAMED = len(Habit) / FAMILY_CHANCE


@dataclass(frozen=True, slots=True, kw_only=True)
class HabitFound:
    """What was found of one habit.

    Parameters
    ----------
    habit
        Which.
    present
        Whether it is named; None where it cannot be judged: it could show on fewer than four
        answered items, or it might not show in them, for they are few, scatter
        widely, or it changes them by little.
    share
        How many of the readings that it can change it governs, 0 to 1; None unless named.
    items
        On how many answered items it could show.
    evidence
        How many times likelier the readings are with the habit than without, as a common
        logarithm; None where fewer than four items can show it.
    """

    habit: Habit
    present: bool | None
    share: float | None
    items: int
    evidence: float | None


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
    values = _values(items, answers)
    count = {habit: len({one.item for one in values if one.can_show(habit)}) for habit in Habit}
    open_to = [habit for habit in Habit if count[habit] >= FEWEST]
    found: dict[Habit, HabitFound] = {}
    if open_to:
        model = Likelihood(values)
        # Habits that show on too few items to be judged may still be what explains errors.
        taken = _chosen(model, [habit for habit in Habit if count[habit]])
        for habit in open_to:
            others = {one: how for one, how in taken.items() if one is not habit}
            log, how = model.evidence(habit, others)
            present: bool | None = habit in taken
            if not present and not model.surely_shown(habit, taken, math.log(NAMED)):
                present = None
            found[habit] = HabitFound(
                habit=habit,
                present=present,
                share=how.share if present else None,
                items=count[habit],
                evidence=round(log / math.log(10.0), 2),
            )
    return tuple(found.get(habit) or _unjudged(habit, count[habit]) for habit in Habit)


def _chosen(model: Likelihood, open_to: Sequence[Habit]) -> dict[Habit, Taken]:
    """Take up habits while one more is needed, and give up those that no longer are."""
    taken: dict[Habit, Taken] = {}
    given_up: set[Habit] = set()
    while True:
        tried = {
            habit: model.evidence(habit, taken)
            for habit in open_to
            if habit not in taken and habit not in given_up
        }
        best = max(tried, key=lambda habit: tried[habit][0], default=None)
        if best is None or tried[best][0] < math.log(NAMED):
            return taken
        taken[best] = tried[best][1]
        for habit in tuple(taken):
            others = {one: how for one, how in taken.items() if one is not habit}
            log, how = model.evidence(habit, others)
            if log < math.log(NAMED):
                # Not to be tried again: two habits could take turns for ever.
                given_up.add(habit)
                del taken[habit]
            else:
                taken[habit] = how


def _unjudged(habit: Habit, items: int) -> HabitFound:
    return HabitFound(habit=habit, present=None, share=None, items=items, evidence=None)


def _values(items: Sequence[KeyItem], answers: Sequence[Answer]) -> list[Value]:
    return [
        Value(
            item=item.name,
            read_mmhg=float(round(read)),
            true_mmhg=true,
            offset_mmhg=item.offset_mmhg,
            ways=ways_of(item, measure),
            shows=item.shows,
        )
        for item, answer in zip(items, answers, strict=True)
        for measure, true, read in (
            ("systolic", item.systolic_mmhg, answer.systolic_mmhg),
            ("diastolic", item.diastolic_mmhg, answer.diastolic_mmhg),
        )
        if true is not None and read is not None
    ]
