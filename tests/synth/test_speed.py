"""A minute at 4 kHz costs at most three times what its raw material costs."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from scipy import signal

from tapfall.synth import load_builtin, simulate

RATIO = 3.0


def best_s(work: Callable[[], object]) -> float:
    start_s = time.perf_counter()
    work()
    return time.perf_counter() - start_s


def raw_material() -> None:
    """White noise for a minute at 4 kHz, made and band-passed four times."""
    rng = np.random.Generator(np.random.PCG64(1))
    sos = signal.butter(4, [25, 250], "bandpass", fs=4000, output="sos")
    for _ in range(4):
        signal.sosfilt(sos, rng.standard_normal(60 * 4000))


def test_a_minute_is_simulated_quickly() -> None:
    scenario = load_builtin("normal")
    minutes = simulate(scenario).recording.samples.size / 4000 / 60
    assert 0.8 < minutes < 1.2
    raw_material()
    pairs = [(best_s(raw_material), best_s(lambda: simulate(scenario))) for _ in range(9)]
    raw_s, simulated_s = (min(times) for times in zip(*pairs, strict=True))
    assert simulated_s / minutes < RATIO * raw_s
