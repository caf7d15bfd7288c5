"""Simulated learners: a careful reader, and readers with one habit each.

All read the dial with a scatter (experts repeat themselves with an SD of 0.9 to 2.2 mmHg:
30 filmed sequences, see the figures of training) and then to the nearest even number, as
dials are marked.  What a habit does is written out here from the beats of the key and shares
nothing with how habits are found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tapfall.lesson import Answer, Habit, KeyItem

SCATTER_MMHG = 1.5

#: What a habit makes of an item: systolic and diastolic, on the true scale.
Reads = Callable[[KeyItem, np.random.Generator], tuple[float, float]]


def truth(item: KeyItem, _rng: np.random.Generator) -> tuple[float, float]:
    assert item.systolic_mmhg is not None
    assert item.diastolic_mmhg is not None
    return item.systolic_mmhg, item.diastolic_mmhg


def beside(item: KeyItem, mmhg: float, beats: int) -> float:
    """The pressure so many beats after the one at a pressure."""
    nearest = min(range(len(item.beats)), key=lambda n: abs(item.beats[n].mmhg - mmhg))
    return item.beats[min(max(nearest + beats, 0), len(item.beats) - 1)].mmhg


def late(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return beside(item, high, 1), beside(item, low, 1)


def misses_gaps(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return (item.gaps[0].lower_mmhg if item.gaps else high), low


def stops_in_gaps(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return high, (item.gaps[0].upper_mmhg if item.gaps else low)


def stops_early(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return high, beside(item, low, -int(rng.integers(3, 8)))


def muffling(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return high, (low if item.k4_mmhg is None else item.k4_mmhg)


def pulse_early(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return beside(item, high, -1), low


def pulses_early(item: KeyItem, rng: np.random.Generator) -> tuple[float, float]:
    high, low = truth(item, rng)
    return beside(item, high, -int(rng.integers(2, 6))), low


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """A learner: what is read, to which step, and the habit that this is."""

    reads: Reads
    step_mmhg: float = 2.0
    habit: Habit | None = None

    def answer(
        self,
        item: KeyItem,
        rng: np.random.Generator,
        *,
        scatter_mmhg: float = SCATTER_MMHG,
        always: float = 1.0,
        gross: float = 0.0,
    ) -> Answer:
        """Read an item.

        Parameters
        ----------
        item, rng
            The item, and what draws.
        scatter_mmhg
            SD of the readings before they are rounded to the dial.
        always
            How often the habit has its way.
        gross
            How often a value is off by 8 to 30 mmHg for no reason.
        """
        strays = rng.random() >= always
        values = truth(item, rng) if strays else self.reads(item, rng)
        step = 2.0 if strays else self.step_mmhg
        high, low = (
            _on_dial(value, item.offset_mmhg, step, scatter_mmhg, gross, rng) for value in values
        )
        return Answer(
            item=item.name,
            systolic_mmhg=high,
            diastolic_mmhg=min(low, high - step),
            marks_s=(),
            replays=0,
        )


def _on_dial(
    mmhg: float, offset: float, step: float, scatter: float, gross: float, rng: np.random.Generator
) -> float:
    shift = float(rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 30.0)) if rng.random() < gross else 0.0
    return step * round((mmhg + offset + shift + float(rng.normal(0.0, scatter))) / step)


READERS: dict[str, Reader] = {
    "careful": Reader(reads=truth),
    "rounds to 0": Reader(reads=truth, step_mmhg=10.0, habit=Habit.ROUNDS),
    "rounds to 0 and 5": Reader(reads=truth, step_mmhg=5.0, habit=Habit.ROUNDS),
    "misses gaps": Reader(reads=misses_gaps, habit=Habit.MISSED_GAP),
    "stops in gaps": Reader(reads=stops_in_gaps, habit=Habit.STOPPED_EARLY),
    "stops 3 to 7 beats early": Reader(reads=stops_early, habit=Habit.STOPPED_EARLY),
    "late by one beat": Reader(reads=late, habit=Habit.READ_LATE),
    "one pulse early": Reader(reads=pulse_early, habit=Habit.READ_PULSE),
    "2 to 5 pulses early": Reader(reads=pulses_early, habit=Habit.READ_PULSE),
    "K4 for K5": Reader(reads=muffling, habit=Habit.MUFFLING),
}


def perfect(item: KeyItem, rng: np.random.Generator) -> Answer:
    """The answer of a careful reader."""
    return READERS["careful"].answer(item, rng)
