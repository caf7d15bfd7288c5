"""A visit as JSON, against its schema."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

import tapfall
from tapfall.model import CAUTION, Source
from tapfall.visit import (
    SHIPPED,
    VISIT_SCHEMA_NAME,
    Arm,
    Lost,
    Visit,
    visit,
    visit_record,
    visit_schema,
)
from tests.visit.made import series, unreadable
from tests.visit.test_visit import left

VALIDATOR = jsonschema.Draft202012Validator(visit_schema())
BOTH = [*series((130.0, 80.0), (132.0, 82.0)), *series((150.0, 90.0), arm=Arm.RIGHT)]
SOURCE = Source(audio_name="arm.wav", audio_sha256="ab", cuff_name="arm.csv", cuff_sha256="cd")


@pytest.mark.parametrize(
    "made", [visit(BOTH), visit([left(unreadable())]), visit(BOTH[:2], scheme="esh-2023")]
)
def test_records_follow_the_schema(made: Visit) -> None:
    lost = [Lost(name="=x", reason="gone")]
    record = json.loads(json.dumps(visit_record(made, sources=[SOURCE], lost=lost)))
    VALIDATOR.validate(record)
    assert record["schema"] == VISIT_SCHEMA_NAME == "tapfall.visit/1"
    assert (record["caution"], record["version"]) == (CAUTION, tapfall.__version__)
    assert record["lost"] == [{"name": "=x", "reason": "gone"}]
    assert record["sources"][0]["audio_name"] == "arm.wav"
    assert "mmhg" not in json.dumps(record)


def test_the_shipped_schema_is_the_generated_one() -> None:
    assert json.loads(SHIPPED.read_text(encoding="utf-8")) == visit_schema()
    jsonschema.Draft202012Validator.check_schema(visit_schema())


def objects_of(value: Any) -> list[dict[str, Any]]:
    """Every object in a JSON value."""
    items = list(value.values()) if isinstance(value, dict) else value
    found = [value] if isinstance(value, dict) else []
    for item in items:
        if isinstance(item, dict | list):
            found += objects_of(item)
    return found


def test_unknown_and_missing_fields_are_refused() -> None:
    record = json.loads(json.dumps(visit_record(visit(BOTH), sources=[SOURCE])))
    places = objects_of(record)
    assert len(places) > 10
    for place in places:
        place["extra"] = 1
        assert not VALIDATOR.is_valid(record)
        del place["extra"]
        key, value = next(iter(place.items()))
        del place[key]
        assert not VALIDATOR.is_valid(record)
        place[key] = value
    VALIDATOR.validate(record)


def test_values_of_another_type_are_refused() -> None:
    record = json.loads(json.dumps(visit_record(visit(BOTH))))
    for path, bad in [("average", 3), ("include_review", "yes"), ("more", "x")]:
        assert not VALIDATOR.is_valid({**record, path: bad})
    record["average"]["count"] = 1.5
    assert not VALIDATOR.is_valid(record)
