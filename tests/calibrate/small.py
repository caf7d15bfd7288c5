"""Small networks of one hidden layer, fitted with scipy.

They tell whether there are sounds, whether some lie above the first one read, how sure a value
is, and whether a provisional one holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.optimize import minimize

from tapfall.ear.calibration import SURE
from tapfall.ear.confidence import CONFIDENCE
from tapfall.ear.early import EARLY
from tapfall.ear.late import LATE
from tapfall.ear.network import CLIP_SD, Weights
from tapfall.ear.rhythm import IRREGULAR_VARIATION
from tapfall.ear.thresholds import MOST_WHERE_UNEVEN

#: Penalty on squared weights, and that of the network for presence.
RIDGE, PRESENCE_RIDGE = 3.0, 2.0
#: Units of the networks for the presence of sounds, and how much one that holds none counts: they
#: are few, for most of them something else has called silent before.
PRESENCE_UNITS, SILENT = 12, 3.0
#: Log odds of the presence from which sounds are taken to be there.
SURE_ODDS = 1.1
#: Units of the network for sounds above those read, and from where on they are missed.
ABOVE_UNITS, FAR_MMHG = 4, 8.0
#: Recordings with fewer sounds teach nothing about what a run of sounds is.
LEAST_SOUNDS = 4
#: Units and penalty of the network for confidence.
CONFIDENCE_UNITS, CONFIDENCE_RIDGE = 8, 6.0
#: Values are in doubt below this, and the coverage of these by themselves aimed at: half a point of
#: room, for it is chosen on the values it is counted on.  Over all values 95 % were held without
#: any widening, and those in doubt where only sounds make the clock by 85 to 93 %.
DOUBTFUL_BELOW, COVERAGE = 0.97, 0.955
#: Units and penalty of the networks for the promise that a provisional value holds, and what they
#: read: of diastolics settled by four units at the usual penalty three times as many broke on
#: held-out seeds; the many measures of a systolic bear more units.
PROMISES = {
    "early": (16, 30.0, EARLY),
    "early_by_sounds": (16, 30.0, EARLY),
    "late": (3, 30.0, LATE),
    "late_by_sounds": (3, 10.0, LATE),
}
#: Of provisional values of one recording so many count in full: the later ones are alike.
FULL_VALUES = 12


def fit_weights(
    measures: np.ndarray,
    sounds: np.ndarray,
    seed: int,
    units: int,
    even: bool = True,
    ridge: float = RIDGE,
    weight: np.ndarray | None = None,
) -> dict[str, Any]:
    """A network of one hidden layer, by L-BFGS on the log loss; ``even``: classes count alike."""
    mean, spread = measures.mean(axis=0), measures.std(axis=0) + 1e-3
    z = np.clip((measures - mean) / spread, -CLIP_SD, CLIP_SD)
    share = sounds.mean()
    if weight is None:
        weight = np.ones_like(sounds)
    if even:
        weight = weight * np.where(sounds > 0, 0.5 / share, 0.5 / (1 - share))
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


def presence(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Weights of the presence of sounds; recordings with one to three sounds are left out."""
    known = [row for row in rows if "presence" in row and not 0 < row["audible"] < LEAST_SOUNDS]
    measures = np.stack([row["presence"] for row in known])
    there = np.array([row["audible"] >= LEAST_SOUNDS for row in known], float)
    weight = np.where(there > 0, 1.0, SILENT)
    fitted = fit_weights(measures, there, 5, PRESENCE_UNITS, False, PRESENCE_RIDGE, weight)
    odds = Weights(**fitted).value(measures)
    print(
        f"presence: {there.size} recordings, {there.mean():.2f} with sounds; missed "
        f"{np.mean(odds[there > 0] < SURE_ODDS):.4f}, "
        f"invented {np.mean(odds[there < 1] > SURE_ODDS):.4f}",
    )
    return fitted


