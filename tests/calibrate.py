"""Fit the ear's numbers on simulated recordings and write ``ear/calibration.json``.

``python -m tests.calibrate weights`` fits the weights of the evidence on
development seeds; ``python -m tests.calibrate confidence`` fits the map from
posterior to confidence on calibration seeds, used for nothing else.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from tapfall.ear.calibration import CLIP_SD, SURE, Weights
from tapfall.ear.confidence import CONFIDENCE
from tapfall.ear.cuff import measurement_bounds
from tapfall.ear.presence import presence_measures
from tests.accuracy.groups import GROUPS

TARGET = Path(__file__).parent.parent / "src" / "tapfall" / "ear" / "calibration.json"
#: Units of the hidden layer, and the penalty on squared weights.
HIDDEN, RIDGE = 16, 3.0
#: Units of the network for the presence of sounds.
PRESENCE_UNITS = 5
#: Recordings with fewer sounds teach nothing about what a sound is.
LEAST_SOUNDS = 4
#: Units and penalty of the network for confidence, and the coverage aimed at.
CONFIDENCE_UNITS, CONFIDENCE_RIDGE, COVERAGE = 4, 2.0, 0.957


def observe(case: tuple[str, int]) -> dict[str, Any] | None:
    """Simulate one recording and listen to it; measures of each round with their truth."""
    from tapfall.ear import judge, taking, thresholds
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

    sure: dict[str, np.ndarray] = {}
    plain_confidence = thresholds.confidence

    def watched_confidence(measures: np.ndarray, kind: str) -> float:
        sure[kind] = measures
        return plain_confidence(measures, kind)

    judge._hear = watched
    thresholds.confidence = watched_confidence
    try:
        reading = taking.take_reading(simulation.recording)
    finally:
        judge._hear = plain
        thresholds.confidence = plain_confidence
    row: dict[str, Any] = {"group": group, "seed": seed, "rounds": [], "sure": sure}
    row["score"] = score(simulation.truth, reading, group=group, seed=seed, seconds=0.0)
    beats = simulation.truth.beats
    # The judgement's own times start at the measurement's first row.
    cuff = simulation.recording.cuff
    rows = measurement_bounds(cuff.time_s, cuff.pressure_mmhg)
    origin_s = float(cuff.time_s[rows[-1][0]]) if rows else 0.0
    time_s = np.array([beat.time_s for beat in beats]) - origin_s
    for found in heard[-judge.ROUNDS :]:
        away = np.abs(time_s[None, :] - found.onset_s[:, None])
        nearest = away.argmin(axis=1)
        quiet = np.array([beat.audible_in_quiet for beat in beats])[nearest]
        noisy = np.array([beat.audible_in_noise for beat in beats])[nearest]
        # A beat that only a quiet room would let one hear teaches nothing.
        known = (away[np.arange(nearest.size), nearest] < 0.25) & (noisy | ~quiet)
        row["rounds"].append((found.evidence.measures[known], noisy[known]))
    if heard:
        row["presence"] = presence_measures(heard[-1])
        row["audible"] = sum(beat.audible_in_noise for beat in beats)
    return row


def gather(groups: Sequence[str], first: int, count: int, workers: int) -> list[dict[str, Any]]:
    """Observe ``count`` recordings of each group."""
    os.environ["OMP_NUM_THREADS"] = "1"
    cases = [(group, seed) for group in groups for seed in range(first, first + count)]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        return [row for row in pool.imap_unordered(observe, cases, chunksize=8) if row]


def fit_weights(
    measures: np.ndarray,
    sounds: np.ndarray,
    seed: int,
    units: int = HIDDEN,
    even: bool = True,
    ridge: float = RIDGE,
) -> dict[str, Any]:
    """A network of one hidden layer, by L-BFGS on the log loss; ``even``: classes count alike."""
    mean, spread = measures.mean(axis=0), measures.std(axis=0) + 1e-3
    z = np.clip((measures - mean) / spread, -CLIP_SD, CLIP_SD)
    share = sounds.mean()
    weight = np.where(sounds > 0, 0.5 / share, 0.5 / (1 - share)) if even else np.ones_like(sounds)
    m = z.shape[1]
    cuts = np.cumsum([m * units, units, units])

    def unpack(x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
        return (
            x[: cuts[0]].reshape(m, units),
            x[cuts[0] : cuts[1]],
            x[cuts[1] : cuts[2]],
            float(x[-1]),
        )

    def loss(x: np.ndarray) -> tuple[float, np.ndarray]:
        hidden, bias, out, offset = unpack(x)
        unit = np.tanh(z @ hidden + bias)
        odds = unit @ out + offset
        miss = weight * (1 / (1 + np.exp(-odds)) - sounds)
        back = np.outer(miss, out) * (1 - unit**2)
        value = float(np.sum(weight * (np.logaddexp(0, odds) - sounds * odds)))
        value += 0.5 * ridge * float(np.sum(hidden**2) + np.sum(out**2))
        slope = np.concatenate(
            [
                (z.T @ back + ridge * hidden).ravel(),
                back.sum(axis=0),
                unit.T @ miss + ridge * out,
                [miss.sum()],
            ]
        )
        return value, slope

    rng = np.random.Generator(np.random.PCG64(seed))
    start = np.concatenate(
        [
            rng.normal(0, m**-0.5, m * units),
            np.zeros(units),
            rng.normal(0, units**-0.5, units),
            [0.0],
        ]
    )
    limits = {"maxiter": 600, "maxfun": 1200}
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options=limits)
    hidden, bias, out, offset = unpack(np.asarray(found.x))
    return {
        "mean": mean,
        "spread": spread,
        "hidden": hidden,
        "bias": bias,
        "out": out,
        "offset": offset,
    }


def weights(rows: Sequence[dict[str, Any]], round_: int) -> dict[str, Any]:
    """Weights of one round from observed rows."""
    # The second set of weights serves every later round too.
    last = round_ + 1 if round_ == 0 else None
    pairs = [pair for row in rows for pair in row["rounds"][round_:last]]
    if round_ == 0:
        # The first round only gathers what may be learned from: it must not give up.
        pairs = [pair for pair in pairs if pair[1].sum() >= LEAST_SOUNDS]
    measures = np.concatenate([pair[0] for pair in pairs])
    sounds = np.concatenate([pair[1] for pair in pairs]).astype(float)
    fitted = fit_weights(measures, sounds, seed=round_)
    odds = Weights(**fitted).log_odds(measures)
    loss = float(np.mean(np.logaddexp(0, odds) - sounds * odds))
    print(
        f"round {round_}: {sounds.size} beats, {sounds.mean():.2f} sound, log loss {loss:.4f}, "
        f"wrong {np.mean((odds > 0) != (sounds > 0)):.4f}",
        flush=True,
    )
    return fitted


def presence(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Weights of the presence of sounds; recordings with one to three sounds are left out."""
    known = [row for row in rows if "presence" in row and not 0 < row["audible"] < LEAST_SOUNDS]
    measures = np.stack([row["presence"] for row in known])
    there = np.array([row["audible"] >= LEAST_SOUNDS for row in known], float)
    fitted = fit_weights(measures, there, seed=5, units=PRESENCE_UNITS)
    odds = Weights(**fitted).log_odds(measures)
    print(
        f"presence: {there.size} recordings, {there.mean():.2f} with sounds; missed "
        f"{np.mean(odds[there > 0] < 1.4):.4f}, invented {np.mean(odds[there < 1] > 1.4):.4f}",
    )
    return fitted


