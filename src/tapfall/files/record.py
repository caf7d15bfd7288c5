"""Readings as JSON files, schema ``tapfall.reading/1``.

The judgement and, beside it, what it was made from: names and hashes of the
files, settings, version.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tapfall import __version__
from tapfall.convert import check_keys, from_json, kind, to_json
from tapfall.errors import ReadingError
from tapfall.files.jsonfile import read_json
from tapfall.files.names import PathLike, label_of
from tapfall.files.writing import write_json
from tapfall.model import CAUTION, Reading, Settings, Source

#: The name of the schema, the value of the field ``schema``.
SCHEMA_NAME = "tapfall.reading/1"

#: Largest reading file, bytes (our choice: far above the longest measurement).
MAX_BYTES = 20_000_000

_WANTED = f"a reading in JSON, schema {SCHEMA_NAME}"
_OUTSIDE = ("source", "settings", "version", "caution")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRecord:
    """A reading and what it was made from.

    Parameters
    ----------
    reading
        The judgement.
    source
        Names and hashes of the files; None for a recording made in memory.
    settings
        What was chosen.
    version
        The version of this package that made the reading.
    """

    reading: Reading
    source: Source | None = None
    settings: Settings = field(default_factory=Settings)
    version: str = __version__


def record_of(
    reading: Reading, source: Source | None = None, settings: Settings | None = None
) -> dict[str, Any]:
    """Return a reading as JSON values.

    Parameters
    ----------
    reading
        The judgement.
    source
        ``recording.source``.
    settings
        What was chosen; the defaults if None.

    Returns
    -------
    dict
        Keys as in the schema, see :func:`tapfall.files.reading_schema`.

    Examples
    --------
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Reason, Settings
    >>> record = record_of(unreadable(Reason.NO_SOUNDS, Settings()))
    >>> record["schema"], record["status"]
    ('tapfall.reading/1', 'unreadable')
    """
    return {
        "schema": SCHEMA_NAME,
        **to_json(reading),
        "source": to_json(source),
        "settings": to_json(settings or Settings()),
        "version": __version__,
        "caution": CAUTION,
    }


def write_reading(
    path: PathLike,
    reading: Reading,
    source: Source | None = None,
    settings: Settings | None = None,
) -> None:
    """Write a reading as JSON, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    reading, source, settings
        As in :func:`record_of`.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Reason, Settings
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "arm.json"
    ...     write_reading(path, unreadable(Reason.NO_SOUNDS, Settings()))
    ...     '"status": "unreadable"' in path.read_text()
    True
    """
    write_json(path, record_of(reading, source, settings))


def read_reading(path: PathLike) -> ReadingRecord:
    """Read a reading that :func:`write_reading` wrote.

    Parameters
    ----------
    path
        The file, at most 20 MB.

    Returns
    -------
    ReadingRecord
        Equal to what was written.

    Raises
    ------
    ReadingError
        The file is not JSON or does not follow the schema; the message names
        the field.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Reason, Settings
    >>> reading = unreadable(Reason.NO_SOUNDS, Settings())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "arm.json"
    ...     write_reading(path, reading)
    ...     read_reading(path).reading == reading
    True
    """
    label = label_of(path)
    value = read_json(path, ReadingError, _WANTED, MAX_BYTES)
    if not isinstance(value, dict):
        raise ReadingError(f"{label}: found {kind(value)}; allowed {_WANTED}")
    if value.get("schema") != SCHEMA_NAME:
        raise ReadingError(
            f"{label}: schema: found {kind(value.get('schema'))}; allowed '{SCHEMA_NAME}'"
        )
    judgement = {
        key: item for key, item in value.items() if key != "schema" and key not in _OUTSIDE
    }
    reading = from_json(Reading, judgement, label)
    outside = {key: value[key] for key in _OUTSIDE if key in value}
    check_keys(outside, list(_OUTSIDE), label)
    for key in ("version", "caution"):
        if not isinstance(outside[key], str):
            raise ReadingError(f"{label}: {key}: found {kind(outside[key])}; allowed a text")
    source = outside["source"]
    return ReadingRecord(
        reading=reading,
        source=None if source is None else from_json(Source, source, f"{label}: source"),
        settings=from_json(Settings, outside["settings"], f"{label}: settings"),
        version=outside["version"],
    )
