"""The JSON Schema of a reading, made from the model.

:func:`ship_schema` writes it to ``tapfall/schema/reading-1.json``, the copy
that is shipped.
"""

from __future__ import annotations

from dataclasses import is_dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, get_args, get_origin

from tapfall.files.convert import BOUNDS, hints_of, key_of, without_none
from tapfall.files.record import SCHEMA_NAME
from tapfall.files.writing import write_json
from tapfall.model import Reading, Settings, Source

#: The copy that is shipped with the package.
SHIPPED = Path(__file__).parent.parent / "schema" / "reading-1.json"


def reading_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.reading/1``.

    Unknown fields are refused everywhere; flags, reasons, states, phases,
    rhythms and rules are enumerated.

    Examples
    --------
    >>> reading_schema()["properties"]["schema"]
    {'const': 'tapfall.reading/1'}
    """
    defs: dict[str, Any] = {}
    properties = {
        "schema": {"const": SCHEMA_NAME},
        **{key_of(n): _shape(hint, n, defs) for n, hint in hints_of(Reading).items()},
        "source": _shape(Source | None, "source", defs),
        "settings": _shape(Settings, "settings", defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:tapfall:reading:1",
        "title": SCHEMA_NAME,
        **_object(properties),
        "$defs": dict(sorted(defs.items())),
    }


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _shape(hint: Any, name: str, defs: dict[str, Any]) -> dict[str, Any]:
    inner, optional = without_none(hint)
    if optional:
        return {"anyOf": [_shape(inner, name, defs), {"type": "null"}]}
    if get_origin(inner) is tuple:
        return {"type": "array", "items": _shape(get_args(inner)[0], name, defs)}
    if is_dataclass(inner) and isinstance(inner, type):
        if inner.__name__ not in defs:
            defs[inner.__name__] = {}
            defs[inner.__name__] = {
                "description": (inner.__doc__ or "").partition("\n")[0],
                **_object({key_of(n): _shape(h, n, defs) for n, h in hints_of(inner).items()}),
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
    return {"type": {str: "string", bool: "boolean"}[inner]}


def ship_schema() -> None:
    """Write the schema to its place in the package, after a change of the model."""
    SHIPPED.parent.mkdir(exist_ok=True)
    write_json(SHIPPED, reading_schema())
