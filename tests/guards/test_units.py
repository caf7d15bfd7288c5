"""Numbers carry their unit in their name."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import tapfall

PACKAGE = Path(tapfall.__file__).parent

UNIT = re.compile(r"(^|_)(s|hz|mmhg|cm|db|dbfs|ppm|rad|share|per_min|per_s|per_beat|per_unit)$")

#: Fields without a unit, in the modules whose names everybody meets.
BARE = {
    "model.py": {
        # samples of full scale 1.0
        "samples",
        # probabilities
        "confidence",
        "heard",
        # the unit is the name
        "seconds",
    },
    "standards.py": {"value"},  # the unit stands beside it
    "synth/scenario.py": {
        "ectopic_coupling",
        "filling_gain",
        "upstroke_shape",
        "deflation_curve",
        "spread",
        "heart_length",
        "bits",
    },
    "synth/truth.py": set(),
}

#: Quantities that never go without a unit, in any module.
NEVER_BARE = re.compile(
    r"(^|_)(time|times|duration|delay|period|interval|intervals|frequency|rate|pressure|pressures"
    r"|systolic|diastolic|lag|drift|slope)$"
)


def number_fields(path: Path) -> Iterator[str]:
    """Fields of dataclasses in a module that hold floats or arrays of numbers."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ClassDef) or not any(
            "dataclass" in ast.unparse(mark) for mark in node.decorator_list
        ):
            continue
        for item in node.body:
            if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
                kind = ast.unparse(item.annotation)
                if re.search(r"\bfloat\b|FloatArray|NDArray", kind) and "bool" not in kind:
                    yield item.target.id


@pytest.mark.parametrize("name", BARE)
def test_public_numbers_name_their_unit(name: str) -> None:
    found = list(number_fields(PACKAGE / name))
    assert found
    bare = {field for field in found if not UNIT.search(field)}
    assert bare == BARE[name]


@pytest.mark.parametrize(
    "path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE))
)
def test_no_quantity_goes_without_unit(path: Path) -> None:
    assert [field for field in number_fields(path) if NEVER_BARE.search(field)] == []


def test_the_patterns_tell_names_apart() -> None:
    for name in ("time_s", "mmhg", "deflation_mmhg_per_s", "peak_dbfs", "drift_ppm"):
        assert UNIT.search(name)
        assert not NEVER_BARE.search(name)
    for name in ("time", "cuff_pressure", "lag", "log_rate"):
        assert not UNIT.search(name)
        assert NEVER_BARE.search(name)