def plain(values: Any) -> Any:
    """Arrays to nested lists of five digits."""
    if np.ndim(values):
        return [plain(value) for value in values]
    return float(f"{float(values):.5g}")


def write(change: Callable[[dict[str, Any]], None]) -> None:
    """Change the file of fitted numbers; the rest of it stays."""
    numbers = json.loads(TARGET.read_text()) if TARGET.exists() else {}
    change(numbers)
    nets = ",\n".join(json.dumps(one) for one in numbers["weights"])
    lines = [f'"weights": [\n{nets}]', f'"presence": {json.dumps(numbers["presence"])}']
    lines += [f'"{name}": {json.dumps(numbers[name])}' for name in ("confidence", "widening_mmhg")]
    TARGET.write_text("{" + ",\n".join(lines) + "}\n")


def blank(measures: int, offset: float) -> dict[str, Any]:
    """Weights that give the same log odds whatever is measured."""
    return {
        "mean": [0.0] * measures,
        "spread": [1.0] * measures,
        "hidden": [[0.0]] * measures,
        "bias": [0.0],
        "out": [0.0],
        "offset": offset,
    }


def confidence(rows: Sequence[dict[str, Any]]) -> tuple[dict[str, Any], dict[str, float]]:
    """Weights of the confidence in each threshold, and how far intervals widen."""
    fitted, widening = {}, {}
    for kind in ("systolic", "diastolic"):
        known = [
            (row["sure"][kind], getattr(row["score"], kind))
            for row in rows
            if kind in row["sure"] and getattr(row["score"], kind).near is not None
        ]
        measures = np.stack([pair[0] for pair in known])
        right = np.array([pair[1].near for pair in known], float)
        fitted[kind] = fit_weights(
            measures, right, seed=7, units=CONFIDENCE_UNITS, even=False, ridge=CONFIDENCE_RIDGE
        )
        sure = 1 / (1 + np.exp(-Weights(**fitted[kind]).log_odds(measures)))
        short = np.array([_short_mmhg(pair[1]) for pair in known])
        widening[kind] = _widening(short, sure)
        high = sure >= 0.97
        print(
            f"{kind}: {right.size} values, {right.mean():.3f} right, confidence {sure.mean():.3f}; "
            f"from 0.97 on {high.mean():.2f} of them, {np.mean(right[high]):.4f} right; "
            f"covered {np.mean(short <= 0):.3f}, widening {widening[kind]:.0f} mmHg"
        )
    return fitted, widening


