"""Fit the ear's numbers on simulated recordings and write ``ear/calibration.py``.

``python -m tests.calibrate weights`` fits the weights of the evidence on
development seeds; ``python -m tests.calibrate confidence`` fits the map from
posterior to confidence on calibration seeds, used for nothing else.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import isotonic_regression, minimize

from tapfall.ear import calibration
from tapfall.ear.evidence import CLIP_SD, MEASURES
from tests.accuracy.groups import GROUPS

TARGET = Path(__file__).parent.parent / "src" / "tapfall" / "ear" / "calibration.py"
#: Penalty on squared weights: keeps correlated measures from playing against each other.
RIDGE = 3.0
#: Recordings with fewer sounds teach nothing about what a sound is.
LEAST_SOUNDS = 4
#: Knots of the confidence map.
KNOTS = 12

HEAD = '''"""Numbers fitted on simulated recordings; the rest of the ear holds none of these.

Made by ``python -m tests.calibrate``; not to be edited by hand.
"""

from __future__ import annotations

'''


def observe(case: tuple[str, int]) -> dict[str, Any] | None:
    """Simulate one recording and listen to it; measures of each round with their truth."""
    from tapfall.ear import judge, listener
    from tapfall.synth import simulate
    from tests.accuracy.groups import draw
    from tests.accuracy.scoring import score

    group, seed = case
    simulation = simulate(draw(group, seed))
    heard: list[Any] = []
    plain = judge._hear

    def watched(*arguments: Any) -> Any:
        heard.append(plain(*arguments))
        return heard[-1]

    judge._hear = watched
    try:
        reading = listener.take_reading(simulation.recording)
    finally:
        judge._hear = plain
    row: dict[str, Any] = {"group": group, "seed": seed, "rounds": []}
    row["score"] = score(simulation.truth, reading, group=group, seed=seed, seconds=0.0)
    beats = simulation.truth.beats
    time_s = np.array([beat.time_s for beat in beats])
    for found in heard[-judge.ROUNDS :]:
        away = np.abs(time_s[None, :] - found.onset_s[:, None])
        nearest = away.argmin(axis=1)
        quiet = np.array([beat.audible_in_quiet for beat in beats])[nearest]
        noisy = np.array([beat.audible_in_noise for beat in beats])[nearest]
        # A beat that only a quiet room would let one hear teaches nothing.
        known = (away[np.arange(nearest.size), nearest] < 0.25) & (noisy | ~quiet)
        row["rounds"].append((found.evidence.measures[known], noisy[known]))
    return row


def gather(groups: Sequence[str], first: int, count: int, workers: int) -> list[dict[str, Any]]:
    """Observe ``count`` recordings of each group."""
    os.environ["OMP_NUM_THREADS"] = "1"
    cases = [(group, seed) for group in groups for seed in range(first, first + count)]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        return [row for row in pool.imap_unordered(observe, cases, chunksize=8) if row]


def standardise(measures: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Design matrix: one, measures, squares and products."""
    z = np.clip((measures - mean) / spread, -CLIP_SD, CLIP_SD)
    first, second = np.triu_indices(z.shape[1])
    return np.concatenate([np.ones((z.shape[0], 1)), z, z[:, first] * z[:, second]], axis=1)


