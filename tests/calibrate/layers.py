"""Fit networks of layers with JAX, by their gradients on the log loss."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import optax

from tapfall.ear import beats
from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.delaymap import FALL_MMHG, always_there
from tapfall.ear.network import CLIP_SD
from tapfall.ear.onsets import STEP_S, find_onsets

#: Sizes of the kernels (rows, columns), their dilations, and channels, by kind.
SHAPES: dict[str, tuple[tuple[tuple[int, int], tuple[int, int]], ...]] = {
    "onsets": (((1, 7), (1, 1)), ((1, 7), (1, 2)), ((1, 7), (1, 4)), ((1, 5), (1, 8))),
    "onsets_around": tuple(((1, 5), (1, 2**power)) for power in range(7)),
    "pulses": (((3, 5), (1, 1)), ((5, 3), (2, 1)), ((5, 3), (4, 2)), ((3, 3), (2, 1))),
    "sounds": (((3, 5), (1, 1)), ((5, 3), (2, 1)), ((5, 3), (4, 2)), ((3, 3), (2, 1))),
    "rises": (((1, 9), (1, 1)), ((1, 9), (1, 3)), ((1, 9), (1, 9)), ((1, 7), (1, 15))),
    "evidence": (((5, 1), (1, 1)), ((5, 1), (1, 1)), ((3, 1), (1, 1))),
    "starting": (((5, 1), (1, 1)), ((5, 1), (1, 1)), ((3, 1), (1, 1))),
    "closer": (((5, 1), (1, 1)), ((5, 1), (1, 1)), ((3, 1), (1, 1))),
    "muffling": (((5, 1), (1, 1)), ((5, 1), (1, 1))),
    "ends": (((5, 1), (1, 1)), ((5, 1), (2, 1)), ((5, 1), (4, 1)), ((5, 1), (8, 1))),
}
CHANNELS = {
    "onsets": 12, "onsets_around": 24, "rises": 24, "pulses": 24, "sounds": 16, "evidence": 56,
    "starting": 40, "closer": 56, "muffling": 16, "ends": 28,
}  # fmt: skip
#: Columns of a map while fitting, and the delays a map of sounds begins at.
COLUMNS = {"pulses": 72, "sounds": 81}
SOUNDS_FROM_S = -0.32
#: Networks of single instants, and the steps of time in one stretch of marks.
ALONE = {"onsets": 1024, "onsets_around": 2048, "rises": 1024}
#: A cell this near to a true sound counts as one, one a little further as neither.
SAME_S, UNSURE_S, QUIET_S = 0.0105, 0.03, 0.05
#: The wanted odds of a rise on the log are highest where it is and fall off like a bell this
#: wide, in a slow log so many of its steps: its time is then the top of the odds.
RISE_S, RISE_STEPS = 0.014, 0.13
#: Silent beats with sounds this near on both sides count so many times.
BESIDE, SHORT_SILENCE = 3, 4.0
#: Share of maps kept whole, and the most that is cut from either end of the others.
WHOLE, MOST_CUT = 0.5, 0.35
#: Share of channels dropped while beats are learned.
DROPPED = 0.15
BATCH, RATE, DECAY = 8, 3e-3, 1e-4
#: Beats of a batch are filled up to a multiple of so many.
ROWS = 24

Arrays = tuple[np.ndarray, ...]


def filled(beats: int) -> int:
    """So many beats, filled up: shapes are compiled one by one."""
    return ROWS * int(np.ceil(beats / ROWS))


def by_length(tall: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """An order in which those of like length come together, drawn among them."""
    order = rng.permutation(tall.size)
    return order[np.argsort(tall[order], kind="stable")]


def begin_layers(kind: str, channels_in: int, seed: int) -> list[dict[str, Any]]:
    """Random layers."""
    rng = np.random.default_rng(seed)
    layers, width = [], channels_in
    for (rows, columns), dilation in SHAPES[kind]:
        shape = (rows, columns, width, CHANNELS[kind])
        kernel = rng.standard_normal(shape) * np.sqrt(2 / (rows * columns * width))
        layers.append({"kernel": kernel, "bias": np.zeros(CHANNELS[kind]), "dilation": dilation})
        width = CHANNELS[kind]
    last = rng.standard_normal((1, 1, width, 1)) * 0.3 * np.sqrt(2 / width)
    layers.append({"kernel": last, "bias": np.full(1, -4.0), "dilation": (1, 1)})
    return layers


def run_many(weights: Any, dilations: Any, values: Any, rows: Any, key: Any = None) -> Any:
    """The network as :func:`tapfall.ear.network.run_layers` runs it, on many at once.

    With a key, whole channels are dropped at random.
    """
    for number, ((kernel, bias), dilation) in enumerate(zip(weights, dilations, strict=True), 1):
        values = jax.lax.conv_general_dilated(
            values,
            kernel,
            (1, 1),
            "SAME",
            rhs_dilation=dilation,
            dimension_numbers=("NHWC", "HWIO", "NHWC"),
        )
        values = values + bias
        if number < len(dilations):
            values = jax.nn.relu(values) * rows[:, :, None, None]
            if key is not None:
                key, now = jax.random.split(key)
                shape = (values.shape[0], 1, 1, values.shape[3])
                values = values * jax.random.bernoulli(now, 1 - DROPPED, shape) / (1 - DROPPED)
    return values[..., 0]


def descend(
    layers: list[dict[str, Any]],
    loss: Callable[..., Any],
    batch: Callable[[np.ndarray], Arrays],
    count: int,
    epochs: int,
    size: int,
) -> list[dict[str, Any]]:
    """Adam with a falling rate; ``batch`` makes arrays from indices of examples."""
    dilations = [layer["dilation"] for layer in layers]
    weights = [(jnp.asarray(one["kernel"]), jnp.asarray(one["bias"])) for one in layers]
    schedule = optax.cosine_decay_schedule(RATE, epochs * max(count // size, 1))
    optimiser = optax.adamw(schedule, weight_decay=DECAY)
    state = optimiser.init(weights)

    @jax.jit
    def step(weights: Any, state: Any, key: Any, *arrays: Any) -> Any:
        value, slope = jax.value_and_grad(lambda w: loss(w, dilations, key, *arrays))(weights)
        change, state = optimiser.update(slope, state, weights)
        return optax.apply_updates(weights, change), state, value

    rng, key = np.random.default_rng(0), jax.random.PRNGKey(0)
    for epoch in range(epochs):
        values = []
        for first in rng.permutation(max(count // size, 1)) * size:
            arrays = batch(np.arange(first, min(first + size, count)))
            key, now = jax.random.split(key)
            weights, state, value = step(weights, state, now, *arrays)
            values.append(float(value))
        print(f"epoch {epoch}: loss {np.mean(values):.4f}", flush=True)
    return [
        {"kernel": np.asarray(kernel), "bias": np.asarray(bias), "dilation": dilation}
        for (kernel, bias), dilation in zip(weights, dilations, strict=True)
    ]


def _near(time_s: np.ndarray, sounds_s: np.ndarray) -> np.ndarray:
    """Distance of each time to the nearest sound."""
    if sounds_s.size == 0:
        return np.full(time_s.shape, np.inf)
    return np.abs(time_s[..., None] - sounds_s).min(axis=-1)


def _labels(time_s: np.ndarray, known: Any) -> tuple[np.ndarray, np.ndarray]:
    """Where a sound starts, and where nobody can say."""
    away_s = _near(time_s, known.time_s[known.noisy])
    sound = away_s <= SAME_S
    unsure = (away_s < UNSURE_S) | (
        _near(time_s, known.time_s[known.quiet & ~known.noisy]) < QUIET_S
    )
    return sound, unsure & ~sound


def _row_loss(
    weights: Any, dilations: Any, _: Any, values: Any, sound: Any, unsure: Any, rows: Any
) -> Any:
    """Each row holds one sound at one delay, or none."""
    odds = jnp.where(unsure, -1e9, run_many(weights, dilations, values, rows))
    whole = jnp.logaddexp(jax.nn.logsumexp(odds, axis=2), 0.0)
    right = jax.nn.logsumexp(jnp.where(sound, odds, -1e9), axis=2)
    return jnp.sum((whole - jnp.where(sound.any(2), right, 0.0)) * rows) / rows.sum()


def _cell_loss(
    weights: Any, dilations: Any, _: Any, values: Any, sound: Any, known: Any, rows: Any
) -> Any:
    """Each cell for itself."""
    return _mean_miss(run_many(weights, dilations, values, rows), sound, known)


def _beat_loss(
    weights: Any, dilations: Any, key: Any, values: Any, sound: Any, known: Any, rows: Any
) -> Any:
    """Each beat for itself, some channels dropped."""
    return _mean_miss(run_many(weights, dilations, values, rows, key), sound, known)


def _mean_miss(odds: Any, sound: Any, known: Any) -> Any:
    miss = jax.nn.softplus(odds) - sound * odds
    return jnp.sum(miss * known) / jnp.maximum(known.sum(), 1)


def _references(kind: str, chart: dict[str, Any], rng: np.random.Generator) -> np.ndarray | None:
    """Reference time of each beat: pulses, or a clock made of sounds."""
    if kind == "pulses":
        return chart["pulse_s"]
    known, (first_s, last_s) = chart["known"], chart["span_s"]
    sounds_s = known.time_s[known.noisy]
    if rng.random() < 0.4:
        kept_s = sounds_s[rng.random(sounds_s.size) > 0.08]
        if kept_s.size < beats.LEAST_BEATS:
            return None
        time_s = beats.fill_in(kept_s, first_s, last_s).time_s
        return time_s + rng.normal(0, rng.uniform(0, 0.02), time_s.size)
    bands = Bands(level=chart["level"].astype(float), start_s=chart["start_s"])
    around = find_onsets(bands, "onsets_around")
    clock = beats.clock_from_sounds(around, first_s, last_s)
    return None if clock is None else clock.time_s


def _part_of(reference_s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """All beats, or some: where in a deflation sounds lie must not be learned."""
    if rng.random() < WHOLE:
        return reference_s
    above, below = (rng.uniform(0, MOST_CUT, 2) * reference_s.size).astype(int)
    return reference_s[above : reference_s.size - below]


def _chart(kind: str, chart: dict[str, Any], rng: np.random.Generator) -> Arrays | None:
    """One map as :func:`tapfall.ear.delaymap.delay_map` lays it out, with labels."""
    reference_s = _references(kind, chart, rng)
    if reference_s is None:
        return None
    (first_s, last_s), known = chart["span_s"], chart["known"]
    reference_s = reference_s[(reference_s >= first_s - 0.2) & (reference_s <= last_s + 0.1)]
    reference_s = _part_of(reference_s, rng)
    if reference_s.size < 10:
        return None
    # Mostly about where sounds come, sometimes as far off as a lag can put them.
    from_s = -0.14 + rng.uniform(-0.1, 0.08) if rng.random() < 0.75 else rng.uniform(-1.6, 1.6)
    if kind == "sounds":
        from_s = SOUNDS_FROM_S + rng.uniform(-0.08, 0.08)
    time_s = reference_s[:, None] + from_s + np.arange(COLUMNS[kind]) * STEP_S
    index = np.rint((time_s - chart["start_s"]) / HOP_S).astype(int)
    inside = (index >= 0) & (index < chart["level"].shape[0])
    level = chart["level"][np.clip(index, 0, chart["level"].shape[0] - 1)].astype(np.float32)
    level[~inside] = 0.0
    cuff_mmhg = np.interp(reference_s, known.time_s, known.cuff_mmhg)
    fall = -np.diff(cuff_mmhg, prepend=cuff_mmhg[:1]) / FALL_MMHG
    values = np.concatenate(
        [
            level,
            np.broadcast_to(always_there(level), level.shape),
            np.broadcast_to(fall[:, None, None], (*level.shape[:2], 1)),
            inside[:, :, None],
        ],
        axis=2,
    )
    sound, unsure = _labels(time_s, known)
    return values.astype(np.float32), sound, (unsure | ~inside) & ~sound


def _stretch(steps: int, chart: dict[str, Any], rng: np.random.Generator) -> Arrays:
    """Levels of some seconds of a deflation, with labels."""
    level = chart["level"][::2].astype(np.float32)
    time_s = chart["start_s"] + np.arange(level.shape[0]) * STEP_S
    low, high = np.searchsorted(time_s, np.array(chart["span_s"]) + np.array([-0.5, 0.3]))
    low = int(rng.integers(low, max(high - steps, low) + 1))
    part = slice(low, min(low + steps, int(high)))
    sound, unsure = _labels(time_s[part], chart["known"])
    return level[None, part], sound[None], unsure[None]


def _log_stretch(steps: int, row: dict[str, Any], rng: np.random.Generator) -> Arrays:
    """What the network of rises reads of some seconds of a log, with labels."""
    values, time_s = row["values"], row["time_s"]
    low = int(rng.integers(0, max(time_s.size - steps, 0) + 1))
    part = slice(low, low + steps)
    away_s = _near(time_s[part], row["rise_s"])
    wide_s = max(RISE_S, RISE_STEPS / row["log_rate_hz"])
    rise = np.exp(-0.5 * (away_s / wide_s) ** 2).astype(np.float32)
    return values[:, part], rise[None], np.zeros((1, rise.size), bool)


def fit_charts(kind: str, charts: Sequence[dict[str, Any]], epochs: int) -> list[dict[str, Any]]:
    """Fit one of the networks that read levels.

    Parameters
    ----------
    kind
        ``onsets``, ``onsets_around``, ``pulses`` or ``sounds``; or ``rises``.
    charts
        From :func:`tests.calibrate.gather.scanned`; or ``risen``.
    epochs
        How often each recording is seen.

    Returns
    -------
    list of dict
        Layers in order.
    """
    usable = [c for c in charts if kind != "pulses" or c["pulse_s"] is not None]
    # Maps of like size share a batch.
    usable = sorted(usable, key=lambda c: c["span_s"][1] - c["span_s"][0])
    rng = np.random.default_rng(1)
    alone = kind in ALONE
    if alone:
        look = partial(_log_stretch if kind == "rises" else _stretch, ALONE[kind])
    else:
        look = partial(_chart, kind)

    def batch(indices: np.ndarray) -> Arrays:
        made = [look(usable[i], rng) for i in indices]
        some = [one for one in made if one is not None]
        columns = ALONE[kind] if alone else COLUMNS[kind]
        most = max((one[0].shape[0] for one in some), default=1)
        tall = 1 if alone else filled(most)
        wide = some[0][0].shape[2] if some else 12
        values = np.zeros((BATCH, tall, columns, wide), np.float32)
        sound = np.zeros((BATCH, tall, columns), np.float32 if kind == "rises" else bool)
        unsure = np.ones((BATCH, tall, columns), bool)
        rows = np.zeros((BATCH, tall), np.float32)
        for k, (one, is_sound, is_unsure) in enumerate(some):
            n, m = is_sound.shape
            values[k, :n, :m], sound[k, :n, :m], unsure[k, :n, :m] = one, is_sound, is_unsure
            rows[k, :n] = 1
        return values, sound, ~unsure if alone else unsure, rows

    width = batch(np.arange(min(BATCH, len(usable))))[0].shape[3]
    begin = begin_layers(kind, width, seed=0)
    loss = _cell_loss if alone else _row_loss
    return descend(begin, loss, batch, len(usable), epochs, BATCH)


def _weights(noisy: np.ndarray, sure: np.ndarray) -> np.ndarray:
    """What each beat counts: a short silence among sounds is rare, and matters."""
    weight = sure.astype(float)
    for i in np.flatnonzero(~noisy).tolist():
        if noisy[max(0, i - BESIDE) : i].any() and noisy[i + 1 : i + 1 + BESIDE].any():
            weight[i] *= SHORT_SILENCE
    return weight


def evidence_of(rows: Sequence[dict[str, Any]], rounds: str = "rounds") -> list[Arrays]:
    """Measures, truth and weight of the beats of every round, or of the ``"closer"`` one."""
    return [
        (measures, noisy, _weights(noisy, sure))
        for row in rows
        for measures, noisy, sure in row.get(rounds, ())
    ]


def muffling_of(rows: Sequence[dict[str, Any]]) -> list[Arrays]:
    """Measures, truth and weight of the sounds of every recording."""
    return [row["muffling"] for row in rows if "muffling" in row]


def standard_of(measures: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Mean and spread of the measures of many recordings, the last being 1 at every beat."""
    every = np.concatenate(measures)
    mean, spread = every.mean(axis=0), every.std(axis=0) + 1e-3
    mean[-1], spread[-1] = 0.0, 1.0
    return mean, spread


