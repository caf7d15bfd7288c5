"""Event lines: their keys, their schema, what it refuses."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from tapfall import __version__
from tapfall.events import EVENT_SENTENCES, Event, EventKind
from tapfall.files import record_of
from tapfall.files.eventlines import (
    End,
    Ending,
    Start,
    end_line,
    event_line,
    line_text,
    reading_line,
    start_line,
)
from tapfall.files.schema import SHIPPED_EVENTS, event_schema
from tapfall.model import CAUTION, Settings, Source
from tests.files.made import full_reading

VALIDATOR = jsonschema.Draft202012Validator(event_schema())
SOURCE = Source(audio_name="a.wav", audio_sha256="ab", cuff_name="a.csv", cuff_sha256="cd")
EVENT = Event(
    kind=EventKind.SYSTOLIC_SETTLED,
    time_s=20.5,
    told_s=24.0,
    cuff_mmhg=118.5,
    probability=0.97,
    mmhg=118.5,
    low_mmhg=117.0,
    high_mmhg=120.5,
)
LINES = {
    "start": start_line(Start(rate_hz=4000.0, source=SOURCE, settings=Settings())),
    "event": event_line(EVENT),
    "reading": reading_line(full_reading(), SOURCE, Settings()),
    "end": end_line(End(why=Ending.STOPPED, audio_s=12.5)),
}


def test_the_shipped_schema_is_the_generated_one() -> None:
    assert json.loads(SHIPPED_EVENTS.read_text(encoding="utf-8")) == event_schema()
    VALIDATOR.check_schema(event_schema())


@pytest.mark.parametrize("kind", LINES)
def test_lines_follow_the_schema(kind: str) -> None:
    text = line_text(LINES[kind])
    assert text.endswith("\n")
    assert text.count("\n") == 1
    assert text.isascii()
    VALIDATOR.validate(json.loads(text))
    assert LINES[kind]["type"] == kind


@pytest.mark.parametrize("kind", EventKind)
def test_every_kind_of_event(kind: EventKind) -> None:
    event = Event(kind=kind, time_s=1.0, told_s=2.0, cuff_mmhg=100.0, probability=1.0)
    line = event_line(event)
    VALIDATOR.validate(line)
    assert line["sentence"] == EVENT_SENTENCES[kind]


def test_every_key() -> None:
    assert LINES["event"] == {
        "type": "event",
        "kind": "systolic_settled",
        "time_s": 20.5,
        "told_s": 24.0,
        "cuff_mmHg": 118.5,
        "probability": 0.97,
        "mmHg": 118.5,
        "low_mmHg": 117.0,
        "high_mmHg": 120.5,
        "sentence": "The systolic is settled.",
    }
    start = LINES["start"]
    assert (start["schema"], start["version"], start["caution"]) == (
        "tapfall.event/1",
        __version__,
        CAUTION,
    )
    assert set(start) - {"schema", "version", "caution"} == {
        "type",
        "rate_hz",
        "source",
        "settings",
    }
    assert LINES["reading"]["reading"] == record_of(full_reading(), SOURCE, Settings())
    assert set(LINES["end"]) == {"type", "why", "audio_s"}


def changed(line: str, /, **fields: Any) -> dict[str, Any]:
    return {key: value for key, value in {**LINES[line], **fields}.items() if value != "dropped"}


@pytest.mark.parametrize(
    "line",
    [
        changed("event", kind="bang"),
        changed("event", type="reading"),
        changed("event", sentence="Fine."),
        changed("event", probability=1.5),
        changed("event", cuff_mmHg=None),
        changed("event", cuff_mmhg=1.0),
        changed("event", told_s="dropped"),
        changed("start", schema="tapfall.event/2"),
        changed("start", caution="dropped"),
        changed("reading", reading={}),
        changed("end", why="bored"),
        {},
    ],
)
def test_the_schema_refuses(line: dict[str, Any]) -> None:
    assert not VALIDATOR.is_valid(line)


def test_nan_is_never_written() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        line_text({"mmHg": float("nan")})
