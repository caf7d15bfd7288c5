"""The private key of an observer's page: which item is which recording, and its zero."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from typing import Any

from tapfall.errors import InputError, shown
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.files.writing import write_json

BLIND_SCHEMA = "tapfall.observer-key/1"
MAX_BYTES = 5_000_000

_WANTED = "the key of an observer's page (JSON, written beside the page)"


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindItem:
    """One item of an observer's page.

    Parameters
    ----------
    name
        Its neutral name in the page.
    recording, audio_sha256
        Its name in the manifest, and the hash of its sound.
    offset_mmhg
        By how much the dial shows more than the cuff's pressure.
    start_s, seconds
        What part of the sound it is: marks in the page count from ``start_s``.
    """

    name: str
    recording: str
    audio_sha256: str
    offset_mmhg: float
    start_s: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindKey:
    """The key of one observer's page; ``lag_s`` is what the needle was moved by."""

    schema: str = BLIND_SCHEMA
    set_id: str
    observer: str
    manifest: str
    lag_s: float
    items: tuple[BlindItem, ...]


def write_blind_key(path: PathLike, key: BlindKey) -> None:
    """Write a key as JSON, complete or not at all.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    record = asdict(key)
    record["items"] = [
        {name.replace("_mmhg", "_mmHg"): value for name, value in item.items()}
        for item in record["items"]
    ]
    write_json(path, record)


def read_blind_key(path: PathLike) -> BlindKey:
    """Read the key of an observer's page.

    Raises
    ------
    InputError
        It is no such key, or something in it is not what is allowed.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> key = BlindKey(set_id="study-1", observer="A", manifest="study.csv", lag_s=0.0, items=())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "key.json"
    ...     write_blind_key(path, key)
    ...     read_blind_key(path) == key
    True
    """
    label = label_of(path)
    with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES + 1)
    try:
        record = json.loads(data.decode("utf-8"), parse_constant=_no_number)
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise InputError(f"{label}: found what is not JSON in UTF-8; allowed {_WANTED}") from None
    if not isinstance(record, dict) or record.get("schema") != BLIND_SCHEMA:
        raise InputError(f"{label}: found no schema {BLIND_SCHEMA}; allowed {_WANTED}")
    fields = _Fields(record, label, "")
    items = record.get("items")
    if not isinstance(items, list):
        raise InputError(f"{label}: found no list of items; allowed {_WANTED}")
    key = BlindKey(
        set_id=fields.text("set_id"),
        observer=fields.text("observer"),
        manifest=fields.text("manifest"),
        lag_s=fields.number("lag_s"),
        items=tuple(_item(one, label, place) for place, one in enumerate(items, 1)),
    )
    for names in ([one.name for one in key.items], [one.recording for one in key.items]):
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise InputError(f"{label}: found {shown(twice)} twice; allowed once")
    return key


def _item(value: object, label: str, place: int) -> BlindItem:
    fields = _Fields(value, label, f"item {place}: ")
    return BlindItem(
        name=fields.text("name"),
        recording=fields.text("recording"),
        audio_sha256=fields.text("audio_sha256"),
        offset_mmhg=fields.number("offset_mmHg"),
        start_s=fields.number("start_s"),
        seconds=fields.number("seconds"),
    )


class _Fields:
    """The fields of one object, each of the type it has to be."""

    def __init__(self, value: object, label: str, where: str) -> None:
        if not isinstance(value, dict):
            raise InputError(f"{label}: {where}found no object; allowed {_WANTED}")
        self._value: dict[str, Any] = value
        self._start = f"{label}: {where}"

    def text(self, name: str) -> str:
        found = self._value.get(name)
        if not isinstance(found, str):
            raise InputError(f"{self._start}found no text {name}; allowed {_WANTED}")
        return found

    def number(self, name: str) -> float:
        found = self._value.get(name)
        if isinstance(found, bool) or not isinstance(found, (int, float)):
            raise InputError(f"{self._start}found no number {name}; allowed {_WANTED}")
        if not math.isfinite(found) or abs(found) > 1e6:
            raise InputError(f"{self._start}found {name} {found:g}; allowed a number below 1e6")
        return float(found)


def _no_number(text: str) -> float:
    raise ValueError(text)
