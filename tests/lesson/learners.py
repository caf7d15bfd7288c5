"""Simulated learners: a careful reader, and readers with one habit each.

All read the dial with a scatter of 1 mmHg (experts repeat themselves with 0.9 to 2.2 mmHg:
30 filmed sequences, see the figures of training) and then to the nearest even number, as
dials are marked.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tapfall.lesson import Answer, Habit, KeyItem
from tapfall.lesson.errors import targets

SCATTER_MMHG = 1.0

Reader = Callable[[KeyItem, np.random.Generator], Answer]


def answer(
    item: KeyItem, systolic: float, diastolic: float, rng: np.random.Generator, step: float = 2.0
) -> Answer:
    """Write down two true pressures as the dial shows them."""
    read = [
        step * round((true + item.offset_mmhg + float(rng.normal(0, SCATTER_MMHG))) / step)
        for true in (systolic, diastolic)
    ]
    return Answer(
        item=item.name, systolic_mmhg=read[0], diastolic_mmhg=read[1], marks_s=(), replays=0
    )


def truth(item: KeyItem) -> tuple[float, float]:
    assert item.systolic_mmhg is not None
    assert item.diastolic_mmhg is not None
    return item.systolic_mmhg, item.diastolic_mmhg


def perfect(item: KeyItem, rng: np.random.Generator) -> Answer:
    return answer(item, *truth(item), rng)


def rounds_to_zero(item: KeyItem, rng: np.random.Generator) -> Answer:
    return answer(item, *truth(item), rng, 10.0)


def late(item: KeyItem, rng: np.random.Generator) -> Answer:
    high, low = truth(item)
    return answer(item, high - item.step_mmhg, low - item.step_mmhg, rng)


def misses_gaps(item: KeyItem, rng: np.random.Generator) -> Answer:
    high, low = truth(item)
    return answer(item, targets(item, "systolic").get(Habit.MISSED_GAP, high), low, rng)


def stops_early(item: KeyItem, rng: np.random.Generator) -> Answer:
    high, low = truth(item)
    return answer(item, high, targets(item, "diastolic").get(Habit.STOPPED_EARLY, low), rng)


def muffling(item: KeyItem, rng: np.random.Generator) -> Answer:
    high, low = truth(item)
    return answer(item, high, low if item.k4_mmhg is None else item.k4_mmhg, rng)


def reads_pulse(item: KeyItem, rng: np.random.Generator) -> Answer:
    high, low = truth(item)
    return answer(item, high + float(rng.uniform(7.0, 18.0)), low, rng)


READERS: dict[str, tuple[Reader, Habit | None]] = {
    "perfect": (perfect, None),
    "rounds to 0": (rounds_to_zero, Habit.ROUNDS),
    "late by one beat": (late, Habit.READ_LATE),
    "misses gaps": (misses_gaps, Habit.MISSED_GAP),
    "stops in the gap": (stops_early, Habit.STOPPED_EARLY),
    "K4 for K5": (muffling, Habit.MUFFLING),
    "reads the needle": (reads_pulse, Habit.READ_PULSE),
}
