"""Every module imports only from the layers above its own, and stays small."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import tapfall

PACKAGE = Path(tapfall.__file__).parent

#: Each layer may import from those before it, never sideways or down.
LAYERS = (
    "bounds",
    "errors",
    "wording",
    "standards",
    "vocabulary",
    "model",
    "events",
    "convert",
    "ear",
    "device",
    "technique",
    "visit",
    "files",
    "synth",
    "study",
    "show",
    "lesson",
    "summary",
    "cli",
    "__main__",
)

#: Layers that may import from fewer layers than the order would let them.
NARROWER = {
    "errors": set(),
    "wording": set(),
    "standards": set(),
    "vocabulary": set(),
    "model": {"vocabulary"},
    "convert": {"errors"},
    "ear": {"bounds", "errors", "standards", "model", "events", "convert"},
    "files": {"bounds", "errors", "wording", "standards", "model", "events", "convert"},
    # The simulator judges the ear: it shares no code and no constants with it.
    "synth": {"errors", "standards", "model", "convert", "files"},
}

#: What a layer may import from outside; None for anything the project depends on.
OUTSIDE = {
    "bounds": {"numpy"},
    "errors": set(),
    "wording": set(),
    "standards": set(),
    "vocabulary": set(),
    "model": {"numpy"},
    "events": set(),
    "convert": set(),
    "ear": {"numpy", "scipy"},
    "device": {"numpy", "scipy"},
    "technique": {"numpy", "scipy"},
    "visit": {"numpy", "scipy"},
    # wfdb and edfio are the extra "lab", imported where such a file is opened.
    "files": {"numpy", "soundfile", "wfdb", "edfio"},
    # distributed is the extra "cluster", imported where a cluster is connected to.
    "study": {"numpy", "scipy", "distributed"},
    "summary": set(),
    "cli": set(),
}
DEPENDENCIES = {"numpy", "scipy", "soundfile", "librosa", "matplotlib", "jinja2"}

LONGEST_MODULE = 400

MODULES = sorted(PACKAGE.rglob("*.py"))


def dotted(path: Path) -> list[str]:
    """The module's name in parts, without the package's."""
    parts = list(path.relative_to(PACKAGE).with_suffix("").parts)
    return parts[:-1] if parts[-1] == "__init__" else parts


def imported(path: Path) -> Iterator[str]:
    """Every module imported anywhere in a file, also inside functions."""
    package = ["tapfall", *path.relative_to(PACKAGE).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            home = ".".join([*base, *([node.module] if node.module else [])])
            if home == "tapfall":
                yield from (f"tapfall.{alias.name}" for alias in node.names)
            else:
                yield home


def layer_faults(own: str, names: list[str]) -> list[str]:
    """What a module of a layer imports and must not."""
    faults = []
    allowed = NARROWER.get(own, set(LAYERS[: LAYERS.index(own)]))
    outside = OUTSIDE.get(own, DEPENDENCIES)
    for name in names:
        top, *rest = name.split(".")
        if top == "tapfall":
            inner = rest[0] if rest else ""
            if inner not in {own, "__version__"} and inner not in allowed:
                faults.append(name)
        elif top not in sys.stdlib_module_names and top not in outside:
            faults.append(name)
    return faults


@pytest.mark.parametrize(
    "path",
    [path for path in MODULES if dotted(path)],
    ids=lambda path: "/".join(dotted(path)),
)
def test_imports_point_upwards(path: Path) -> None:
    own = dotted(path)[0]
    assert own in LAYERS, f"{path.name} has no layer: give it a place in the table"
    assert layer_faults(own, list(imported(path))) == []


@pytest.mark.parametrize(
    ("own", "name"),
    [
        ("model", "tapfall.ear"),
        ("ear", "tapfall.files.audio"),
        ("ear", "soundfile"),
        ("synth", "tapfall.ear.frontend"),
        ("files", "tapfall.ear"),
        ("files", "matplotlib.pyplot"),
        ("show", "tapfall.cli"),
        ("cli", "numpy"),
        ("show", "pandas"),
    ],
)
def test_the_table_refuses(own: str, name: str) -> None:
    assert layer_faults(own, [name]) == [name]


def test_imports_are_found_wherever_they_stand() -> None:
    found = set(imported(PACKAGE / "cli" / "read.py"))
    assert {"argparse", "tapfall.cli.output", "tapfall.files", "tapfall.model"} <= found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: "/".join(dotted(path)) or "tapfall")
def test_modules_stay_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE
