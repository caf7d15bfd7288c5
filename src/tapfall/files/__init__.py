"""Files in and out: sound, cuff log, readings.

A file is read whole or refused with one line that says what was found, where,
and what is allowed.  Outputs appear under their name only when complete.
"""

from __future__ import annotations

from tapfall.convert import to_json
from tapfall.files.cufflog import read_cuff_log
from tapfall.files.record import (
    SCHEMA_NAME,
    ReadingRecord,
    read_reading,
    record_of,
    write_reading,
)
from tapfall.files.recording import load, save
from tapfall.files.schema import reading_schema
from tapfall.files.writing import check_writable, write_bytes, write_json

__all__ = [
    "SCHEMA_NAME",
    "ReadingRecord",
    "check_writable",
    "load",
    "read_cuff_log",
    "read_reading",
    "reading_schema",
    "record_of",
    "save",
    "to_json",
    "write_bytes",
    "write_json",
    "write_reading",
]
