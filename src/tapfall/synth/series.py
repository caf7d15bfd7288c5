"""Beats of a real heart from a file, as the intervals of a person's rhythm.

CSV with a header.  The column ``interval_s`` holds intervals from beat to beat, or the
column ``beat_time_s`` the times of the beats, both in seconds; other columns are left
aside.  Cells are parted by commas, semicolons or tabs, with decimal commas where it is not
by commas.
"""

from __future__ import annotations

from itertools import pairwise

from tapfall.errors import ScenarioError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.numbers import number_of
from tapfall.files.rows import Row, read_rows, width_fault
from tapfall.synth.scenario import LONGEST_INTERVAL_S, SHORTEST_INTERVAL_S

#: Columns, of which a file has one.
INTERVALS, TIMES = "interval_s", "beat_time_s"

#: Most intervals of a series: about an hour, and a scenario that holds them can be loaded
#: (our choice).  Largest file, bytes (our choice: a line takes 20 to 30).
MOST_INTERVALS, LARGEST_BYTES = 4000, 1_000_000

#: Decimals kept of an interval, seconds.
DECIMALS = 6

_WANTED = f"a CSV with a column {INTERVALS} or {TIMES}"
_RANGE = f"{SHORTEST_INTERVAL_S:g} to {LONGEST_INTERVAL_S:g} s"


def read_intervals(path: PathLike) -> tuple[float, ...]:
    """Read beat intervals from a file.

    Parameters
    ----------
    path
        The file, UTF-8, at most 1 MB and 4000 intervals.

    Returns
    -------
    tuple of float
        Intervals in seconds, to the microsecond.

    Raises
    ------
    ScenarioError
        The file cannot be read, has none or both of the columns, or a beat follows the one
        before it by less than 0.25 or more than 4 s; the message names file and line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "beats.csv"
    ...     _ = path.write_text("beat_time_s,symbol\\n0.0,N\\n0.81,N\\n1.65,N\\n")
    ...     read_intervals(path)
    (0.81, 0.84)
    """
    label = label_of(path)
    rows, delimiter = read_rows(path, _WANTED, LARGEST_BYTES, ScenarioError)
    column, place = _column(label, rows[0])
    width, numbers, faults = len(rows[0][1]), [], []
    for line, cells in rows[1:]:
        try:
            numbers.append((line, _number(cells, width, column, place, delimiter)))
        except ScenarioError as fault:
            faults.append(f"line {line}: {fault}")
    if not faults:
        numbers = _intervals(numbers) if column == TIMES else numbers
        faults = [
            f"line {line}: found {interval_s:g} s from beat to beat; allowed {_RANGE}"
            for line, interval_s in numbers
            if not SHORTEST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S
        ]
    if faults:
        raise ScenarioError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    if not 1 <= len(numbers) <= MOST_INTERVALS:
        raise ScenarioError(
            f"{label}: found {len(numbers)} intervals; allowed 1 to {MOST_INTERVALS}"
        )
    return tuple(interval_s for _, interval_s in numbers)


def _column(label: str, header: Row) -> tuple[str, int]:
    line, names = header
    found = [(name, place) for place, name in enumerate(names) if name in (INTERVALS, TIMES)]
    if len(found) != 1:
        raise ScenarioError(
            f"{label}: line {line}: found {len(found)} such columns in "
            f"{shown(','.join(names))}; allowed {_WANTED}"
        )
    return found[0]


def _number(cells: list[str], width: int, column: str, place: int, delimiter: str) -> float:
    if len(cells) != width:
        raise ScenarioError(width_fault(cells, width))
    cell = cells[place]
    number = number_of(cell, comma=delimiter != ",")
    if number is None:
        raise ScenarioError(f"{column}: found {shown(cell)}; allowed a number of seconds")
    return round(number, DECIMALS)


def _intervals(times: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """The interval before each beat but the first, at the beat's line."""
    return [
        (line, round(time_s - before_s, DECIMALS))
        for (_, before_s), (line, time_s) in pairwise(times)
    ]
