"""Measurements among the rows of a log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tapfall.model import FloatArray

#: Below this the cuff is at rest (definition of a measurement).
REST_MMHG = 15.0
#: A measurement ends at a rest of this length (definition).
REST_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of one measurement: judged up to ``stop``, over at ``end``.

    ``rested`` tells whether the rest that ends it is among them.
    """

    begin: int
    stop: int
    end: int
    rested: bool

    @property
    def cut_short(self) -> bool:
        """Whether it is longer than allowed."""
        return self.stop < self.end

    def later(self, dropped: int) -> Rows:
        """The same rows after others before them were dropped."""
        return replace(
            self, begin=self.begin - dropped, stop=self.stop - dropped, end=self.end - dropped
        )


def measurements(log_s: FloatArray, log_mmhg: FloatArray, longest_s: float) -> list[Rows]:
    """Find the measurements of a log.

    Parameters
    ----------
    log_s, log_mmhg
        Rows, shape ``(n,)``.
    longest_s
        What lasts longer is judged up to here only.

    Returns
    -------
    list of Rows
        In order of time; the last may go on.

    Examples
    --------
    >>> t = np.arange(20.0)
    >>> measurements(t, np.where((t > 3) & (t < 9), 100.0, 0.0), 300.0)
    [Rows(begin=4, stop=15, end=15, rested=True)]
    """
    found: list[Rows] = []
    after = 0
    while True:
        high = np.flatnonzero(log_mmhg[after:] >= REST_MMHG)
        if high.size == 0:
            return found
        begin = after + int(high[0])
        ended, _ = rest_ends(log_s[begin:], log_mmhg[begin:], None)
        after = log_s.size if ended is None else begin + ended + 1
        cut = int(np.searchsorted(log_s, log_s[begin] + longest_s))
        found.append(Rows(begin=begin, stop=min(after, cut), end=after, rested=ended is not None))


def measurement_bounds(time_s: FloatArray, pressure_mmhg: FloatArray) -> list[tuple[int, int]]:
    """Cut a log into measurements, however long they are.

    Parameters
    ----------
    time_s, pressure_mmhg
        Log of shape ``(n,)``.

    Returns
    -------
    list of (int, int)
        Half-open row ranges, each from the row where the cuff leaves rest to
        the row that completes a rest of 5 s, or the end of the log.

    Examples
    --------
    >>> t = np.arange(20.0)
    >>> p = np.where((t > 3) & (t < 9), 100.0, 0.0)
    >>> measurement_bounds(t, p)
    [(4, 15)]
    """
    return [(one.begin, one.end) for one in measurements(time_s, pressure_mmhg, np.inf)]


def rest_ends(
    time_s: FloatArray, pressure_mmhg: FloatArray, since_s: float | None
) -> tuple[int | None, float | None]:
    """Find the row that completes a rest of 5 s.

    Parameters
    ----------
    time_s, pressure_mmhg
        Log of shape ``(n,)``.
    since_s
        Since when the cuff rests already, ``None`` where it does not.

    Returns
    -------
    row : int or None
        The first row that completes a rest, ``None`` without one.
    since_s : float or None
        Since when the cuff rests at the last row.

    Examples
    --------
    >>> rest_ends(np.arange(8.0), np.array([90.0, 0, 0, 0, 0, 0, 0, 0]), None)
    (6, None)
    """
    low = pressure_mmhg < REST_MMHG
    sides = np.flatnonzero(np.diff(low, prepend=since_s is not None))
    for row in [*sides.tolist(), time_s.size]:
        # Between two of these rows the cuff stays on one side of the rest pressure.
        if since_s is not None:
            ended = int(np.searchsorted(time_s, since_s + REST_S))
            if ended < row:
                return ended, None
        if row < time_s.size:
            since_s = float(time_s[row]) if low[row] else None
    return None, since_s
