"""How well habits are told, over sets as ``tapfall lesson make`` makes them.

    python -m tests.lesson [--sets N] [--seed S]

makes N sets of 15 items of each grade from 2 on (24; some minutes), lets simulated learners
answer them, and prints for each kind of learner how many sets there are on which the habit
can show on at least 4 items, in how many it is named, told not to be there, or said to be
past judging, and in how many the learner is accused of another habit.
"""

from __future__ import annotations

import argparse
import zlib
from collections import Counter

import numpy as np

from tapfall.lesson import KeyItem, Order, grade_of, make_items
from tapfall.lesson.habits import FEWEST, find_habits
from tests.lesson.learners import READERS, Reader

ITEMS = 15
GRADES = ("2", "3", "4", "5", "6")
#: Scatter in mmHg, share of readings that the habit governs, share of gross errors.
CONDITIONS = (
    (1.0, 1.0, 0.0),
    (1.5, 1.0, 0.0),
    (2.0, 1.0, 0.0),
    (1.5, 0.8, 0.0),
    (1.5, 1.0, 0.1),
    (4.0, 1.0, 0.0),
)


def sets(count: int, seed: int) -> list[tuple[KeyItem, ...]]:
    """Keys of sets as they are made, half of them with displaced zeros."""
    return [
        tuple(
            made.key
            for made in make_items(
                Order(grade=grade_of(grade), count=ITEMS, seed=seed + n, random_zero=bool(n % 2))
            )
        )
        for grade in GRADES
        for n in range(count)
    ]


def told(name: str, keys: list[tuple[KeyItem, ...]], condition: tuple[float, ...]) -> str:
    """One line of the table."""
    reader = READERS[name]
    scatter, always, gross = condition
    found: Counter[str] = Counter()
    for number, items in enumerate(keys):
        if _showing(reader, items) < FEWEST:
            continue
        rng = np.random.default_rng([zlib.crc32(name.encode()), number, round(100 * scatter)])
        answers = [
            reader.answer(one, rng, scatter_mmhg=scatter, always=always, gross=gross)
            for one in items
        ]
        habits = find_habits(items, answers)
        found["sets"] += 1
        own = next((one for one in habits if one.habit is reader.habit), None)
        if own is not None:
            found[{True: "named", False: "no", None: "unjudged"}[own.present]] += 1
        found["accused"] += any(one.present for one in habits if one is not own)
    total = found["sets"]
    own_share = "      -      -      -"
    if reader.habit is not None and total:
        own_share = "".join(f"{found[key] / total:7.1%}" for key in ("named", "no", "unjudged"))
    accused = f"{found['accused'] / total:7.1%}" if total else "      -"
    return f"{name:<26}{total:>5} {own_share} {accused}"


def _showing(reader: Reader, items: tuple[KeyItem, ...]) -> int:
    """On how many items this learner's habit can show."""
    if reader.habit is None:
        return len(items)
    if "gaps" in reader.reads.__name__:
        return sum(bool(one.gaps) for one in items)
    return sum(reader.habit in one.shows for one in items)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sets", type=int, default=24)
    parser.add_argument("--seed", type=int, default=500_000)
    args = parser.parse_args()
    keys = sets(args.sets, args.seed)
    for condition in CONDITIONS:
        scatter, always, gross = condition
        print(f"scatter {scatter:g} mmHg, habit {always:.0%}, gross errors {gross:.0%}")
        print(f"{'learner':<26}{'sets':>5} {'named':>7}{'no':>7}{'unjudged':>9} other")
        for name in READERS:
            print(told(name, keys, condition), flush=True)


if __name__ == "__main__":
    main()
