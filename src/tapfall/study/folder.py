"""The folder of a study: one writer at a time, and rows that outlive being killed.

``results.csv`` grows by whole lines.  A row follows its reading's file, so a row without
an intact reading, or a last line without its end, is a recording that was not finished.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from tapfall.errors import InputError
from tapfall.files.names import PathLike, label_of
from tapfall.files.tables import Cell, cell_text, table_text
from tapfall.files.writing import json_text, write_bytes
from tapfall.study.rows import COLUMNS, FAILED, READ

RESULTS, READINGS, LOCK = "results.csv", "readings", ".tapfall-study.lock"

#: What a table of pairs has beside it once its agreement was computed.
AGREEMENTS = {f"{name}.csv": f"{name}-agreement.json" for name in ("pairs", "observers")}
#: What else a study writes, after its results are begun.
TABLES = (
    *AGREEMENTS,
    *(f"{name}.csv" for name in ("errors", "beats", "breakdown")),
    *("digits.csv", "calibration.csv", "study.json"),
    *AGREEMENTS.values(),
)

#: Columns that tell what was done before.
_TELLING = ("recording", "outcome", "reason", "measurements", "simulated", "reading_sha256", "key")


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What an earlier run says of a recording."""

    outcome: str
    reason: str
    measurements: int
    simulated: bool
    reading_sha256: str
    key: str


@contextmanager
def locked(folder: PathLike) -> Iterator[Path]:
    """Make a folder and hold it for one study; the system lets go of it when that dies.

    Raises
    ------
    InputError
        It cannot be made or locked, or another study is at work in it.
    """
    label = label_of(folder)
    if not os.fspath(folder):
        raise InputError(f"{label}: found an empty name; allowed a folder to write in")
    home = Path(folder)
    try:
        (home / READINGS).mkdir(parents=True, exist_ok=True)
        file = (home / LOCK).open("a+b")
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise InputError(
            f"{label}: cannot be written in ({reason}); allowed a folder to write in"
        ) from None
    # Never deleted: another could lock the deleted file while a third makes it anew.
    with file:
        _lock(file, label)
        yield home


def _lock(file: IO[bytes], label: str) -> None:
    try:
        if os.name == "posix":
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        else:  # pragma: no cover - other systems
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    except (BlockingIOError, PermissionError):
        raise InputError(
            f"{label}: found another study at work in this folder; allowed one at a time"
        ) from None
    except OSError as fault:
        raise InputError(
            f"{label}: cannot be locked ({fault.strerror}); allowed a folder that can be"
        ) from None


def read_before(home: Path) -> dict[str, Before]:
    """Return what earlier runs say, by the recording as it is written; broken rows say nothing.

    Raises
    ------
    InputError
        There is a ``results.csv`` that no study wrote, or none beside what a study would
        overwrite.
    """
    path = home / RESULTS
    if not os.path.lexists(path):
        _check_free(home)
        return {}
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise InputError(  # a pipe would be waited for
            f"{label_of(path)}: found a pipe or device; allowed the results of a study"
        )
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise InputError(
            f"{label_of(path)}: cannot be opened ({fault.strerror}); allowed the results of a study"
        ) from None
    lines = data.split(b"\n")[:-1]  # what follows the last line end was not finished
    header = _cells(lines[0]) if lines else None
    if header is None or any(name not in header for name in (*_TELLING, *COLUMNS)):
        raise InputError(
            f"{label_of(path)}: found a file that no study wrote; allowed the folder of a study, "
            "or a new one"
        )
    found: dict[str, Before] = {}
    for line in lines[1:]:
        cells = _cells(line)
        if cells is None or len(cells) != len(header):
            continue
        row = dict(zip(header, cells, strict=True))
        count = row["measurements"]
        found[row["recording"]] = Before(
            outcome=row["outcome"],
            reason=_plain(row["reason"]),
            measurements=int(count) if count.isascii() and count.isdigit() else 0,
            simulated=row["simulated"] == cell_text(True),
            reading_sha256=row["reading_sha256"],
            key=row["key"],
        )
    return found


def _check_free(home: Path) -> None:
    """Refuse to begin where files of a study's names are those of somebody else."""
    there = [home / name for name in TABLES if os.path.lexists(home / name)]
    try:
        there += sorted((home / READINGS).iterdir())
    except OSError as fault:
        raise InputError(
            f"{label_of(home / READINGS)}: cannot be opened ({fault.strerror}); allowed a folder "
            "of readings"
        ) from None
    for path in there[:1]:
        raise InputError(
            f"{label_of(path)}: found without the {RESULTS} of a study; allowed the folder of a "
            "study, or a new one"
        )


