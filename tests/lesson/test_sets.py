"""Sets and keys on the disk: equal when read again, and what cannot be used."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tapfall.errors import InputError
from tapfall.lesson import Dial, Item, Key, KeyItem, LessonSet, Mode
from tapfall.lesson.sets import read_key, read_set, write_key, write_set

ITEM = Item(
    name="item-01", file="item-01.flac", seconds=112.0, dial=Dial(step_s=0.05, mmhg=(180.0, None))
)
SET = LessonSet(
    set_id="set-7", grade="1", mode=Mode.LEARN, replays=2, random_zero=False, items=(ITEM,)
)
KEY = Key(
    set_id="set-7",
    grade=None,
    seed=None,
    items=(
        KeyItem(
            name="item-01",
            systolic_mmhg=124.0,
            diastolic_mmhg=None,
            k4_mmhg=None,
            gaps=(),
            offset_mmhg=12.0,
            step_mmhg=2.0,
            beats=(),
            shows=(),
        ),
    ),
)


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    write_set(tmp_path / "set.json", SET)
    write_key(tmp_path / "key.json", KEY)
    assert read_set(tmp_path) == read_set(tmp_path / "set.json") == SET
    assert read_key(tmp_path / "key.json") == KEY


def changed(path: Path, **changes: Any) -> None:
    """Change fields of a file."""
    path.write_text(json.dumps(json.loads(path.read_text()) | changes))


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("", r"name: found ''; allowed 1 to 60 letters"),
        ("x" * 61, r"name: found 'x+.*'; allowed 1 to 60 letters"),
        ("a\u202eb", r"allowed 1 to 60 letters"),
    ],
)
def test_names_that_cannot_be_shown(tmp_path: Path, name: str, message: str) -> None:
    write_set(tmp_path / "set.json", SET)
    items = json.loads((tmp_path / "set.json").read_text())["items"]
    changed(tmp_path / "set.json", items=[items[0] | {"name": name}])
    with pytest.raises(InputError, match=message):
        read_set(tmp_path)


def test_items_are_some_and_each_is_there_once(tmp_path: Path) -> None:
    for write, read, what in ((write_set, read_set, SET), (write_key, read_key, KEY)):
        path = tmp_path / "set.json"
        write(path, what)  # type: ignore[operator]
        items = json.loads(path.read_text())["items"]
        changed(path, items=[])
        with pytest.raises(InputError, match=r"items: found none; allowed at least one$"):
            read(path)
        changed(path, items=items * 2)
        with pytest.raises(InputError, match=r"found the item 'item-01' twice; allowed once$"):
            read(path)


@pytest.mark.parametrize("file", ["../a.flac", "a/b.flac", "", ".", "..", "a\\b.flac"])
def test_an_item_lies_in_the_folder(tmp_path: Path, file: str) -> None:
    write_set(tmp_path / "set.json", SET)
    items = json.loads((tmp_path / "set.json").read_text())["items"]
    changed(tmp_path / "set.json", items=[items[0] | {"file": file}])
    with pytest.raises(InputError, match="allowed the name of a file beside it"):
        read_set(tmp_path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[]", "found a list; allowed a key in JSON"),
        ("{}", "schema: found null; allowed 'tapfall.lesson-key/1'"),
        ('{"schema": "tapfall.lesson/1"}', "schema: found 'tapfall.lesson/1'; allowed"),
        ("{", "not JSON"),
    ],
)
def test_what_is_no_key(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "key.json").write_text(text)
    with pytest.raises(InputError) as caught:
        read_key(tmp_path / "key.json")
    assert message in str(caught.value)