def fit_weights(design: np.ndarray, sounds: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Ridge logistic regression by L-BFGS."""

    def loss(beta: np.ndarray) -> tuple[float, np.ndarray]:
        odds = design @ beta
        value = float(np.sum(weight * (np.logaddexp(0, odds) - sounds * odds)))
        slope = design.T @ (weight * (1 / (1 + np.exp(-odds)) - sounds))
        value += 0.5 * RIDGE * float(np.sum(beta[1:] ** 2))
        slope[1:] += RIDGE * beta[1:]
        return value, slope

    start = np.zeros(design.shape[1])
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 1000})
    return np.asarray(found.x)


def weights(rows: Sequence[dict[str, Any]], round_: int) -> dict[str, Any]:
    """Mean, spread and weights of one round from observed rows; classes count alike."""
    # Given that there are sounds: whether there are any is decided apart.
    pairs = [row["rounds"][round_] for row in rows if len(row["rounds"]) > round_]
    pairs = [pair for pair in pairs if pair[1].sum() >= LEAST_SOUNDS]
    measures = np.concatenate([pair[0] for pair in pairs])
    sounds = np.concatenate([pair[1] for pair in pairs]).astype(float)
    mean, spread = measures.mean(axis=0), measures.std(axis=0) + 1e-3
    share = sounds.mean()
    weight = np.where(sounds > 0, 0.5 / share, 0.5 / (1 - share))
    beta = fit_weights(standardise(measures, mean, spread), sounds, weight)
    odds = standardise(measures, mean, spread) @ beta
    loss = float(np.mean(np.logaddexp(0, odds) - sounds * odds))
    print(
        f"round {round_}: {sounds.size} beats, {share:.2f} sound, log loss {loss:.4f}, "
        f"wrong {np.mean((odds > 0) != (sounds > 0)):.4f}"
    )
    fitted = {"MEASURE_MEAN": mean, "MEASURE_SD": spread, "MEASURE_WEIGHT": beta}
    kept = {name: list(getattr(calibration, name)) for name in fitted}
    for name, values in fitted.items():
        kept[name][round_] = tuple(float(v) for v in values)
        setattr(calibration, name, tuple(kept[name]))
    return {name: getattr(calibration, name) for name in fitted}


def monotone_map(raw: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Knots of a monotone map from raw probability to share right."""
    order = np.argsort(raw)
    fitted = isotonic_regression(right[order].astype(float)).x
    edges = np.unique(np.quantile(raw, np.linspace(0, 1, KNOTS)))
    centre, level = [], []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        inside = (raw[order] >= low) & (raw[order] <= high)
        centre.append(float(raw[order][inside].mean()))
        # A share of few is drawn towards one half: never quite sure.
        level.append(float((fitted[inside].sum() + 0.5) / (inside.sum() + 1.0)))
    level = np.maximum.accumulate(level)
    return (
        np.concatenate([[0.0], centre, [1.0]]),
        np.concatenate([[0.0], level, level[-1:]]),
    )


def write(numbers: dict[str, Any]) -> None:
    """Write all numbers, new ones over old, and format the file by ruff's rules."""
    import subprocess
    import sys

    kept = {
        "CONFIDENCE": calibration.CONFIDENCE,
        "MEASURE_MEAN": calibration.MEASURE_MEAN,
        "MEASURE_SD": calibration.MEASURE_SD,
        "MEASURE_WEIGHT": calibration.MEASURE_WEIGHT,
        **numbers,
    }

    def row(values: Any) -> str:
        if np.ndim(values[0]):
            return "(" + ", ".join(row(v) for v in values) + ",)"
        return "(" + ", ".join(f"{float(v):.4g}" for v in values) + ",)"

    text = HEAD + "#: Raw posterior within 4 mmHg to confidence: knots of a monotone map.\n"
    text += "CONFIDENCE: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {\n"
    for kind, (raw, level) in kept["CONFIDENCE"].items():
        text += f'    "{kind}": ({row(raw)}, {row(level)}),\n'
    text += "}\n\n#: Mean and spread of the measures of the evidence for each round, in order:\n"
    text += "".join(f"#: {name}\n" for name in MEASURES)
    text += f"MEASURE_MEAN: tuple[tuple[float, ...], ...] = {row(kept['MEASURE_MEAN'])}\n"
    text += f"MEASURE_SD: tuple[tuple[float, ...], ...] = {row(kept['MEASURE_SD'])}\n"
    text += "#: Weights of one, the standardised measures, their squares and products.\n"
    text += f"MEASURE_WEIGHT: tuple[tuple[float, ...], ...] = {row(kept['MEASURE_WEIGHT'])}\n"
    TARGET.write_text(text)
    subprocess.run([sys.executable, "-m", "ruff", "format", "-q", str(TARGET)], check=True)


def confidence(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Maps of both thresholds from observed readings (raw = identity map in force)."""
    maps = {}
    for kind in ("systolic", "diastolic"):
        values = [getattr(row["score"], kind) for row in rows]
        given = [v for v in values if v.confidence is not None]
        raw = np.array([v.confidence for v in given])
        right = np.array([v.right for v in given])
        maps[kind] = monotone_map(raw, right)
        print(kind, raw.size, "values,", f"{right.mean():.3f} right")
    return {"CONFIDENCE": maps}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one fit."""
    parser = argparse.ArgumentParser(prog="python -m tests.calibrate", description=__doc__)
    parser.add_argument("what", choices=("weights", "confidence"))
    parser.add_argument("--per-group", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=None)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args(arguments)
    first = options.first_seed
    if options.what == "weights":
        first = 2000 if first is None else first
        for round_ in range(2):
            # The second round hears what the first has taught: fitted in turn.
            rows = gather(tuple(GROUPS), first, options.per_group, options.workers)
            write(weights(rows, round_))
    else:
        flat = {kind: ((0.0, 1.0), (0.0, 1.0)) for kind in ("systolic", "diastolic")}
        write({"CONFIDENCE": flat})
        rows = gather(
            tuple(GROUPS), 10_000 if first is None else first, options.per_group, options.workers
        )
        write(confidence(rows))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
