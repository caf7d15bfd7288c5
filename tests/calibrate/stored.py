"""Where fitted numbers are kept: ``ear/layers.npz`` and ``ear/calibration.json``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tapfall.ear.calibration import SHAPES

EAR = Path(__file__).resolve().parents[2] / "src" / "tapfall" / "ear"


def plain(values: Any) -> Any:
    """Arrays to nested lists of five digits."""
    if isinstance(values, dict):
        return {name: plain(value) for name, value in values.items()}
    if np.ndim(values):
        return [plain(value) for value in values]
    return float(f"{float(values):.5g}")


def write_numbers(**changes: Any) -> None:
    """Change some of the numbers; the rest of the file stays."""
    target = EAR / "calibration.json"
    numbers = json.loads(target.read_text(encoding="ascii"))
    numbers.update(plain(changes))
    lines = [f'"{name}": {json.dumps(value)}' for name, value in sorted(numbers.items())]
    target.write_text("{" + ",\n".join(lines) + "}\n", encoding="ascii")


def write_layers(kind: str, layers: Sequence[dict[str, Any]]) -> None:
    """Replace the network of one kind; the others stay."""
    target = EAR / "layers.npz"
    with np.load(target) as stored:
        arrays = {name: stored[name] for name in stored.files}
    parts = [np.ravel(layer[part]) for layer in layers for part in ("kernel", "bias")]
    arrays[kind] = np.concatenate(parts).astype(np.float32)
    arrays[kind + SHAPES] = np.array(
        [(*np.shape(layer["kernel"]), *layer["dilation"]) for layer in layers]
    )
    np.savez(target, **arrays)
