"""Draw, simulate, read and score recordings, over several processes if asked."""

from __future__ import annotations

import importlib
import time
import traceback
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from tests.accuracy.scoring import Score, failed, score
from tests.running import run_cases

#: What reads unless another is named.
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
    return run_cases(partial(_score_case, reader=reader), cases, workers=workers, lost=_lost)


def _score_case(case: tuple[str, int], reader: str) -> Score:
    return score_one(*case, reader)


def _lost(case: tuple[str, int]) -> Score:
    return failed(*case, traceback.format_exc())
