"""The list of a visit: CSV that names the recordings, with arm and time of each.

The header names the columns ``audio`` and ``cuff`` and, if wanted, ``arm`` (``left``,
``right`` or empty), ``time`` (a day and time such as ``2026-03-31T09:15``, or empty),
``arm_cm`` and ``cuff_size`` (as on the command line, or empty), in any order and case.
Cells are parted by commas, semicolons or tabs.  Names are those of files in the folder of
the list or below it; they never lead out of it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from tapfall.errors import InputError, fault_text, shown
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.files.rows import check_row_count, columns_of, first_filled, read_rows, width_fault

#: Columns that have to be there, and those that may.
NEEDED = ("audio", "cuff")
COLUMNS = (*NEEDED, "arm", "time", "arm_cm", "cuff_size")
ARMS = ("left", "right")

#: Largest list, bytes, and most recordings in it (our choice: far above any visit).
MAX_BYTES, MAX_ROWS = 1_000_000, 1000

_WANTED = "a list of recordings (CSV with the columns audio and cuff)"


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedRecording:
    """One row of the list: names and sizes as written, not yet looked for."""

    line: int
    audio: str
    cuff: str
    arm: str | None
    time: datetime | None
    arm_cm: str
    cuff_size: str


def read_visit_list(path: PathLike) -> tuple[ListedRecording, ...]:
    """Read the list of a visit.

    Parameters
    ----------
    path
        The file, UTF-8, at most 1 MB and 1000 rows.

    Returns
    -------
    tuple of ListedRecording
        In the order of the file.

    Raises
    ------
    InputError
        A column is missing or unknown, or a cell is not what is allowed; the message
        names the line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "visit.csv"
    ...     _ = path.write_text("audio,cuff,arm\\na.wav,a.csv,left\\n")
    ...     read_visit_list(path)[0].arm
    'left'
    """
    label = label_of(path)
    rows, _ = read_rows(path, _WANTED, MAX_BYTES)
    columns = columns_of(label, rows[0], COLUMNS, NEEDED, _WANTED)
    check_row_count(label, rows, MAX_ROWS, InputError)
    found: list[ListedRecording] = []
    faults: list[str] = []
    for line, cells in rows[1:]:
        try:
            found.append(_listed(line, cells, columns))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    return tuple(found)


def is_visit_list(path: PathLike) -> bool:
    """Whether a file begins like the list of a visit: its header has a column ``audio``."""
    try:
        with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
            head = file.read(4096).decode("utf-8-sig", "replace")
    except InputError:
        return False
    first = first_filled(head)
    for delimiter in "\t;":
        first = first.replace(delimiter, ",")
    return "audio" in [cell.strip().strip('"').lower() for cell in first.split(",")]


def inside(folder: PathLike, name: str) -> Path:
    """Return the place of a file that a list names, in the list's folder or below it.

    Raises
    ------
    InputError
        The name is empty, absolute, or leads out of the folder, also by a link.
    """
    if not name:
        raise InputError("found an empty name; allowed the name of a file")
    if "\0" in name:
        raise InputError(f"{shown(name)}: found a zero byte; allowed the name of a file")
    place = Path(folder) / name
    if Path(name).is_absolute() or not Path(os.path.realpath(place)).is_relative_to(
        os.path.realpath(folder)
    ):
        raise InputError(
            f"{shown(name)}: found a name outside the folder of the list; allowed names inside it"
        )
    return place


def _listed(line: int, cells: list[str], columns: tuple[str, ...]) -> ListedRecording:
    if len(cells) != len(columns):
        raise InputError(width_fault(cells, len(columns)))
    cell = dict(zip(columns, cells, strict=True))
    arm, time = cell.get("arm", "").lower(), cell.get("time", "")
    if arm and arm not in ARMS:
        raise InputError(f"arm: found {shown(arm)}; allowed {', '.join(ARMS)} or nothing")
    return ListedRecording(
        line=line,
        audio=cell["audio"],
        cuff=cell["cuff"],
        arm=arm or None,
        time=_time(time) if time else None,
        arm_cm=cell.get("arm_cm", ""),
        cuff_size=cell.get("cuff_size", ""),
    )


def _time(text: str) -> datetime:
    try:
        if len(text) > len("2026-03-31"):
            return datetime.fromisoformat(text)
    except ValueError:
        pass
    raise InputError(
        f"time: found {shown(text)}; allowed a day and time such as 2026-03-31T09:15, or nothing"
    )
