"""Draw, simulate, read and score recordings, over several processes if asked."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from typing import Any

from tests.accuracy.scoring import Score, failed, score

#: Seeds of each use: development, the fit of the confidence map, closing figures only.
SPLITS = {
    "development": range(0, 10_000),
    "calibration": range(10_000, 20_000),
    "closing": range(20_000, 30_000),
}
READER = "tapfall.ear:take_reading"


def find_reader(name: str) -> Callable[..., Any]:
    """Import a reader given as ``module:function``."""
    module, _, function = name.partition(":")
    reader: Callable[..., Any] = getattr(importlib.import_module(module), function)
    return reader


def simulated(group: str, seed: int) -> Any:
    """Draw one recording of a group with its truth."""
    from tapfall.synth import simulate
    from tests.accuracy.groups import draw

    return simulate(draw(group, seed))


def score_one(group: str, seed: int, reader: str = READER) -> Score:
    """Simulate and read one recording; anything raised becomes a failed row."""
    start_s = time.perf_counter()
    try:
        simulation = simulated(group, seed)
        start_s = time.perf_counter()
        reading = find_reader(reader)(simulation.recording)
        seconds = time.perf_counter() - start_s
        return score(simulation.truth, reading, group=group, seed=seed, seconds=seconds)
    except Exception:
        seconds = time.perf_counter() - start_s
        return failed(group, seed, traceback.format_exc(), seconds=seconds)


def score_many(
    cases: Sequence[tuple[str, int]], *, workers: int = 1, reader: str = READER
) -> list[Score]:
    """Score many recordings; rows come back in the order of the cases."""
    rows: dict[tuple[str, int], Score] = {}
    for row in _scored(cases, workers, reader):
        rows[row.group, row.seed] = row
        if sys.stderr.isatty():
            print(f"\r{len(rows)}/{len(cases)} {row.group:<24}", end="", file=sys.stderr)
    if sys.stderr.isatty():
        print("\r" + " " * 48 + "\r", end="", file=sys.stderr)
    return [rows[case] for case in cases]


def _scored(cases: Sequence[tuple[str, int]], workers: int, reader: str) -> Iterator[Score]:
    if workers <= 1:
        for group, seed in cases:
            yield score_one(group, seed, reader)
        return
    os.environ["OMP_NUM_THREADS"] = "1"
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=workers, mp_context=context) as pool:
        futures: dict[Future[Score], tuple[str, int]] = {
            pool.submit(score_one, group, seed, reader): (group, seed) for group, seed in cases
        }
        for future in as_completed(futures):
            try:
                yield future.result()
            except Exception:  # a worker that died has no row of its own
                yield failed(*futures[future], traceback.format_exc())
