"""Events as JSON lines, format ``tapfall.event/1``.

The first line is of type ``start`` and the last of type ``end``: where that is missing,
the stream broke off before anything was measured, or was cut.  Between them stand lines
of type ``event`` in the order in which they were told, and one of type ``reading`` after
each measurement, whose ``reading`` is what :func:`tapfall.files.record_of` returns.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from tapfall import __version__
from tapfall.convert import to_json
from tapfall.events import EVENT_SENTENCES, Event
from tapfall.files.record import record_of
from tapfall.model import CAUTION, Reading, Settings, Source

#: The name of the format, the value of the field ``schema`` of the first line.
EVENT_SCHEMA_NAME = "tapfall.event/1"


class Ending(StrEnum):
    """Why listening ended."""

    INPUT_OVER = "input_over"
    STOPPED = "stopped"
    FAULT = "fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The first line: what the others are made from."""

    rate_hz: float
    source: Source | None
    settings: Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The last line: why listening ended, and how far the sound had got."""

    why: Ending
    audio_s: float


def start_line(start: Start) -> dict[str, Any]:
    """Return the first line as JSON values."""
    return {
        "type": "start",
        "schema": EVENT_SCHEMA_NAME,
        **to_json(start),
        "version": __version__,
        "caution": CAUTION,
    }


def event_line(event: Event) -> dict[str, Any]:
    """Return an event as JSON values, with its sentence.

    Examples
    --------
    >>> from tapfall.events import EventKind
    >>> line = event_line(Event(kind=EventKind.SOUND_HEARD, time_s=20.1, told_s=20.9,
    ...     cuff_mmhg=121.0, probability=0.97))
    >>> line["kind"], line["cuff_mmHg"], line["sentence"]
    ('sound_heard', 121.0, 'A beat sounded.')
    """
    return {"type": "event", **to_json(event), "sentence": EVENT_SENTENCES[event.kind]}


def reading_line(
    reading: Reading, source: Source | None = None, settings: Settings | None = None
) -> dict[str, Any]:
    """Return a finished reading as JSON values."""
    return {"type": "reading", "reading": record_of(reading, source, settings)}


def end_line(end: End) -> dict[str, Any]:
    """Return the last line as JSON values.

    Examples
    --------
    >>> end_line(End(why=Ending.STOPPED, audio_s=12.5))
    {'type': 'end', 'why': 'stopped', 'audio_s': 12.5}
    """
    return {"type": "end", **to_json(end)}


def line_text(line: dict[str, Any]) -> str:
    """Return a line as it is written: ASCII, one line break at its end, never NaN.

    Examples
    --------
    >>> line_text({"type": "end"})
    '{"type": "end"}\\n'
    """
    return json.dumps(line, allow_nan=False) + "\n"
