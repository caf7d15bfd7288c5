"""Fit, with JAX, the networks that choose one beat of a recording."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np

from tests.calibrate.ends import Choice
from tests.calibrate.layers import (
    Arrays,
    begin_layers,
    by_length,
    descend,
    filled,
    run_many,
    standard_of,
    standardised,
)

#: How much the right beat itself counts; the rest is for any within 4 mmHg.
EXACT = 0.3
#: Log of the share of what no story names, and the worst that one recording can cost, nats.
NEVER, MOST_NATS = -90.0, 12.0
SIZE = 32


def _chosen_loss(
    weights: Any,
    dilations: Any,
    key: Any,
    values: Any,
    share: Any,
    near: Any,
    same: Any,
    there: Any,
) -> Any:
    """Minus the log of the chance that a right beat is chosen."""
    odds = run_many(weights, dilations, values, there, key)[:, :, 0] + share
    chance = jax.nn.log_softmax(jnp.where(share > NEVER, odds, NEVER), axis=1)

    def of(right: Any) -> Any:
        told = jax.nn.logsumexp(jnp.where(right > 0, chance, NEVER), axis=1)
        return jnp.maximum(told, -MOST_NATS)

    return -jnp.mean((1 - EXACT) * of(near) + EXACT * of(same))


def fit_choices(
    choices: Sequence[Choice], epochs: int, seed: int
) -> tuple[list[dict[str, Any]], dict[str, np.ndarray]]:
    """Fit a network that tells how much likelier a beat is than its share of the stories.

    Parameters
    ----------
    choices
        Of many recordings.
    epochs
        How often each is seen.
    seed
        Where it begins, and their order.

    Returns
    -------
    layers, standard
        Layers in order; mean and spread of the measures.
    """
    mean, spread = standard_of([one.measures for one in choices])
    tall = np.array([filled(one.share.size) for one in choices])
    order = by_length(tall, np.random.default_rng((3, seed)))

    def batch(indices: np.ndarray) -> Arrays:
        most = int(tall[order[indices]].max())
        values = np.zeros((indices.size, most, 1, mean.size), np.float32)
        share = np.full((indices.size, most), NEVER, np.float32)
        near, same, there = (np.zeros((indices.size, most), np.float32) for _ in range(3))
        for k, i in enumerate(order[indices].tolist()):
            one = choices[i]
            n = one.share.size
            values[k, :n, 0] = standardised(one.measures, mean, spread)
            named = one.share > 0
            share[k, :n] = np.where(named, np.log(np.where(named, one.share, 1.0)), NEVER)
            near[k, :n], same[k, :n], there[k, :n] = one.near, one.same, 1
        return values, share, near, same, there

    begin = begin_layers("ends", mean.size, seed=seed)
    # At first a beat is as likely as the stories say.
    begin[-1] = {**begin[-1], "kernel": 0.1 * begin[-1]["kernel"], "bias": np.zeros(1)}
    layers = descend(begin, _chosen_loss, batch, len(choices), epochs, SIZE)
    return layers, {"mean": mean, "spread": spread}