def standardised(measures: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """What :class:`tapfall.ear.network.BeatNetwork` makes of measures."""
    return np.asarray(np.clip((measures - mean) / spread, -CLIP_SD, CLIP_SD))


def fit_beats(
    kind: str, examples: Sequence[Arrays], epochs: int, seed: int = 0
) -> tuple[list[dict[str, Any]], dict[str, np.ndarray]]:
    """Fit a network that reads each beat's measures with those of the beats around it.

    Parameters
    ----------
    kind
        ``evidence`` or ``muffling``.
    examples
        Measures, truth and weight of the beats of a recording, each.
    epochs
        How often each example is seen.
    seed
        Where it begins, and the order of the examples.

    Returns
    -------
    layers, standard
        Layers in order; mean and spread of the measures.
    """
    mean, spread = standard_of([one[0] for one in examples])
    tall = np.array([filled(one[0].shape[0]) for one in examples])
    order = by_length(tall, np.random.default_rng((2, seed)))

    def batch(indices: np.ndarray) -> Arrays:
        most = int(tall[order[indices]].max())
        values = np.zeros((indices.size, most, 1, mean.size), np.float32)
        truth = np.zeros((indices.size, most, 1))
        known, there = np.zeros_like(truth), np.zeros((indices.size, most))
        for k, i in enumerate(order[indices].tolist()):
            found, true, weight = examples[i]
            n = found.shape[0]
            values[k, :n, 0] = standardised(found, mean, spread)
            truth[k, :n, 0], known[k, :n, 0], there[k, :n] = true, weight, 1
        return values, truth, known, there

    begin = begin_layers(kind, mean.size, seed=seed)
    layers = descend(begin, _beat_loss, batch, len(examples), epochs, 32)
    return layers, {"mean": mean, "spread": spread}
