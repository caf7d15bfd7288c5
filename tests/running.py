"""Many recordings over several processes, and their rows in a file."""

from __future__ import annotations

import csv
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any, TypeVar

Case = tuple[str, int]
Found = TypeVar("Found")


def run_cases(
    work: Callable[[Case], Found],
    cases: Sequence[Case],
    *,
    workers: int,
    lost: Callable[[Case], Found],
) -> list[Found]:
    """What ``work`` finds for each case, in their order; shows how far it is on a terminal.

    ``lost`` makes the row of a case whose process died; it is called while the
    exception is handled.
    """
    found: dict[Case, Found] = {}
    for case, one in _done(work, cases, workers, lost):
        found[case] = one
        show_progress(len(found), len(cases), case[0])
    return [found[case] for case in cases]


def show_progress(done: int, count: int, name: str = "") -> None:
    """How far a long run is, on standard error and only on a terminal; wiped at its end."""
    if not sys.stderr.isatty():
        return
    line = f"{done}/{count} {name:<24}" if done < count else " " * 48 + "\r"
    print("\r" + line, end="", file=sys.stderr, flush=True)


def _done(
    work: Callable[[Case], Found],
    cases: Sequence[Case],
    workers: int,
    lost: Callable[[Case], Found],
) -> Iterator[tuple[Case, Found]]:
    if workers <= 1:
        for case in cases:
            yield case, work(case)
        return
    os.environ["OMP_NUM_THREADS"] = "1"
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=workers, mp_context=context) as pool:
        futures: dict[Future[Found], Case] = {pool.submit(work, case): case for case in cases}
        for future in as_completed(futures):
            case = futures[future]
            try:
                found = future.result()
            except Exception:  # a worker that died has no row of its own
                found = lost(case)
            yield case, found


def write_csv(rows: Sequence[dict[str, Any]], path: Path) -> None:
    """Write one line per row, beside the place first and then renamed into it."""
    part = path.with_name(path.name + ".part")
    with part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    part.replace(path)
