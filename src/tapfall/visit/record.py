"""A visit as JSON values, schema ``tapfall.visit/1``, and its JSON Schema."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tapfall import __version__
from tapfall.convert import schema_of, shape_of, shape_of_fields, shape_of_object, to_json
from tapfall.model import CAUTION, Source
from tapfall.visit.result import Visit

#: The name of the schema, the value of the field ``schema``.
VISIT_SCHEMA_NAME = "tapfall.visit/1"

#: The copy that is shipped with the package.
SHIPPED = Path(__file__).parent.parent / "schema" / "visit-1.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """A recording of the visit that could not be read, and why."""

    name: str
    reason: str


def visit_record(
    visit: Visit, *, sources: Sequence[Source] = (), lost: Sequence[Lost] = ()
) -> dict[str, Any]:
    """Return a visit as JSON values.

    Parameters
    ----------
    visit
        The visit.
    sources
        Names and hashes of the files its readings came from.
    lost
        Recordings that could not be read.

    Returns
    -------
    dict
        Keys as in the schema, see :func:`visit_schema`; pressures in mmHg, unrounded.

    Examples
    --------
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Reason, Settings
    >>> from tapfall.visit import Taken, visit
    >>> none = visit([Taken(reading=unreadable(Reason.NO_SOUNDS, Settings()))])
    >>> record = visit_record(none)
    >>> record["schema"], record["average"]
    ('tapfall.visit/1', None)
    """
    return {
        "schema": VISIT_SCHEMA_NAME,
        **to_json(visit),
        "lost": to_json(tuple(lost)),
        "sources": to_json(tuple(sources)),
        "version": __version__,
        "caution": CAUTION,
    }


def visit_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.visit/1``.

    Unknown fields are refused everywhere.

    Returns
    -------
    dict
        The schema as JSON values.

    Examples
    --------
    >>> visit_schema()["properties"]["schema"]
    {'const': 'tapfall.visit/1'}
    """
    defs: dict[str, Any] = {}
    properties = {
        "schema": {"const": VISIT_SCHEMA_NAME},
        **shape_of_fields(Visit, defs),
        "lost": shape_of(tuple[Lost, ...], "lost", defs),
        "sources": shape_of(tuple[Source, ...], "sources", defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    return schema_of(VISIT_SCHEMA_NAME, shape_of_object(properties), defs)
