"""Dataclasses to and from JSON values, and their JSON Schema, by their type hints alone.

A key in JSON is the field's name with ``mmhg`` spelt ``mmHg``.  Every field is
written and every field is wanted back; an unknown one is refused.
"""

from __future__ import annotations

import functools
import math
import operator
import types
from dataclasses import fields, is_dataclass
from enum import StrEnum
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from tapfall.errors import ReadingError, shown

T = TypeVar("T")

#: Lowest and highest value of fields that are shares or probabilities.
BOUNDS = dict.fromkeys(("confidence", "heard", "probability", "clipped_share"), (0.0, 1.0))


def key_of(name: str) -> str:
    """Return the JSON key of a field.

    Examples
    --------
    >>> key_of("low_mmhg"), key_of("time_s")
    ('low_mmHg', 'time_s')
    """
    return name.replace("mmhg", "mmHg")


def to_json(value: Any) -> Any:
    """Turn a judgement (dataclasses, enums, tuples, numbers) into JSON values.

    Parameters
    ----------
    value
        A dataclass of :mod:`tapfall.model` or its kin, or what one holds.

    Returns
    -------
    dict, list, str, float, int, bool or None
        Fields by their names in JSON: ``mmhg`` is spelt ``mmHg``.

    Raises
    ------
    TypeError
        A value that no judgement holds, such as an array.

    Examples
    --------
    >>> from tapfall.model import Beat, Phase
    >>> to_json(Beat(time_s=1.5, cuff_mmhg=120.0, heard=0.9, phase=Phase.K1))
    {'time_s': 1.5, 'cuff_mmHg': 120.0, 'heard': 0.9, 'phase': 'K1'}
    """
    if value is None or type(value) in (float, int, bool):
        return value
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value)
    if isinstance(value, tuple | list):
        return [to_json(item) for item in value]
    if isinstance(value, dict):
        return {key: to_json(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {key_of(f.name): to_json(getattr(value, f.name)) for f in fields(value)}
    raise TypeError(f"{type(value).__name__} has no form in JSON")


@functools.cache
def hints_of(cls: Any) -> dict[str, Any]:
    """Return the type of each field of a dataclass, by name, in order."""
    hints = get_type_hints(cls)
    return {f.name: hints[f.name] for f in fields(cls)}


def without_none(hint: Any) -> tuple[Any, bool]:
    """Split ``X | None`` into ``X`` and whether None is allowed.

    Examples
    --------
    >>> without_none(float | None), without_none(int | str)[1]
    ((<class 'float'>, True), False)
    """
    if get_origin(hint) in (types.UnionType, Union):
        parts = get_args(hint)
        rest = tuple(part for part in parts if part is not types.NoneType)
        return functools.reduce(operator.or_, rest), len(rest) < len(parts)
    return hint, False


def from_json(cls: type[T], value: Any, where: str) -> T:
    """Build a dataclass from JSON values.

    Parameters
    ----------
    cls
        The dataclass.
    value
        What :func:`json.loads` returned.
    where
        The place in the file, for messages.

    Returns
    -------
    cls
        What it holds is of the types that its fields have.

    Raises
    ------
    ReadingError
        A field is missing, unknown, of another type or outside its bounds.
    """
    if not isinstance(value, dict):
        raise ReadingError(f"{where}: found {kind(value)}; allowed an object")
    hints = hints_of(cast("Any", cls))
    check_keys(value, [key_of(name) for name in hints], where)
    return cls(
        **{
            name: _item(hint, value[key_of(name)], f"{where}: {key_of(name)}", name)
            for name, hint in hints.items()
        }
    )


def check_keys(value: dict[str, Any], wanted: list[str], where: str) -> None:
    """Check that the keys of an object are exactly those wanted.

    Raises
    ------
    ReadingError
        One is missing, or unknown.
    """
    for key in wanted:
        if key not in value:
            raise ReadingError(f"{where}: found no '{key}'; allowed an object that has it")
    for key in value:
        if key not in wanted:
            raise ReadingError(
                f"{where}: found the unknown field {shown(key)}; allowed {', '.join(wanted)}"
            )


def kind(value: Any) -> str:
    """Name a JSON value for a message, short and escaped."""
    if isinstance(value, str):
        return shown(value)
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, int | float):
        return f"{float(value):g}" if abs(value) < 1e300 else "a number beyond 1e300"
    return "a list" if isinstance(value, list) else "an object"


def _item(hint: Any, value: Any, where: str, name: str) -> Any:
    inner, optional = without_none(hint)
    if value is None and optional:
        return None
    or_null = " or null" if optional else ""
    if get_origin(inner) is tuple:
        if not isinstance(value, list):
            raise ReadingError(f"{where}: found {kind(value)}; allowed a list{or_null}")
        part = get_args(inner)[0]
        return tuple(
            _item(part, item, f"{where}[{index}]", name) for index, item in enumerate(value)
        )
    if is_dataclass(inner) and isinstance(inner, type):
        return from_json(cast("type[Any]", inner), value, where)
    if issubclass(inner, StrEnum):
        if not isinstance(value, str) or value not in set(inner):
            raise ReadingError(f"{where}: found {kind(value)}; allowed {', '.join(inner)}{or_null}")
        return inner(value)
    if inner is float:
        return _number(value, where, name, or_null)
    if not isinstance(value, inner) or (inner is int and isinstance(value, bool)):
        noun = {str: "a text", bool: "true or false", int: "a whole number"}[inner]
        raise ReadingError(f"{where}: found {kind(value)}; allowed {noun}{or_null}")
    return value


def _number(value: Any, where: str, name: str, or_null: str) -> float:
    low, high = BOUNDS.get(name, (-math.inf, math.inf))
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if number and abs(value) < 1e300 and low <= value <= high:
        return float(value)
    allowed = f"a number from {low:g} to {high:g}" if name in BOUNDS else "a finite number"
    raise ReadingError(f"{where}: found {kind(value)}; allowed {allowed}{or_null}")


def shape_of_fields(cls: Any, defs: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON Schema of each field of a dataclass, by key; classes go to ``defs``."""
    return {key_of(n): shape_of(hint, n, defs) for n, hint in hints_of(cls).items()}


def shape_of_object(properties: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON Schema of an object that has these fields and no others."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def schema_of(name: str, whole: dict[str, Any], defs: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a form: its shape, named.

    Parameters
    ----------
    name
        The form's name, such as ``tapfall.reading/1``.
    whole, defs
        Its shape, and the shapes that it refers to.

    Returns
    -------
    dict
        The schema as JSON values.

    Examples
    --------
    >>> schema_of("tapfall.visit/1", shape_of_object({}), {})["$id"]
    'urn:tapfall:visit:1'
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:{name.replace('.', ':').replace('/', ':')}",
        "title": name,
        **whole,
        "$defs": dict(sorted(defs.items())),
    }


def shape_of(hint: Any, name: str, defs: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON Schema of a value of a type; ``name`` is that of its field."""
    inner, optional = without_none(hint)
    if optional:
        return {"anyOf": [shape_of(inner, name, defs), {"type": "null"}]}
    if get_origin(inner) in (types.UnionType, Union):
        return {"anyOf": [shape_of(part, name, defs) for part in get_args(inner)]}
    if get_origin(inner) is tuple:
        parts = [part for part in get_args(inner) if part is not Ellipsis]
        shapes = [shape_of(part, name, defs) for part in parts]
        if any(part != parts[0] for part in parts):
            count = len(parts)
            return {"type": "array", "prefixItems": shapes, "minItems": count, "maxItems": count}
        return {"type": "array", "items": shapes[0]}
    if is_dataclass(inner) and isinstance(inner, type):
        if inner.__name__ not in defs:
            defs[inner.__name__] = {}
            defs[inner.__name__] = {
                "description": (inner.__doc__ or "").partition("\n")[0],
                **shape_of_object(shape_of_fields(inner, defs)),
            }
        return {"$ref": f"#/$defs/{inner.__name__}"}
    if issubclass(inner, StrEnum):
        defs[inner.__name__] = {
            "description": (inner.__doc__ or "").partition("\n")[0],
            "enum": [str(member) for member in inner],
        }
        return {"$ref": f"#/$defs/{inner.__name__}"}
    if inner is float:
        low_high = dict(zip(("minimum", "maximum"), BOUNDS.get(name, ()), strict=False))
        return {"type": "number", **low_high}
    return {"type": {str: "string", bool: "boolean", int: "integer"}[inner]}
