"""The JSON Schemas of a reading and of event lines, made from their dataclasses.

:func:`ship_schema` writes them to ``tapfall/schema``, the copies that are shipped.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tapfall.convert import schema_of, shape_of, shape_of_fields, shape_of_object
from tapfall.events import EVENT_SENTENCES, Event
from tapfall.files.eventlines import EVENT_SCHEMA_NAME, End, Start
from tapfall.files.record import SCHEMA_NAME
from tapfall.files.writing import write_json
from tapfall.model import Reading, Settings, Source

#: The copies that are shipped with the package.
SHIPPED = Path(__file__).parent.parent / "schema" / "reading-1.json"
SHIPPED_EVENTS = SHIPPED.with_name("event-1.json")


def reading_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.reading/1``.

    Unknown fields are refused everywhere; flags, reasons, states, phases,
    rhythms and rules are enumerated.

    Returns
    -------
    dict
        The schema as JSON values.

    Examples
    --------
    >>> reading_schema()["properties"]["schema"]
    {'const': 'tapfall.reading/1'}
    """
    defs: dict[str, Any] = {}
    properties = {
        "schema": {"const": SCHEMA_NAME},
        **shape_of_fields(Reading, defs),
        "source": shape_of(Source | None, "source", defs),
        "settings": shape_of(Settings, "settings", defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    return schema_of(SCHEMA_NAME, shape_of_object(properties), defs)


def event_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of one line of ``tapfall.event/1``.

    Unknown fields are refused; types, kinds and sentences are enumerated.

    Examples
    --------
    >>> [line["properties"]["type"]["const"] for line in event_schema()["oneOf"]]
    ['start', 'event', 'reading', 'end']
    """
    reading = reading_schema()
    defs: dict[str, Any] = reading["$defs"]
    head = {
        "schema": {"const": EVENT_SCHEMA_NAME},
        **shape_of_fields(Start, defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    event = shape_of_fields(Event, defs)
    event["sentence"] = {"enum": list(EVENT_SENTENCES.values())}
    parts = ("type", "properties", "required", "additionalProperties")
    lines = {
        "start": head,
        "event": event,
        "reading": {"reading": {part: reading[part] for part in parts}},
        "end": shape_of_fields(End, defs),
    }
    any_line = [shape_of_object({"type": {"const": kind}, **line}) for kind, line in lines.items()]
    return schema_of(EVENT_SCHEMA_NAME, {"oneOf": any_line}, defs)


def ship_schema() -> None:
    """Write the schemas to their place in the package, after a change of the model."""
    SHIPPED.parent.mkdir(exist_ok=True)
    write_json(SHIPPED, reading_schema())
    write_json(SHIPPED_EVENTS, event_schema())
