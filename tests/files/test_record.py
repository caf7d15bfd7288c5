"""Readings as JSON: whole round trips, the shipped schema, every refusal."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

import tapfall
from tapfall.errors import ReadingError
from tapfall.files import (
    SCHEMA_NAME,
    ReadingRecord,
    read_reading,
    reading_schema,
    record_of,
    to_json,
    write_reading,
)
from tapfall.files.schema import SHIPPED
from tapfall.model import (
    CAUTION,
    FindingState,
    Flag,
    Phase,
    Reading,
    Reason,
    Rhythm,
    Rule,
    Settings,
    Source,
    State,
    Status,
)
from tests.files.made import bare_reading, full_reading, plain_reading

SOURCE = Source(audio_name="arm.wav", audio_sha256="ab", cuff_name="arm.csv", cuff_sha256="cd")
SETTINGS = Settings(diastolic=Rule.K4, lag_s=-1.5, manometer_mmhg=3.0, longest_s=200.0)
VALIDATOR = jsonschema.Draft202012Validator(reading_schema())


def valid(record: dict[str, Any]) -> bool:
    return bool(VALIDATOR.is_valid(json.loads(json.dumps(record))))


@pytest.mark.parametrize("reading", [full_reading(), bare_reading(), plain_reading()])
@pytest.mark.parametrize(("source", "settings"), [(SOURCE, SETTINGS), (None, Settings())])
def test_round_trip(
    tmp_path: Path, reading: Reading, source: Source | None, settings: Settings
) -> None:
    path = tmp_path / "reading.json"
    write_reading(path, reading, source, settings)
    assert read_reading(path) == ReadingRecord(reading=reading, source=source, settings=settings)
    assert valid(json.loads(path.read_text()))


def test_every_key_of_the_format() -> None:
    record = record_of(full_reading(), SOURCE, SETTINGS)
    threshold = {"mmHg", "low_mmHg", "high_mmHg", "confidence", "time_s", "state", "reason"}
    assert set(record) == {
        "schema",
        "status",
        "reasons",
        "systolic",
        "diastolic",
        "first_silence",
        "muffling",
        "gaps",
        "pulse_per_min",
        "rhythm",
        "beats",
        "lag",
        "manometer_mmHg",
        "technique",
        "flags",
        "quality",
        "source",
        "settings",
        "version",
        "caution",
    }
    assert set(record["systolic"]) == set(record["first_silence"]) == threshold
    assert set(record["muffling"]) == threshold
    assert set(record["diastolic"]) == threshold | {"rule", "k5_mmHg"}
    assert set(record["gaps"][0]) == {
        "upper_mmHg",
        "lower_mmHg",
        "upper_low_mmHg",
        "upper_high_mmHg",
        "lower_low_mmHg",
        "lower_high_mmHg",
        "confidence",
    }
    assert record["beats"][1] == {
        "time_s": 1.875,
        "cuff_mmHg": 187.5,
        "heard": 0.01,
        "phase": "gap",
    }
    assert set(record["lag"]) == {"seconds", "low_s", "high_s", "drift_ppm", "estimated"}
    assert set(record["technique"][0]) == {
        "check",
        "state",
        "found",
        "expected",
        "unit",
        "source",
        "bias",
    }
    assert set(record["quality"]) == {
        "signal_to_noise_db",
        "peak_dbfs",
        "clipped_share",
        "deflation_mmHg_per_s",
        "deflation_mmHg_per_beat",
        "log_rate_hz",
    }
    assert record["source"] == {
        "audio_name": "arm.wav",
        "audio_sha256": "ab",
        "cuff_name": "arm.csv",
        "cuff_sha256": "cd",
    }
    assert record["settings"] == {
        "diastolic": "k4",
        "lag_s": -1.5,
        "manometer_mmHg": 3.0,
        "longest_s": 200.0,
    }
    assert record["schema"] == SCHEMA_NAME == "tapfall.reading/1"
    assert (record["version"], record["caution"]) == (tapfall.__version__, CAUTION)


def test_the_shipped_schema_is_the_generated_one() -> None:
    assert json.loads(SHIPPED.read_text(encoding="utf-8")) == reading_schema()


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(reading_schema())
    assert reading_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize(
    "enumeration",
    [Status, State, Rule, Phase, Rhythm, Flag, Reason, FindingState],
    ids=lambda e: e.__name__,
)
def test_the_schema_enumerates(enumeration: type[Status]) -> None:
    assert reading_schema()["$defs"][enumeration.__name__]["enum"] == list(enumeration)


def objects_of(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The place of every object in a JSON value."""
    found: list[tuple[Any, ...]] = [path] if isinstance(value, dict) else []
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in items:
        if isinstance(item, dict | list):
            found += objects_of(item, (*path, key))
    return found


FULL = record_of(full_reading(), SOURCE, SETTINGS)
OBJECTS = objects_of(FULL)


def changed(path: tuple[Any, ...], change: Callable[[Any], None]) -> dict[str, Any]:
    record = json.loads(json.dumps(FULL))
    part = record
    for key in path:
        part = part[key]
    change(part)
    return record


def refusal(folder: Path, text: str | bytes) -> str:
    path = folder / "reading.json"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(ReadingError) as caught:
        read_reading(path)
    return str(caught.value).replace(f"{folder}{os.sep}", "")


def test_there_are_objects_of_every_kind() -> None:
    assert {path[0] for path in OBJECTS if path} == {
        "systolic", "diastolic", "first_silence", "muffling", "gaps", "beats", "lag",
        "technique", "quality", "source", "settings",
    }  # fmt: skip


