"""Writing: every output is written beside its place, then renamed into it."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from tapfall.errors import InputError
from tapfall.files.names import PathLike, label_of


def check_writable(path: PathLike, inputs: tuple[PathLike, ...] = ()) -> None:
    """Raise before any work starts if an output cannot be written.

    Parameters
    ----------
    path
        The output to be.
    inputs
        Files that must not be overwritten.

    Raises
    ------
    InputError
        The folder is missing or closed, the name belongs to a folder or a
        device, or the output is one of the inputs.

    Examples
    --------
    >>> try:
    ...     check_writable("no_such_folder/arm.json")
    ... except InputError as fault:
    ...     print(str(fault).partition(";")[0])
    no_such_folder/arm.json: cannot be written (No such file or directory)
    """
    with _told(path):
        target = _place(path)
        for name in inputs:
            if target.exists() and Path(name).exists() and target.samefile(name):
                raise InputError(
                    f"{label_of(path)}: found an input; allowed an output that overwrites no input"
                )
        _new_draft(target).unlink()


def check_new(path: PathLike, allowed: str) -> None:
    """Raise if something stands where an output is to go that cannot be made again.

    Parameters
    ----------
    path
        The output to be.
    allowed
        What may be done instead.

    Raises
    ------
    InputError
        There is something of that name, be it a link that leads nowhere.

    Examples
    --------
    >>> check_new("no_such_key.json", "another name")
    """
    if os.path.lexists(path):
        raise InputError(f"{label_of(path)}: found there already; allowed {allowed}")


def write_atomically(path: PathLike, fill: Callable[[Path], None]) -> None:
    """Let ``fill`` write a temporary file beside ``path``, then rename it.

    Parameters
    ----------
    path
        The output; replaced if it exists, followed if it is a symbolic link.
    fill
        Writes the file it is given; its name has the suffix of ``path``.

    Raises
    ------
    InputError
        The file cannot be written; nothing is left behind.
    """
    _fill_together({path: fill})


def write_together(files: Mapping[PathLike, bytes]) -> None:
    """Write several files, all of them complete or none.

    Each is written beside its place; they are renamed into their places, in order, once
    all are written.

    Parameters
    ----------
    files
        The whole content of each, by its name; what stood there is replaced.

    Raises
    ------
    InputError
        One of them cannot be written; no new file is left behind.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder)
    ...     write_together({path / "arm.csv": b"0,150", path / "arm.txt": b"150/90"})
    ...     sorted(file.name for file in path.iterdir())
    ['arm.csv', 'arm.txt']
    """
    _fill_together({path: partial(_fill_bytes, data) for path, data in files.items()})


def _fill_bytes(data: bytes, draft: Path) -> None:
    draft.write_bytes(data)


def _fill_together(fills: Mapping[PathLike, Callable[[Path], None]]) -> None:
    drafts: list[tuple[PathLike, Path, Path]] = []
    placed: list[Path] = []
    try:
        for path, fill in fills.items():
            with _told(path):
                target = _place(path)
                drafts.append((path, _new_draft(target), target))
                fill(drafts[-1][1])
        for path, draft, target in drafts:
            with _told(path):
                new = not target.exists()
                draft.replace(target)
                placed += [target] * new
        placed.clear()
    finally:
        for left in (*placed, *(draft for _, draft, _ in drafts)):
            left.unlink(missing_ok=True)


@contextmanager
def _told(path: PathLike) -> Iterator[None]:
    """Say of which file a fault is."""
    try:
        yield
    except InputError:
        raise
    except (OSError, ValueError) as fault:
        raise _unwritable(label_of(path), fault) from None


def write_bytes(path: PathLike, data: bytes) -> None:
    """Write bytes to ``path``, complete or not at all.

    Parameters
    ----------
    path
        The file to write; what stood there is replaced.
    data
        Its whole content.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "note.txt"
    ...     write_bytes(path, b"120/76")
    ...     path.read_bytes()
    b'120/76'
    """
    write_together({path: data})


def json_text(value: Any) -> str:
    """Return indented JSON, one trailing line break, never NaN.

    Examples
    --------
    >>> print(json_text({"mmHg": 120.0}), end="")
    {
      "mmHg": 120.0
    }
    """
    return json.dumps(value, indent=2, allow_nan=False) + "\n"


def write_json(path: PathLike, value: Any) -> None:
    """Write ``value`` as JSON, complete or not at all.

    Parameters
    ----------
    path
        The file to write; what stood there is replaced.
    value
        JSON values: dict, list, str, number, bool or None.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "note.json"
    ...     write_json(path, {"systolic_mmHg": 120.0})
    ...     "120.0" in path.read_text()
    True
    """
    write_bytes(path, json_text(value).encode("ascii"))


def _place(path: PathLike) -> Path:
    label = label_of(path)
    if not os.fspath(path):
        raise InputError(f"{label}: found an empty name; allowed the name of a file to write")
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise InputError(f"{label}: found a folder; allowed the name of a file to write")
    if target.exists() and not target.is_file():
        raise InputError(f"{label}: found a pipe or device; allowed the name of a file to write")
    return target


def _new_draft(target: Path) -> Path:
    draft = target.with_name(f".tapfall-{os.urandom(8).hex()}{target.suffix}")
    draft.touch(exist_ok=False)
    return draft


def _unwritable(label: str, fault: Exception) -> InputError:
    reason = fault.strerror if isinstance(fault, OSError) else str(fault)
    return InputError(f"{label}: cannot be written ({reason}); allowed a file in a writable folder")