def _short_mmhg(value: Any) -> float:
    """How much an interval misses the threshold by (either truth's, or between them)."""
    true = [
        one.threshold_mmhg
        for one in (value.quiet, value.noise)
        if one is not None and one.threshold_mmhg is not None
    ]
    if not true or value.estimate is None or value.estimate.low_mmhg is None:
        return 0.0
    low, high = value.estimate.low_mmhg, value.estimate.high_mmhg
    return float(max(min(true) - high, low - max(true), 0.0))


def _widening(short_mmhg: np.ndarray, sure: np.ndarray) -> float:
    """Least widening that brings the coverage to its aim."""
    room = np.maximum(SURE - sure, 0.0)
    for widening in range(0, 200, 2):
        if np.mean(short_mmhg <= widening * room + 1e-9) >= COVERAGE:
            return float(widening)
    return 200.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one fit."""
    parser = argparse.ArgumentParser(prog="python -m tests.calibrate", description=__doc__)
    parser.add_argument("what", choices=("weights", "presence", "confidence"))
    parser.add_argument("--per-group", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=None)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rounds", type=int, nargs="+", default=[0, 1])
    options = parser.parse_args(arguments)
    first, count, workers = options.first_seed, options.per_group, options.workers
    groups = tuple(GROUPS)
    if options.what == "weights":
        for round_ in options.rounds:
            # The second round hears what the first has taught: fitted in turn.
            rows = gather(groups, 2000 if first is None else first, count, workers)
            rows += gather(("no_sounds",), 6000, 4 * count, workers)
            fitted = {name: plain(values) for name, values in weights(rows, round_).items()}
            write(lambda numbers, k=round_, v=fitted: numbers["weights"].__setitem__(k, v))
    elif options.what == "presence":
        first = 2000 if first is None else first
        rows = gather(groups, first, count, workers)
        rows += gather(("no_sounds",), 4000, 12 * count, workers)
        whole = {name: plain(values) for name, values in presence(rows).items()}
        write(lambda numbers: numbers.update(presence=whole))
    else:
        both = ("systolic", "diastolic")
        bare = {
            "confidence": dict.fromkeys(both, blank(len(CONFIDENCE), 4.0)),
            "widening_mmhg": dict.fromkeys(both, 0.0),
        }
        write(lambda numbers: numbers.update(bare))
        rows = gather(groups, 10_000 if first is None else first, count, workers)
        nets, widening = confidence(rows)
        rounded = {
            kind: {name: plain(values) for name, values in net.items()}
            for kind, net in nets.items()
        }
        write(lambda numbers: numbers.update(confidence=rounded, widening_mmhg=widening))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