@pytest.mark.parametrize("path", OBJECTS, ids=str)
def test_unknown_fields_are_refused_everywhere(tmp_path: Path, path: tuple[Any, ...]) -> None:
    record = changed(path, lambda part: part.update(extra=1))
    assert not valid(record)
    assert ": found the unknown field 'extra'; allowed " in refusal(tmp_path, json.dumps(record))


@pytest.mark.parametrize("path", OBJECTS, ids=str)
def test_no_field_may_be_left_out(tmp_path: Path, path: tuple[Any, ...]) -> None:
    last = list(changed(path, lambda part: None) if not path else _at(path))[-1]
    record = changed(path, lambda part: part.pop(last))
    assert not valid(record)
    assert refusal(tmp_path, json.dumps(record)).endswith(
        f": found no '{last}'; allowed an object that has it"
    )


def _at(path: tuple[Any, ...]) -> Any:
    part: Any = FULL
    for key in path:
        part = part[key]
    return part


@pytest.mark.parametrize(
    ("path", "key", "value", "text"),
    [
        ((), "status", "fine", "status: found 'fine'; allowed ok, review, unreadable"),
        ((), "status", 1, "status: found 1; allowed ok, review, unreadable"),
        ((), "flags", ["loud"], "flags[0]: found 'loud'; allowed isolated_sound, "),
        ((), "flags", "noisy", "flags: found 'noisy'; allowed a list"),
        ((), "gaps", [3], "gaps[0]: found 3; allowed an object"),
        ((), "lag", [], "lag: found a list; allowed an object"),
        ((), "pulse_per_min", "72", "pulse_per_min: found '72'; allowed a finite number or null"),
        ((), "pulse_per_min", True, "pulse_per_min: found true; allowed a finite number or null"),
        ((), "version", 1, "version: found 1; allowed a text"),
        ((), "caution", None, "caution: found null; allowed a text"),
        ((), "source", "arm", "source: found 'arm'; allowed an object"),
        ((), "schema", "other/2", "schema: found 'other/2'; allowed 'tapfall.reading/1'"),
        (("lag",), "estimated", 1, "lag: estimated: found 1; allowed true or false"),
        (("lag",), "seconds", None, "lag: seconds: found null; allowed a finite number"),
        (
            ("systolic",),
            "state",
            None,
            "systolic: state: found null; allowed observed, not_reached, undetermined",
        ),
        (
            ("systolic",),
            "reason",
            "tired",
            "systolic: reason: found 'tired'; allowed no_sounds, ",
        ),
        (
            ("diastolic",),
            "confidence",
            1.5,
            "diastolic: confidence: found 1.5; allowed a number from 0 to 1 or null",
        ),
        (("beats", 0), "heard", -0.1, "beats[0]: heard: found -0.1; allowed a number from 0 to 1"),
        (("technique", 0), "unit", 3, "technique[0]: unit: found 3; allowed a text"),
        (
            ("quality",),
            "clipped_share",
            2,
            "quality: clipped_share: found 2; allowed a number from 0 to 1",
        ),
    ],
)
def test_wrong_values(
    tmp_path: Path, path: tuple[Any, ...], key: str, value: Any, text: str
) -> None:
    record = changed(path, lambda part: part.update({key: value}))
    assert not valid(record)
    assert refusal(tmp_path, json.dumps(record)).startswith(f"reading.json: {text}")


WANTED = "a reading in JSON, schema tapfall.reading/1"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", f"found 0 bytes; allowed {WANTED}"),
        ("[1]", f"found a list; allowed {WANTED}"),
        ("{}", "schema: found null; allowed 'tapfall.reading/1'"),
        (
            '{\n"schema" 1}',
            f"line 2: found what is not JSON (Expecting ':' delimiter); allowed {WANTED}",
        ),
        (b"\xff", f"found bytes that are not UTF-8; allowed {WANTED}"),
        ("[" * 100_000, f"found too deep a nesting; allowed {WANTED}"),
        ("1" * 10_000, f"found too long a number; allowed {WANTED}"),
        ('{"schema": 1, "schema": 1}', "found 'schema' twice; allowed once in an object"),
        ('{"schema": NaN}', "found NaN; allowed finite numbers"),
        ('{"schema": [-Infinity]}', "found -Infinity; allowed finite numbers"),
        (
            json.dumps(FULL).replace("71.5", "1e999"),
            "pulse_per_min: found a number beyond 1e300; allowed a finite number or null",
        ),
        (
            json.dumps(FULL).replace("71.5", "1" + "0" * 400),
            "pulse_per_min: found a number beyond 1e300; allowed a finite number or null",
        ),
    ],
)
def test_what_is_not_a_reading(tmp_path: Path, text: str | bytes, fault: str) -> None:
    assert refusal(tmp_path, text) == f"reading.json: {fault}"


def test_missing(tmp_path: Path) -> None:
    with pytest.raises(ReadingError) as caught:
        read_reading(tmp_path / "r.json")
    assert str(caught.value) == f"{tmp_path / 'r.json'}: found no such file; allowed {WANTED}"


def test_nan_is_never_written(tmp_path: Path) -> None:
    reading = replace(plain_reading(), pulse_per_min=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_reading(tmp_path / "r.json", reading)
    assert list(tmp_path.iterdir()) == []


def test_arrays_have_no_form_in_json() -> None:
    with pytest.raises(TypeError, match="ndarray has no form in JSON"):
        to_json({"samples": np.zeros(3)})


def test_numbers_of_numpy_are_written_as_numbers() -> None:
    assert type(to_json(np.float64(1.5))) is float
