"""Speed where there are many: pairs of a comparison, items of a lesson."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import numpy as np

from tapfall.lesson import Order, grade_of, make_set
from tapfall.lesson.draw import length_s, of_length, plan
from tapfall.study.agreement import agreement, read_table
from tapfall.synth import simulate
from tests.benchmarks.measure import Row

PAIRS, ITEMS = 1_000_000, 50


def agreement_row(folder: Path, pairs: int = PAIRS) -> Row:
    """Everything ``agree`` computes, against mean and SD of the same table."""
    rng = np.random.default_rng(1)
    reference = rng.uniform(90.0, 200.0, pairs).round(1)
    estimate = (reference + rng.normal(0.5, 4.0, pairs)).round(1)
    path = folder / "pairs.csv"
    with path.open("w") as file:
        file.write("reference,estimate,subject\n")
        file.writelines(
            f"{one},{other},s{n // 3}\n"
            for n, (one, other) in enumerate(zip(reference, estimate, strict=True))
        )
    began_s = time.perf_counter()
    table = read_table(path)
    read_s = time.perf_counter() - began_s
    apart = table.estimate_mmhg - table.reference_mmhg
    apart.mean(), apart.std(ddof=1)
    numpy_s = time.perf_counter() - began_s
    began_s = time.perf_counter()
    agreement(table)
    ours_s = read_s + time.perf_counter() - began_s
    return Row(
        what=f"agreement of {pairs} pairs, {ours_s:.1f} s",
        against=f"their mean and SD by numpy, read by the same reader, {numpy_s:.1f} s",
        ratio=ours_s / numpy_s,
        target=5.0,
    )


def lesson_row(folder: Path, name: str = "3", items: int = ITEMS) -> Row:
    """A set of a grade with its sheets, against simulating as many recordings."""
    grade = grade_of(name)
    scenarios = [of_length(one, length_s(grade)) for _, one in plan(grade, items, 5)]
    began_s = time.perf_counter()
    for scenario in scenarios:
        simulate(scenario)
    simulated_s = time.perf_counter() - began_s
    began_s = time.perf_counter()
    made = make_set(Order(grade=grade, count=items, seed=5), folder / "set")
    made_s = time.perf_counter() - began_s
    shutil.rmtree(made.folder)
    for path in (made.key_path, made.teacher_path):
        path.unlink()
    return Row(
        what=f"a set of {items} items of grade {name} with its sheets, {made_s:.1f} s",
        against=f"simulating {items} recordings, {simulated_s:.1f} s",
        ratio=made_s / simulated_s,
        target=1.5,
    )
