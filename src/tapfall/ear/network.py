"""Small networks, fitted elsewhere, run with numpy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray, Singles

#: Standardised measures are clipped here: no extreme decides alone.
CLIP_SD = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """A network from measures to log odds, or another number: one hidden layer of tanh units.

    ``mean`` and ``spread`` have shape ``(m,)``, ``hidden`` ``(m, h)``, ``bias``
    and ``out`` ``(h,)``.
    """

    mean: FloatArray
    spread: FloatArray
    hidden: FloatArray
    bias: FloatArray
    out: FloatArray
    offset: float

    def value(self, measures: FloatArray) -> FloatArray:
        """What the network was fitted to, such as log odds; ``(n, m)`` to ``(n,)``."""
        z = np.clip((measures - self.mean) / self.spread, -CLIP_SD, CLIP_SD)
        return np.asarray(np.tanh(z @ self.hidden + self.bias) @ self.out + self.offset)

    def chance(self, measures: FloatArray) -> float:
        """Probability for the measures of one case, shape ``(m,)``."""
        return float(1 / (1 + np.exp(-self.value(measures[None, :])[0])))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One layer of a convolutional network.

    ``kernel`` has shape ``(rows, columns, c, d)``, both sizes odd, ``bias``
    ``(d,)``; ``dilation`` is the step between its taps along rows and columns.
    """

    kernel: Singles
    bias: Singles
    dilation: tuple[int, int]


def convolve(values: Singles, layer: Layer) -> Singles:
    """One layer, zero beyond the edges; ``(n, k, c)`` to ``(n, k, d)``, float32."""
    rows, columns, _, out = layer.kernel.shape
    step_r, step_c = layer.dilation
    pad_r, pad_c = step_r * (rows // 2), step_c * (columns // 2)
    n, k, c = values.shape
    padded = np.zeros((n + 2 * pad_r, k + 2 * pad_c, c), np.float32)
    padded[pad_r : pad_r + n, pad_c : pad_c + k] = values
    total = np.empty((n, k, out), np.float32)
    total[:] = layer.bias
    for i in range(rows):
        band = padded[i * step_r : i * step_r + n]
        for j in range(columns):
            total += band[:, j * step_c : j * step_c + k] @ layer.kernel[i, j]
    return total


def run_layers(values: Singles, layers: Sequence[Layer]) -> Singles:
    """Values through all layers, rectified between them.

    Parameters
    ----------
    values
        Shape ``(n, k, c)``, float32.
    layers
        The network; its last layer has one output.

    Returns
    -------
    ndarray
        Shape ``(n, k)``.

    Examples
    --------
    >>> mean = Layer(
    ...     kernel=np.full((1, 3, 1, 1), 1 / 3, np.float32),
    ...     bias=np.zeros(1, np.float32),
    ...     dilation=(1, 1),
    ... )
    >>> run_layers(np.array([[[3.0], [0.0], [3.0]]], np.float32), [mean]).tolist()
    [[1.0, 2.0, 1.0]]
    """
    for layer in layers[:-1]:
        values = np.maximum(convolve(values, layer), 0.0)
    return convolve(values, layers[-1])[:, :, 0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeatNetwork:
    """Networks that read each beat's measures with those of the beats around it.

    ``mean`` and ``spread`` have shape ``(m,)``; ``members`` are networks that were fitted
    alike from other beginnings: what they make up by chance they make up apart.
    """

    mean: FloatArray
    spread: FloatArray
    members: tuple[tuple[Layer, ...], ...]

    def log_odds(self, measures: FloatArray) -> FloatArray:
        """Mean log odds of the members for each row; ``(n, m)`` to ``(n,)``."""
        z = np.clip((measures - self.mean) / self.spread, -CLIP_SD, CLIP_SD)
        values = z[:, None, :].astype(np.float32)
        found = [run_layers(values, one)[:, 0] for one in self.members]
        return np.asarray(np.mean(found, axis=0, dtype=float))
