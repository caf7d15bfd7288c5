"""Sets and keys as JSON files, ``tapfall.lesson/1`` and ``tapfall.lesson-key/1``."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, TypeVar

from tapfall.convert import from_json, kind, to_json
from tapfall.errors import InputError, ReadingError, shown
from tapfall.files.jsonfile import read_json
from tapfall.files.names import PathLike, label_of
from tapfall.files.writing import write_bytes
from tapfall.lesson.nouns import KEY_SCHEMA, SET_SCHEMA, Key, LessonSet
from tapfall.model import CAUTION

T = TypeVar("T", LessonSet, Key)

#: Name of the set's file in its folder, and largest files, bytes (our choice: a dial has
#: some 2,000 values).
SET_FILE, MAX_BYTES = "set.json", 20_000_000


def key_beside(folder: PathLike) -> Path:
    """Return where the key of a set lies unless told otherwise: beside its folder.

    Examples
    --------
    >>> key_beside("lessons/first").as_posix()
    'lessons/first-key.json'
    """
    home = Path(folder)
    if home.name in ("", ".."):
        home = home.resolve()
    return home.with_name(f"{home.name}-key.json")


def check_outside(page: PathLike, place: PathLike) -> None:
    """Raise where a page that tells the answers would lie among what learners get.

    Parameters
    ----------
    page
        The page to be.
    place
        The set's folder, or its ``set.json``.

    Raises
    ------
    InputError
        The page would lie in the folder.

    Examples
    --------
    >>> check_outside("first.html", "first")
    """
    home = Path(place).parent if Path(place).is_file() else Path(place)
    if Path(os.path.realpath(page)).is_relative_to(os.path.realpath(home)):
        raise InputError(
            f"{label_of(page)}: found an output with the answers in the folder of the learners; "
            "allowed elsewhere"
        )


def check_no_set_beside(output: PathLike) -> None:
    """Raise where an output that tells the answers would lie beside a set.

    Parameters
    ----------
    output
        The file to be; its folder must hold no ``set.json``.

    Raises
    ------
    InputError
        It would lie among what learners get.

    Examples
    --------
    >>> check_no_set_beside("marks.csv")
    """
    home = Path(os.path.realpath(output)).parent
    if (home / SET_FILE).is_file():
        check_outside(output, home)


def write_set(path: PathLike, lesson: LessonSet) -> None:
    """Write the public part of a set, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    lesson
        What learners may know of the set.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.lesson.nouns import Dial, Item, Mode
    >>> dial = Dial(step_s=0.05, mmhg=(180.0, 179.9))
    >>> item = Item(name="item-01", file="item-01.flac", seconds=112.0, dial=dial)
    >>> lesson = LessonSet(
    ...     set_id="set-7", grade="1", mode=Mode.LEARN, replays=None, random_zero=False,
    ...     items=(item,),
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_set(pathlib.Path(folder) / "set.json", lesson)
    ...     "item-01.flac" in (pathlib.Path(folder) / "set.json").read_text()
    True
    """
    _write(path, lesson)


def write_key(path: PathLike, key: Key) -> None:
    """Write a key, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    key
        The answers that are right.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.lesson.nouns import KeyItem
    >>> item = KeyItem(
    ...     name="item-01", systolic_mmhg=124.0, diastolic_mmhg=78.0, k4_mmhg=None, gaps=(),
    ...     offset_mmhg=0.0, step_mmhg=2.0, beats=(), shows=(),
    ... )
    >>> key = Key(set_id="set-7", grade="1", seed=4, items=(item,))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "set-7-key.json"
    ...     write_key(path, key)
    ...     '"systolic_mmHg": 124.0' in path.read_text()
    True
    """
    _write(path, key)


def _write(path: PathLike, value: LessonSet | Key) -> None:
    # A line for each item: a dial has some 2,000 values, a key 100 beats for each item.
    whole = {**to_json(value), "caution": CAUTION}
    items = whole.pop("items")
    head = json.dumps(whole, allow_nan=False)[:-1]
    lines = ",\n".join(json.dumps(one, allow_nan=False) for one in items)
    write_bytes(path, f'{head}, "items": [\n{lines}\n]}}\n'.encode("ascii"))


def read_set(folder: PathLike) -> LessonSet:
    """Read the public part of a set.

    Parameters
    ----------
    folder
        The set's folder, or its ``set.json``.

    Returns
    -------
    LessonSet
        Equal to what was written.

    Raises
    ------
    InputError
        The file is not a set; the message names the field.  Or an item names a file
        outside the folder.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.lesson.nouns import Dial, Item, Mode
    >>> dial = Dial(step_s=0.05, mmhg=(180.0, 179.9))
    >>> item = Item(name="item-01", file="item-01.flac", seconds=112.0, dial=dial)
    >>> lesson = LessonSet(
    ...     set_id="set-7", grade="1", mode=Mode.LEARN, replays=None, random_zero=False,
    ...     items=(item,),
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_set(pathlib.Path(folder) / "set.json", lesson)
    ...     read_set(folder) == lesson
    True
    """
    path = Path(folder) / SET_FILE if Path(folder).is_dir() else Path(folder)
    lesson = _read(path, LessonSet, SET_SCHEMA, "a set of recordings")
    label = label_of(path)
    _check_names(label, [item.name for item in lesson.items])
    for item in lesson.items:
        if item.file in ("", ".", "..") or item.file != Path(item.file).name or "\\" in item.file:
            raise InputError(
                f"{label}: file: found {shown(item.file)}; allowed the name of a file beside it"
            )
    return lesson


def read_key(path: PathLike) -> Key:
    """Read a key.

    Parameters
    ----------
    path
        The file, JSON, at most 20 MB.

    Returns
    -------
    Key
        Equal to what was written; pressures in mmHg.

    Raises
    ------
    InputError
        The file is not a key; the message names the field.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.lesson.nouns import KeyItem
    >>> item = KeyItem(
    ...     name="item-01", systolic_mmhg=124.0, diastolic_mmhg=78.0, k4_mmhg=None, gaps=(),
    ...     offset_mmhg=0.0, step_mmhg=2.0, beats=(), shows=(),
    ... )
    >>> key = Key(set_id="set-7", grade="1", seed=4, items=(item,))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "set-7-key.json"
    ...     write_key(path, key)
    ...     read_key(path) == key
    True
    """
    key = _read(Path(path), Key, KEY_SCHEMA, "a key")
    _check_names(label_of(path), [item.name for item in key.items])
    return key


def _read(path: Path, cls: type[T], schema: str, noun: str) -> T:
    label, wanted = label_of(path), f"{noun} in JSON, schema {schema}"
    value: Any = read_json(path, ReadingError, wanted, MAX_BYTES)
    if not isinstance(value, dict):
        raise ReadingError(f"{label}: found {kind(value)}; allowed {wanted}")
    if value.get("schema") != schema:
        raise ReadingError(
            f"{label}: schema: found {kind(value.get('schema'))}; allowed '{schema}'"
        )
    value.pop("caution", None)
    return from_json(cls, value, label)


def _check_names(label: str, names: list[str]) -> None:
    if not names:
        raise InputError(f"{label}: items: found none; allowed at least one")
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{label}: found the item {shown(name)} twice; allowed once")
        if not name or len(name) > 60 or not name.isprintable():
            raise InputError(f"{label}: name: found {shown(name)}; allowed 1 to 60 letters")
