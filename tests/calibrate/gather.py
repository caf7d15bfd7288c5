"""Simulate many recordings and keep what the fits need, in processes of their own."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from tapfall.synth.scenario import Scenario
from tapfall.synth.streams import stream
from tests.accuracy.groups import GROUPS

#: Ranges of the sound far wider than the population's: what is learned from them must
#: not hang on one simulator's waveforms.
WIDE = {
    "first_db": (-24.0, -3.0),
    "second_db": (-10.0, 0.0),
    "last_db": (-24.0, -4.0),
    "muffled_db": (-10.0, -1.0),
    "loudest_share": (0.35, 0.75),
    "edge_mmhg": (0.05, 2.5),
    "level_sd_db": (0.0, 3.0),
    "breath_db": (0.0, 3.0),
    "low_hz": (28.0, 80.0),
    "high_hz": (90.0, 300.0),
    "tap_s": (0.005, 0.035),
    "spread": (0.0, 0.35),
    "crisp_share": (0.0, 0.6),
    "muffle_share": (0.1, 0.6),
    "murmur_db": (-30.0, 3.0),
    "thump_db": (-30.0, 8.0),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """The truth of a recording's beats in the judgement's own time; shape ``(n,)``."""

    time_s: np.ndarray
    cuff_mmhg: np.ndarray
    noisy: np.ndarray
    quiet: np.ndarray
    lag_s: float


def widened(scenario: Scenario, seed: int) -> Scenario:
    """The scenario with some fields of its sound drawn from wider ranges."""
    rng = stream(seed, "wide")
    drawn = {
        name: round(float(rng.uniform(low, high)), 4)
        for name, (low, high) in WIDE.items()
        if rng.random() < 0.6
    }
    low_hz = drawn.get("low_hz", scenario.sound.low_hz)
    high_hz = drawn.get("high_hz", scenario.sound.high_hz)
    drawn["high_hz"] = max(high_hz, 1.3 * low_hz)
    return replace(scenario, sound=replace(scenario.sound, **drawn))


def _simulated(case: tuple[str, int], wide: bool) -> tuple[Any, Known]:
    """One recording and what is known of it; every third is widened."""
    from tapfall.ear.cuff import measurement_bounds
    from tapfall.synth import simulate
    from tests.accuracy.groups import draw

    group, seed = case
    scenario = draw(group, seed)
    if wide and seed % 3 == 0:
        scenario = widened(scenario, seed)
    simulation = simulate(scenario)
    beats = simulation.truth.beats
    cuff = simulation.recording.cuff
    rows = measurement_bounds(cuff.time_s, cuff.pressure_mmhg)
    # The judgement's own times start at the measurement's first row.
    origin_s = float(cuff.time_s[rows[-1][0]]) if rows else 0.0
    known = Known(
        time_s=np.array([beat.time_s for beat in beats]) - origin_s,
        cuff_mmhg=np.array([beat.cuff_mmhg for beat in beats]),
        noisy=np.array([beat.audible_in_noise for beat in beats], bool),
        quiet=np.array([beat.audible_in_quiet for beat in beats], bool),
        lag_s=simulation.truth.lag_s,
    )
    return simulation, known


@contextmanager
def _watching(module: Any, name: str, seen: list[Any]) -> Iterator[None]:
    """Keep the arguments and the result of every call of a function."""
    plain = getattr(module, name)

    def watched(*arguments: Any) -> Any:
        result = plain(*arguments)
        seen.append((arguments, result))
        return result

    setattr(module, name, watched)
    try:
        yield
    finally:
        setattr(module, name, plain)


def scanned(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """Levels over time, pulses and truth of one recording, for the networks of layers."""
    from tapfall.ear import judge, taking
    from tapfall.ear import reader as ear_reader

    simulation, known = _simulated(case, wide)
    levels: list[Any] = []
    listened: list[Any] = []
    with (
        _watching(judge, "band_levels", levels),
        _watching(ear_reader, "listen", listened),
    ):
        taking.take_reading(simulation.recording)
    if not levels or levels[-1][1] is None:
        return None
    _, deflation, pulses, _ = listened[-1][0]
    lag_s = known.lag_s
    return {
        "group": case[0],
        "seed": case[1],
        "level": levels[-1][1].level.astype(np.float16),
        "start_s": levels[-1][1].start_s,
        "span_s": (deflation.start_s - lag_s, deflation.end_s - lag_s),
        "pulse_s": pulses.time_s - lag_s if pulses.usable else None,
        "known": known,
    }


def heard(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """Measures of each round, of presence and of confidence, with their truth."""
    from tapfall.ear import judge, taking, thresholds
    from tapfall.ear.presence import presence_measures
    from tests.accuracy.scoring import score

    simulation, known = _simulated(case, wide)
    rounds: list[Any] = []
    sure: list[Any] = []
    with (
        _watching(judge, "_hear", rounds),
        _watching(thresholds, "confidence", sure),
    ):
        reading = taking.take_reading(simulation.recording)
    row: dict[str, Any] = {
        "rounds": [],
        "sure": {kind: measures for (measures, kind), _ in sure},
        "score": score(simulation.truth, reading, group=case[0], seed=case[1], seconds=0.0),
        "audible": int(known.noisy.sum()),
    }
    for _, found in rounds[-judge.ROUNDS :]:
        away_s = np.abs(known.time_s[None, :] - found.onset_s[:, None])
        nearest = away_s.argmin(axis=1)
        there = away_s.min(axis=1) < 0.25
        noisy, quiet = known.noisy[nearest] & there, known.quiet[nearest] & there
        # A beat that only a quiet room would let one hear teaches nothing.
        row["rounds"].append((found.evidence.measures, noisy, noisy | ~quiet))
    if rounds:
        row["presence"] = presence_measures(rounds[-1][1])
    return row


def gather(
    look: Callable[[tuple[str, int], bool], dict[str, Any] | None],
    first: int,
    count: int,
    workers: int,
    wide: bool = False,
) -> list[dict[str, Any]]:
    """Look at ``count`` recordings of each group."""
    os.environ["OMP_NUM_THREADS"] = "1"
    cases = [(group, seed) for seed in range(first, first + count) for group in GROUPS]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        rows = pool.imap_unordered(partial(look, wide=wide), cases, chunksize=8)
        return [row for row in rows if row]