def above(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Weights of whether sounds lie above the first one read: unheard, or above the top."""
    known = [(*row["above"], row["score"].systolic.error_mmhg) for row in rows if "above" in row]
    measures = np.stack([one[0] for one in known])
    inside = np.array([into or (miss or 0.0) < -FAR_MMHG for _, into, miss in known], float)
    fitted = fit_weights(measures, inside, seed=3, units=ABOVE_UNITS)
    sure = 1 / (1 + np.exp(-Weights(**fitted).value(measures)))
    for least in (0.1, 0.2, 0.3, 0.5, 0.7):
        print(
            f"above: from {least} on {np.mean(sure[inside > 0] > least):.3f} of {inside.sum():.0f} "
            f"found, {np.mean(sure[inside < 1] > least):.3f} of the others taken for it"
        )
    return fitted


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
        sure = 1 / (1 + np.exp(-Weights(**fitted[kind]).value(measures)))
        short = np.array([_short_mmhg(pair[1]) for pair in known])
        anchored = measures[:, CONFIDENCE.index("anchored")] > 0
        # As the reading takes it: where sounds alone tell of an uneven rhythm it is bounded.
        uneven = ~anchored & (measures[:, CONFIDENCE.index("unevenness")] > IRREGULAR_VARIATION)
        told = np.where(uneven, np.minimum(sure, MOST_WHERE_UNEVEN), sure)
        for name, rows_of in ((kind, anchored), (f"{kind}_by_sounds", ~anchored)):
            doubtful = rows_of & (told < DOUBTFUL_BELOW)
            widening[name] = _widening(short[doubtful], told[doubtful])
        high = sure >= 0.97
        print(
            f"{kind}: {right.size} values, {right.mean():.3f} right, confidence {sure.mean():.3f}; "
            f"from 0.97 on {high.mean():.2f} of them, {np.mean(right[high]):.4f} right; "
            f"covered {np.mean(short <= 0):.3f}, widening {widening}"
        )
    return fitted, widening


def promise(rows: Sequence[dict[str, Any]], kind: str) -> dict[str, Any]:
    """Weights of the promise that a provisional value holds; prints what settling would break.

    Each half of the seeds is settled by weights of the other half for that.  Values count where
    the clock is that of the kind: the log's pulses, or the sounds.
    """
    units, ridge, names = PROMISES[kind]
    taken = [row["values"] for row in rows]
    clock = "anchored" if names is EARLY else "coarse_log"
    at, high = names.index(clock), kind.endswith("by_sounds") == (clock == "coarse_log")
    taken = [[one for one in values if (one[0][at] > 0.5) == high] for values in taken]
    sizes = [len(values) for values in taken]
    measures = np.stack([one[0] for values in taken for one in values])
    kept = np.array([one[1] for values in taken for one in values], float)
    order = np.concatenate([np.arange(size) for size in sizes])
    weight = FULL_VALUES / np.maximum(order, FULL_VALUES)
    half = np.repeat([row["seed"] % 2 for row in rows], sizes)

    def fit(chosen: np.ndarray) -> dict[str, Any]:
        return fit_weights(measures[chosen], kept[chosen], 9, units, False, ridge, weight[chosen])

    chance = np.zeros(kept.size)
    for one in (0, 1):
        odds = Weights(**fit(half != one)).value(measures[half == one])
        chance[half == one] = 1 / (1 + np.exp(-odds))
    print(f"{kind}: {kept.size} provisional values, {kept.mean():.3f} kept")
    ends = np.cumsum(sizes)
    for least in (0.95, 0.97, 0.98, 0.985, 0.9875, 0.99, 0.9925, 0.995):
        first = [
            int(end - size + np.argmax(chance[end - size : end] >= least))
            for size, end in zip(sizes, ends, strict=True)
            if (chance[end - size : end] >= least).any()
        ]
        after = np.median(order[first]) if first else 0
        print(
            f"  settled from {least} on: {len(first) / len(rows):.3f} of recordings, after "
            f"{after:.0f} judgements, "
            f"broken {np.sum(kept[first] < 1) / len(rows):.4f}"
        )
    return fit(np.ones(kept.size, bool))


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
    """Least widening that brings the coverage of doubtful values, by themselves, to its aim."""
    room = np.maximum(SURE - sure, 0.0)
    for widening in range(0, 200, 2):
        if np.mean(short_mmhg <= widening * room + 1e-9) >= COVERAGE:
            return float(widening)
    return 200.0


def nothing_known() -> dict[str, Any]:
    """Numbers under which every value is given, so that each can be learned from."""
    kinds = ("systolic", "diastolic")
    return {
        **{kind: blank(len(read), -9.0) for kind, (*_, read) in PROMISES.items()},
        "confidence": dict.fromkeys(kinds, blank(len(CONFIDENCE), 4.0)),
        "widening_mmhg": dict.fromkeys((*kinds, *(f"{kind}_by_sounds" for kind in kinds)), 0.0),
    }


def nothing_promised(kind: str) -> dict[str, Any]:
    """Numbers under which nothing is settled, so that every provisional value is asked for."""
    return {kind: nothing_known()[kind]}