def intact(home: Path, file_name: str, before: Before) -> bytes | None:
    """Return the file of a reading as it was written, ``None`` where it is not."""
    if before.outcome != READ:
        return None
    path = home / READINGS / f"{file_name}.json"
    if not path.is_file():
        return None
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return data if hashlib.sha256(data).hexdigest() == before.reading_sha256 else None


def keeps(before: Before) -> bool:
    """Whether a failure stands for as long as its files are the same."""
    return before.outcome == FAILED and bool(before.key)


def write_reading_file(home: Path, file_name: str, record: dict[str, Any]) -> str:
    """Write the file of a reading and return its hash."""
    data = json_text(record).encode("ascii")
    write_bytes(home / READINGS / f"{file_name}.json", data)
    return hashlib.sha256(data).hexdigest()


def read_reading_file(home: Path, file_name: str) -> dict[str, Any]:
    """Return the JSON values of a reading that this study wrote.

    Raises
    ------
    InputError
        Somebody changed it meanwhile.
    """
    path = home / READINGS / f"{file_name}.json"
    try:
        found: dict[str, Any] = json.loads(path.read_bytes())
    except (OSError, ValueError):
        raise InputError(
            f"{label_of(path)}: found no reading where this study wrote one; allowed a folder "
            "that nobody else writes in"
        ) from None
    return found


def remove_reading_file(home: Path, file_name: str) -> None:
    """Remove the file of a reading, if there is one.

    Raises
    ------
    InputError
        It cannot be removed.
    """
    _remove(home / READINGS / f"{file_name}.json")


def begin_results(
    home: Path, columns: Sequence[str], rows: Iterable[Sequence[Cell]], *, more: bool
) -> None:
    """Begin the results with what holds already; with ``more`` others will follow.

    Where the results then differ from those of before, the tables made of those are removed
    first: at no moment does a folder hold tables that contradict its results.

    Raises
    ------
    InputError
        A file cannot be removed or written.
    """
    data, path = _results(columns, rows), home / RESULTS
    if more or not path.is_file() or path.read_bytes() != data:
        for name in TABLES:
            _remove(home / name)
    write_bytes(path, data)


def write_results(home: Path, columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
    """Write all results anew, complete or not at all."""
    write_bytes(home / RESULTS, _results(columns, rows))


def _results(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    return table_text([cell_text(name) for name in (*columns, *COLUMNS)], rows).encode("utf-8")


def write_table(home: Path, name: str, text: str) -> None:
    """Write a table, complete or not at all; an agreement computed from another is removed.

    Raises
    ------
    InputError
        A file cannot be removed or written.
    """
    data, path = text.encode("utf-8"), home / name
    if name in AGREEMENTS and not (path.is_file() and path.read_bytes() == data):
        _remove(home / AGREEMENTS[name])
    write_bytes(path, data)


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as fault:
        raise InputError(
            f"{label_of(path)}: cannot be removed ({fault.strerror}); allowed a writable folder"
        ) from None


class Appending:
    """The results, open for more rows; each is on the disk when ``add`` returns."""

    def __init__(self, home: Path) -> None:
        self._path = home / RESULTS
        self._descriptor = os.open(self._path, os.O_WRONLY | os.O_APPEND)

    def __enter__(self) -> Appending:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._descriptor)

    def add(self, row: Sequence[Cell]) -> None:
        """Add one row.

        Raises
        ------
        InputError
            It cannot be written.
        """
        line = table_text([cell_text(cell) for cell in row], ()).encode("utf-8")
        try:
            while line:
                line = line[os.write(self._descriptor, line) :]
            os.fsync(self._descriptor)
        except OSError as fault:
            raise InputError(
                f"{label_of(self._path)}: cannot be written ({fault.strerror}); allowed a place "
                "with room"
            ) from None


def _cells(line: bytes) -> list[str] | None:
    try:
        text = line.decode("utf-8")
        (row,) = csv.reader(io.StringIO(text.removesuffix("\r"), newline=""), strict=True)
    except (UnicodeDecodeError, ValueError, csv.Error):
        return None
    return row


def _plain(cell: str) -> str:
    """A text as it was before it was kept from being a formula."""
    rest = cell[1:]
    return rest if cell.startswith("'") and cell_text(rest) == cell else cell
