"""The reference is the docstrings: every public function tells what goes in and comes out."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import tapfall

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def packages() -> dict[str, list[str]]:
    """What each public package hands on, by the package's name."""
    names = ["tapfall"] + [
        found.name
        for found in pkgutil.walk_packages(tapfall.__path__, "tapfall.")
        if found.ispkg and found.name != "tapfall.cli"
    ]
    modules = {name: importlib.import_module(name) for name in names}
    return {name: list(getattr(module, "__all__", ())) for name, module in modules.items()}


PACKAGES = packages()
FUNCTIONS = sorted(
    f"{package}.{name}"
    for package, names in PACKAGES.items()
    for name in names
    if inspect.isfunction(getattr(importlib.import_module(package), name))
)


def missing(function: Callable[..., Any]) -> Iterator[str]:
    """Sections that a function's docstring lacks and needs."""
    signature, doc = inspect.signature(function), inspect.getdoc(function) or ""
    wanted = {
        "Parameters": bool(signature.parameters),
        "Returns|Yields": signature.return_annotation not in (None, "None"),
        "Raises": bool(re.search(r"^\s+raise ", inspect.getsource(function), re.MULTILINE)),
        "Examples": True,
    }
    for section, needed in wanted.items():
        if needed and not re.search(rf"^({section})\n-+$", doc, re.MULTILINE):
            yield section
    if ">>> " not in doc:
        yield "an example that runs"
    described = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-+$|\Z)", doc, re.DOTALL | re.MULTILINE)
    heads = re.findall(r"^(\*{0,2}\w[\w, *]*)$", described[1], re.MULTILINE) if described else []
    told = {name.strip("* ") for head in heads for name in head.split(",")}
    for name in signature.parameters:
        if name not in told:
            yield f"parameter {name}"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_public_function_is_described(name: str) -> None:
    package, _, own = name.rpartition(".")
    assert list(missing(getattr(importlib.import_module(package), own))) == []


@pytest.mark.parametrize("package", PACKAGES)
def test_every_public_class_says_what_it_is(package: str) -> None:
    for name in PACKAGES[package]:
        thing = getattr(importlib.import_module(package), name)
        if inspect.isclass(thing):
            # The docstring that a dataclass gets by itself begins with its own name.
            assert thing.__doc__, name
            assert not thing.__doc__.startswith(f"{name}("), name


def test_what_is_missing_is_told() -> None:
    def bare(one: int, two: int) -> int:
        """Do something.

        Parameters
        ----------
        one
            A number.
        """
        if two:
            raise ValueError
        return one

    assert list(missing(bare)) == [
        "Returns|Yields",
        "Raises",
        "Examples",
        "an example that runs",
        "parameter two",
    ]


def test_the_readme_lists_every_public_name() -> None:
    section = README.partition("### The reference\n")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| `([\w.]+)` \| (.*?) \|$", section, re.MULTILINE)
    listed = {package: re.findall(r"`(\w+)`", names) for package, names in rows}
    public = {package: sorted(names, key=str.lower) for package, names in PACKAGES.items() if names}
    assert listed == public
