"""Scenarios that come with the package."""

from __future__ import annotations

from difflib import get_close_matches
from importlib.resources import files

from tapfall.errors import ScenarioError, printable
from tapfall.synth.scenario import Scenario
from tapfall.synth.toml import scenario_from_toml

_FOLDER = files("tapfall.synth") / "builtin"


def builtin_names() -> tuple[str, ...]:
    """Names of the built-in scenarios, sorted.

    Returns
    -------
    tuple of str
        Each a name for :func:`load_builtin`.

    Examples
    --------
    >>> "silent_gap" in builtin_names()
    True
    """
    names = (item.name for item in _FOLDER.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load_builtin(name: str) -> Scenario:
    """Load a built-in scenario.

    Parameters
    ----------
    name
        One of :func:`builtin_names`.

    Returns
    -------
    Scenario
        The scenario of that name.

    Raises
    ------
    ScenarioError
        There is none of that name; the message suggests the nearest.

    Examples
    --------
    >>> load_builtin("normal").name
    'normal'
    """
    names = builtin_names()
    if name not in names:
        near = get_close_matches(name, names, n=1)
        hint = f"did you mean '{near[0]}'?" if near else f"allowed {', '.join(names)}"
        raise ScenarioError(f"{printable(name)}: found no built-in scenario of that name; {hint}")
    return scenario_from_toml((_FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
