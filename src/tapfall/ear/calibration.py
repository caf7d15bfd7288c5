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

from tapfall.ear.network import BeatNetwork, Layer, Weights
from tapfall.model import Singles

#: A network's shapes stand under its name with this behind it.
SHAPES = "_shapes"
#: From this confidence on an interval needs no widening.
SURE = 0.98


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """All fitted numbers.

    Networks of the evidence, also of a start and of a closer listening, of muffling, of the beats
    that sounds begin and end at, of the presence of sounds where the log's pulses make the clock
    and where the sounds do, of a gap above the top, of the confidence in each threshold, of the
    promise that a systolic read early holds, and a diastolic read late, on either clock, and of how
    late the pulses of a damped log come;
    ``widening_mmhg`` is how much wider an interval grows on each side as confidence falls from
    ``SURE`` to zero, where the log's pulses make the clock and where the sounds do; ``layers`` are
    the networks of layers by kind.
    """

    damping: Weights
    evidence: BeatNetwork
    starting: BeatNetwork
    closer: BeatNetwork
    muffling: BeatNetwork
    first_sound: BeatNetwork
    last_sound: BeatNetwork
    presence: Weights
    presence_by_sounds: Weights
    above: Weights
    confidence: dict[str, Weights]
    early: Weights
    early_by_sounds: Weights
    late: Weights
    late_by_sounds: Weights
    widening_mmhg: dict[str, float]
    layers: dict[str, tuple[Layer, ...]]


def read_layers(path: Path) -> dict[str, tuple[Layer, ...]]:
    """Read the networks of a file: kind of reference to layers.

    A network is one row of numbers, each layer's kernel before its bias, beside the shapes of
    the kernels and their dilations: few arrays are read five times as fast as many.
    """
    with np.load(path) as raw:
        kinds = [name for name in raw.files if not name.endswith(SHAPES)]
        return {kind: _unpacked(raw[kind], raw[kind + SHAPES]) for kind in sorted(kinds)}


def _unpacked(values: Singles, shapes: np.ndarray) -> tuple[Layer, ...]:
    """The layers of one network; ``shapes`` is ``(layers, 6)``."""
    layers, at = [], 0
    for rows, columns, width_in, width_out, step_rows, step_columns in shapes.tolist():
        bias_at = at + rows * columns * width_in * width_out
        kernel = values[at:bias_at].reshape(rows, columns, width_in, width_out)
        at = bias_at + width_out
        dilation = (step_rows, step_columns)
        layers.append(Layer(kernel=kernel, bias=values[bias_at:at], dilation=dilation))
    return tuple(layers)


def read_calibration(path: Path, layers: Path) -> Calibration:
    """Read the fitted numbers of a file.

    Parameters
    ----------
    path
        JSON as written by ``tests.calibrate``.
    layers
        Networks of layers, likewise.

    Returns
    -------
    Calibration
        Arrays ready for use.

    Examples
    --------
    >>> len(CALIBRATION.evidence.members), len(CALIBRATION.muffling.members)
    (3, 1)
    """
    raw = json.loads(path.read_text(encoding="ascii"))
    networks = read_layers(layers)

    def weights(one: dict[str, Any]) -> Weights:
        arrays = {name: np.asarray(values) for name, values in one.items() if name != "offset"}
        return Weights(**arrays, offset=float(one["offset"]))

    def beats(kind: str) -> BeatNetwork:
        standard = {name: np.asarray(raw[kind][name]) for name in ("mean", "spread")}
        named = [name for name in sorted(networks) if name.partition("-")[0] == kind]
        return BeatNetwork(**standard, members=tuple(networks[name] for name in named))

    return Calibration(
        damping=weights(raw["damping"]),
        evidence=beats("evidence"),
        starting=beats("starting"),
        closer=beats("closer"),
        muffling=beats("muffling"),
        first_sound=beats("first_sound"),
        last_sound=beats("last_sound"),
        presence=weights(raw["presence"]),
        presence_by_sounds=weights(raw["presence_by_sounds"]),
        above=weights(raw["above"]),
        confidence={kind: weights(one) for kind, one in raw["confidence"].items()},
        early=weights(raw["early"]),
        early_by_sounds=weights(raw["early_by_sounds"]),
        late=weights(raw["late"]),
        late_by_sounds=weights(raw["late_by_sounds"]),
        widening_mmhg={kind: float(value) for kind, value in raw["widening_mmhg"].items()},
        layers=networks,
    )


CALIBRATION = read_calibration(
    Path(__file__).with_name("calibration.json"), Path(__file__).with_name("layers.npz")
)
