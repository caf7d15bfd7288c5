"""Fields of a scenario: each with a unit, a range, a default and a sentence."""

from __future__ import annotations

import math
from dataclasses import MISSING, Field, field, fields
from typing import Any

from tapfall.errors import ScenarioError


def quantity(
    default: float, low: float, high: float, unit: str, text: str, *, whole: bool = False
) -> Any:
    """Declare a number: default, smallest and largest allowed value, unit, meaning.

    Returns
    -------
    dataclasses.Field
        A field whose metadata :func:`check_fields` and :func:`field_table` read.
    """
    meta = {"low": low, "high": high, "unit": unit, "text": text, "whole": whole}
    return field(default=default, metadata=meta)


def choice(default: str, allowed: tuple[str, ...], text: str) -> Any:
    """Declare one of several words."""
    return field(default=default, metadata={"allowed": allowed, "text": text})


def switch(default: bool, text: str) -> Any:
    """Declare a yes or no."""
    return field(default=default, metadata={"switch": True, "text": text})


def words(default: str, text: str) -> Any:
    """Declare free text."""
    return field(default=default, metadata={"words": True, "text": text})


def numbers(low: float, high: float, unit: str, text: str) -> Any:
    """Declare a tuple of numbers, empty by default, each within a range."""
    return field(
        default=(), metadata={"each": True, "low": low, "high": high, "unit": unit, "text": text}
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _fault(item: Field[Any], value: object, where: str) -> str | None:
    meta = item.metadata
    place = f"{where}.{item.name}"
    if "allowed" in meta and value not in meta["allowed"]:
        return f"{place}: found {value!r}; allowed {', '.join(meta['allowed'])}"
    if "switch" in meta and not isinstance(value, bool):
        return f"{place}: found {value!r}; allowed true or false"
    if "words" in meta and not isinstance(value, str):
        return f"{place}: found {value!r}; allowed text"
    if "low" not in meta:
        return None
    low, high, unit = meta["low"], meta["high"], meta["unit"]
    kind = "whole numbers" if meta.get("whole") else "numbers"
    several: object = value if "each" in meta else (value,)
    if not isinstance(several, tuple):
        return f"{place}: found {value!r}; allowed a tuple of {kind}"
    for one in several:
        if not _is_number(one) or not low <= one <= high or (meta.get("whole") and one % 1):
            return (
                f"{place}: found {one!r}; allowed {kind} from {low:g} to {high:g} {unit}".rstrip()
            )
    return None


def check_fields(thing: Any, where: str) -> None:
    """Hold every declared field of a dataclass to its range.

    Parameters
    ----------
    thing
        A dataclass instance whose fields were declared with this module.
    where
        The name that error messages put before the field's own.

    Raises
    ------
    ScenarioError
        Names what was found, where, and what is allowed.
    """
    for item in fields(thing):
        fault = _fault(item, getattr(thing, item.name), where)
        if fault is not None:
            raise ScenarioError(fault)


def field_table(cls: type) -> list[tuple[str, str, str, str, str]]:
    """List the declared fields of a dataclass.

    Returns
    -------
    list of tuple
        Name, default, allowed values, unit and meaning of each field.

    Examples
    --------
    >>> from tapfall.synth import Person
    >>> field_table(Person)[0][:4]
    ('systolic_mmhg', '120.0', '60 to 260', 'mmHg')
    """
    rows = []
    for item in fields(cls):
        meta = item.metadata
        if "text" not in meta:
            continue
        if "allowed" in meta:
            allowed = ", ".join(meta["allowed"])
        elif "low" in meta:
            allowed = f"{meta['low']:g} to {meta['high']:g}"
        else:
            allowed = "true or false" if "switch" in meta else "text"
        default = "" if item.default is MISSING else str(item.default)
        rows.append((item.name, default, allowed, meta.get("unit", ""), meta["text"]))
    return rows
