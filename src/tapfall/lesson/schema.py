"""The JSON Schemas of a set, its key, answers and marks, made from their dataclasses.

:func:`ship_schemas` writes them to ``tapfall/schema``, the copies that are shipped.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tapfall.convert import schema_of, shape_of_fields, shape_of_object
from tapfall.files.writing import write_json
from tapfall.lesson.marking import MARKS_SCHEMA, Marked
from tapfall.lesson.nouns import ANSWERS_SCHEMA, KEY_SCHEMA, SET_SCHEMA, Answers, Key, LessonSet

FOLDER = Path(__file__).parent.parent / "schema"
_FORMS: dict[str, type[Any]] = {
    SET_SCHEMA: LessonSet,
    KEY_SCHEMA: Key,
    ANSWERS_SCHEMA: Answers,
    MARKS_SCHEMA: Marked,
}
#: Only marks are written with it always.
_CAUTIONED = (MARKS_SCHEMA,)


def schemas() -> dict[str, dict[str, Any]]:
    """Return the JSON Schema (draft 2020-12) of each form, by the name of its file.

    Examples
    --------
    >>> sorted(schemas())
    ['answers-1.json', 'lesson-1.json', 'lesson-key-1.json', 'marks-1.json']
    """
    return {
        f"{name.removeprefix('tapfall.').replace('/', '-')}.json": _schema(name, cls)
        for name, cls in _FORMS.items()
    }


def _schema(name: str, cls: type[Any]) -> dict[str, Any]:
    defs: dict[str, Any] = {}
    first = {"schema": {"const": name}}
    whole = shape_of_object(first | shape_of_fields(cls, defs) | first)
    whole["properties"]["caution"] = {"type": "string"}
    if name in _CAUTIONED:
        whole["required"].append("caution")  # elsewhere it may be left out
    return schema_of(name, whole, defs)


def ship_schemas() -> None:
    """Write the schemas to their place in the package, after a change of the nouns."""
    for name, schema in schemas().items():
        write_json(FOLDER / name, schema)
