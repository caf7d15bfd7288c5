"""A cuff log as a stream of lines: the same CSV as a file, line by line as it comes.

The first line may be a header as in :mod:`tapfall.files.cufflog`; without one a line is
``time_s,mmHg``.  Rows before a fault are handed over before the fault is raised.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from tapfall.errors import CuffLogError
from tapfall.files.cufflog import MAX_LINE, Layout, layout_of, row_of
from tapfall.files.cuffrules import Column, check_rows
from tapfall.model import FloatArray


class CuffLines:
    """Turns bytes into rows, however the bytes are cut.

    Parameters
    ----------
    label
        The name of the stream, for messages.

    Examples
    --------
    >>> lines = CuffLines("pipe")
    >>> lines.take(b"0.0,181.2\\n0.1,1")
    >>> lines.next_s, lines.rows_until(1.0)
    (0.0, (array([0.]), array([181.2])))
    >>> lines.take(b"81.1\\n")
    >>> lines.rows_until(1.0)
    (array([0.1]), array([181.1]))
    """

    def __init__(self, label: str) -> None:
        self._label = label
        self._rest = b""
        self._lines = 0
        self._layout: Layout | None = None
        self._before: tuple[float, float] | None = None
        self._rows: deque[tuple[float, float]] = deque()
        self._fault: CuffLogError | None = None
        self.rows_seen = 0

    @property
    def next_s(self) -> float | None:
        """Time of the next row that is held.

        Raises
        ------
        CuffLogError
            No row is held, and what came next is none.
        """
        if self._rows:
            return self._rows[0][0]
        if self._fault is not None:
            raise self._fault
        return None

    def rows_until(self, time_s: float) -> tuple[FloatArray, FloatArray]:
        """Hand over the next row, and those that follow it up to a time.

        Returns
        -------
        times_s, pressures_mmhg
            Shape ``(k,)`` each, empty where no row is held.
        """
        found = [self._rows.popleft()] if self._rows else []
        while self._rows and self._rows[0][0] <= time_s:
            found.append(self._rows.popleft())
        table = np.array(found, np.float64).reshape(-1, 2)
        return table[:, 0].copy(), table[:, 1].copy()

    def take(self, data: bytes) -> None:
        """Take in the next bytes; a fault is kept until the rows before it are gone."""
        held = self._rest + data
        # A last "\r" waits for what follows: it may be half a line end.
        cut = max(held.rfind(b"\n"), held.rfind(b"\r", 0, -1)) + 1
        self._rest = held[cut:]
        self._take_lines(held[:cut].splitlines())
        if len(self._rest) > MAX_LINE:
            self._refuse(f"found more than {MAX_LINE} bytes; allowed at most {MAX_LINE} in a line")

    def end(self) -> int:
        """Take in that no more bytes come.

        A last line without an end is dropped, for it may have been cut: 18 mmHg of 181.

        Returns
        -------
        int
            How many bytes of it were dropped.
        """
        rest, self._rest = self._rest, b""
        if rest.endswith(b"\r"):
            self._take_lines(rest.splitlines())
            return 0
        return len(rest)

    def _refuse(self, text: str) -> None:
        """Keep the first fault."""
        if self._fault is None:
            self._fault = CuffLogError(f"{self._label}: line {self._lines + 1}: {text}")

    def _take_lines(self, lines: list[bytes]) -> None:
        for line in lines:
            if self._fault is not None:
                return
            try:
                self._take_line(line)
            except CuffLogError as fault:
                self._fault = fault
            self._lines += 1

    def _take_line(self, line: bytes) -> None:
        if len(line) > MAX_LINE:
            self._refuse(f"found more than {MAX_LINE} bytes; allowed at most {MAX_LINE} in a line")
            return
        try:
            text = (line.removeprefix(b"\xef\xbb\xbf") if self._lines == 0 else line).decode()
        except UnicodeDecodeError:
            self._refuse("found bytes that are not UTF-8; allowed UTF-8 text")
            return
        if not text.strip():
            return
        if self._layout is None:
            self._layout = _bare_layout(text)
            if self._layout is None:
                self._layout = layout_of(text, f"{self._label}: line {self._lines + 1}")
                return
        row = row_of(text, self._layout)
        if isinstance(row, str):
            self._refuse(row)
            return
        self._check(row, self._layout.column)
        self._before = row
        self.rows_seen += 1
        self._rows.append((row[0], row[1] * self._layout.column.mmhg_per_unit))

    def _check(self, row: tuple[float, float], column: Column) -> None:
        """Raise where a row is out of range or order; a repeated one is for the listener."""
        rows = np.array([row] if self._before is None else [self._before, row])
        numbers = np.full(len(rows), self._lines + 1)
        faults = check_rows(rows[:, 0], rows[:, 1], numbers, column)[1]
        if faults:
            raise CuffLogError(f"{self._label}: line {self._lines + 1}: {faults[0][1]}")


def _bare_layout(line: str) -> Layout | None:
    """Return the layout of a first line that is numbers already."""
    column = Column(name="pressure_mmHg", unit="mmHg", mmhg_per_unit=1.0)
    for delimiter in (",", ";", "\t"):
        layout = Layout(delimiter=delimiter, width=2, time=0, pressure=1, column=column)
        if not isinstance(row_of(line, layout), str):
            return layout
    return None
