"""What the tests of ``tapfall listen`` share: its lines, and standard input from a file."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterator
from typing import Any

import jsonschema

import tapfall
from tapfall.files import record_of
from tapfall.files.schema import event_schema
from tapfall.model import Recording, Settings

Line = dict[str, Any]
#: Runs the command with a file as its input: its code, lines and errors.
Listen = Callable[..., tuple[int, list[Line], str]]

VALIDATOR = jsonschema.Draft202012Validator(event_schema())
RAW = ["listen", "--rate", "4000", "--format", "f32le"]


@contextlib.contextmanager
def standard_input(path: str) -> Iterator[None]:
    """Put a file in the place of standard input."""
    kept, file = os.dup(0), os.open(path, os.O_RDONLY)
    os.dup2(file, 0)
    os.close(file)
    try:
        yield
    finally:
        os.dup2(kept, 0)
        os.close(kept)


def reading_of(lines: list[Line]) -> Line:
    """The one reading, without its source and a flag that only listening can set."""
    (found,) = (line["reading"] for line in lines if line["type"] == "reading")
    flags = [flag for flag in found["flags"] if flag != "revised"]
    return {**found, "source": None, "flags": flags}


def read_alike(recording: Recording, settings: Settings | None = None) -> Line:
    """What ``tapfall read`` says of the same recording."""
    reading = tapfall.take_reading(recording, settings=settings)
    return json.loads(json.dumps(record_of(reading, None, settings)))
