"""Numbers fitted on simulated recordings; the rest of the ear holds none of these.

They stand in ``calibration.json``, made by ``python -m tests.calibrate`` and
not to be edited by hand: the weights of the evidence (development seeds) and
the map from posterior to confidence (calibration seeds).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tapfall.model import FloatArray

#: Standardised measures are clipped here: no extreme decides alone.
CLIP_SD = 4.0
#: From this confidence on an interval needs no widening.
SURE = 0.98


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """A small network from measures to log odds: one hidden layer of tanh units.

    ``mean`` and ``spread`` have shape ``(m,)``, ``hidden`` ``(m, h)``, ``bias``
    and ``out`` ``(h,)``.
    """

    mean: FloatArray
    spread: FloatArray
    hidden: FloatArray
    bias: FloatArray
    out: FloatArray
    offset: float

    def log_odds(self, measures: FloatArray) -> FloatArray:
        """Log odds of a sound at even prior odds; ``(n, m)`` to ``(n,)``."""
        z = np.clip((measures - self.mean) / self.spread, -CLIP_SD, CLIP_SD)
        return np.asarray(np.tanh(z @ self.hidden + self.bias) @ self.out + self.offset)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """All fitted numbers.

    Weights of the evidence for each round, of the presence of sounds and of the
    confidence in each threshold; ``widening_mmhg`` is how much wider an interval
    grows on each side as confidence falls from ``SURE`` to zero.
    """

    weights: tuple[Weights, ...]
    presence: Weights
    confidence: dict[str, Weights]
    widening_mmhg: dict[str, float]


def read_calibration(path: Path) -> Calibration:
    """Read the fitted numbers of a file.

    Parameters
    ----------
    path
        JSON as written by ``tests.calibrate``.

    Returns
    -------
    Calibration
        Arrays ready for use.

    Examples
    --------
    >>> len(CALIBRATION.weights)
    2
    """
    raw = json.loads(path.read_text(encoding="ascii"))

    def weights(one: dict[str, Any]) -> Weights:
        arrays = {name: np.asarray(values) for name, values in one.items() if name != "offset"}
        return Weights(**arrays, offset=float(one["offset"]))

    return Calibration(
        weights=tuple(weights(one) for one in raw["weights"]),
        presence=weights(raw["presence"]),
        confidence={kind: weights(one) for kind, one in raw["confidence"].items()},
        widening_mmhg={kind: float(value) for kind, value in raw["widening_mmhg"].items()},
    )


CALIBRATION = read_calibration(Path(__file__).with_name("calibration.json"))
