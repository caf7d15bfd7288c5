"""Beats that a blinded observer heard, and how they match those of a reading.

A file of marks is CSV with the columns ``time_s`` (audio time at which the sound starts),
``heard`` (``1`` or ``yes``, ``0`` or ``no``) and, if wanted, ``phase`` (``silent``, ``K1``
to ``K4``, ``gap``, or nothing), in any order.  Order of arguments is (reference, estimate).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy.optimize import linear_sum_assignment

from tapfall.errors import InputError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.numbers import number_of
from tapfall.files.rows import read_rows, width_fault
from tapfall.model import Phase

#: Largest file, bytes, and most marks in it: ten minutes of fast beats (our choice).
MAX_BYTES, MAX_MARKS = 1_000_000, 2000
#: Farthest that a mark and a beat may lie apart, seconds: half of the shortest interval
#: between beats at 200 per minute (our choice).
MATCH_S = 0.150
#: From this probability on a beat of a reading counts as heard.
HEARD = 0.5

_WANTED = "marks of beats (CSV with the columns time_s and heard, and if wanted phase)"
_YES_NO = {"1": True, "yes": True, "0": False, "no": False}
_PHASES = {phase.lower(): phase for phase in Phase}
_LONGEST_S = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One beat as an observer marked it, or a reading has it."""

    time_s: float
    heard: bool
    phase: Phase | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatCounts:
    """How the heard beats of an estimate match those of a reference.

    Parameters
    ----------
    hits, false, missed
        In both; in the estimate only; in the reference only.
    onsets_s
        Estimate minus reference of each hit, in order of time.
    phases_same, phases_compared
        Hits with one phase in both, of those with a phase in both.
    """

    hits: int = 0
    false: int = 0
    missed: int = 0
    onsets_s: tuple[float, ...] = ()
    phases_same: int = 0
    phases_compared: int = 0

    @classmethod
    def total(cls, counts: Sequence[BeatCounts]) -> BeatCounts:
        """Add up the counts of several recordings."""
        return cls(
            hits=sum(one.hits for one in counts),
            false=sum(one.false for one in counts),
            missed=sum(one.missed for one in counts),
            onsets_s=tuple(chain.from_iterable(one.onsets_s for one in counts)),
            phases_same=sum(one.phases_same for one in counts),
            phases_compared=sum(one.phases_compared for one in counts),
        )

    @property
    def precision(self) -> float | None:
        """Share of the estimate's beats that are in the reference."""
        found = self.hits + self.false
        return self.hits / found if found else None

    @property
    def recall(self) -> float | None:
        """Share of the reference's beats that are in the estimate."""
        wanted = self.hits + self.missed
        return self.hits / wanted if wanted else None

    @property
    def f1(self) -> float | None:
        """Twice the hits, of the beats of both."""
        both = 2 * self.hits + self.false + self.missed
        return 2 * self.hits / both if both else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """First and last heard beat of an estimate against those of a reference.

    ``_beats`` is how many beats later (a positive first one is heard too late), ``_mmhg``
    how much higher the cuff was.
    """

    first_beats: int
    first_mmhg: float
    last_beats: int
    last_mmhg: float


def read_marks(path: PathLike) -> tuple[Mark, ...]:
    """Read the marks of one observer.

    Parameters
    ----------
    path
        The file, UTF-8, at most 1 MB and 2000 marks; times increase.

    Raises
    ------
    InputError
        A column is missing, or a cell is not what is allowed; the message names the line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "marks.csv"
    ...     _ = path.write_text("time_s,heard,phase\\n12.31,1,K1\\n13.11,0,\\n")
    ...     read_marks(path)[0]
    Mark(time_s=12.31, heard=True, phase=<Phase.K1: 'K1'>)
    """
    label = label_of(path)
    rows, delimiter = read_rows(path, _WANTED, MAX_BYTES)
    line, names = rows[0]
    header = [name.lower() for name in names]
    if any(header.count(name) != 1 for name in ("time_s", "heard")) or header.count("phase") > 1:
        found = shown(",".join(names))
        raise InputError(f"{label}: line {line}: found the columns {found}; allowed {_WANTED}")
    if len(rows) - 1 > MAX_MARKS:
        raise InputError(f"{label}: found {len(rows) - 1} marks; allowed at most {MAX_MARKS}")
    marks: list[Mark] = []
    faults: list[str] = []
    for line, cells in rows[1:]:
        try:
            marks.append(_mark(header, cells, delimiter, marks[-1].time_s if marks else -math.inf))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    return tuple(marks)


def _mark(header: list[str], cells: list[str], delimiter: str, after_s: float) -> Mark:
    if len(cells) != len(header):
        raise InputError(width_fault(cells, len(header)))
    row = dict(zip(header, cells, strict=True))
    time_s = number_of(row["time_s"], comma=delimiter != ",")
    if time_s is None or not 0.0 <= time_s <= _LONGEST_S:
        raise InputError(f"time_s: found {shown(row['time_s'])}; allowed seconds of the sound")
    if time_s <= after_s:
        raise InputError(f"time_s: found {time_s:g} after {after_s:g}; allowed times that increase")
    heard, phase = _YES_NO.get(row["heard"].lower()), row.get("phase", "").lower()
    if heard is None:
        raise InputError(f"heard: found {shown(row['heard'])}; allowed {', '.join(_YES_NO)}")
    if phase and phase not in _PHASES:
        raise InputError(
            f"phase: found {shown(row['phase'])}; allowed {', '.join(Phase)} or nothing"
        )
    return Mark(time_s=time_s, heard=heard, phase=_PHASES.get(phase))


def match(reference: Sequence[Mark], estimate: Sequence[Mark]) -> BeatCounts:
    """Match the heard beats of two listeners one to one.

    Parameters
    ----------
    reference, estimate
        Marks of the same recording; those not heard do not count.

    Returns
    -------
    BeatCounts
        Of the matching with the most pairs within :data:`MATCH_S`, the nearest.

    Examples
    --------
    >>> one = [Mark(time_s=t, heard=True) for t in (1.0, 1.8, 2.6)]
    >>> two = [Mark(time_s=t, heard=True) for t in (1.02, 1.79, 3.4)]
    >>> found = match(one, two)
    >>> found.hits, found.false, found.missed
    (2, 1, 1)
    """
    first = [mark for mark in reference if mark.heard]
    second = [mark for mark in estimate if mark.heard]
    pairs: list[tuple[Mark, Mark]] = []
    if first and second:
        apart = np.abs(
            np.array([mark.time_s for mark in first])[:, None]
            - np.array([mark.time_s for mark in second])[None, :]
        )
        # A pair too far apart costs more than any number of pairs can save.
        cost = np.where(apart <= MATCH_S, apart, float(MAX_MARKS))
        pairs = [
            (first[row], second[column])
            for row, column in zip(*linear_sum_assignment(cost), strict=True)
            if apart[row, column] <= MATCH_S
        ]
    phases = [(a.phase, b.phase) for a, b in pairs if a.phase is not None and b.phase is not None]
    return BeatCounts(
        hits=len(pairs),
        false=len(second) - len(pairs),
        missed=len(first) - len(pairs),
        onsets_s=tuple(b.time_s - a.time_s for a, b in pairs),
        phases_same=sum(a == b for a, b in phases),
        phases_compared=len(phases),
    )


def edges_of(
    reference: Sequence[Mark],
    estimate: Sequence[Mark],
    clock: Sequence[Mark],
    cuff_mmhg: Sequence[float],
) -> Edges | None:
    """Return how first and last heard beats of two listeners lie to each other.

    Parameters
    ----------
    reference, estimate
        Marks of the same recording; those not heard do not count.
    clock, cuff_mmhg
        All beats of the recording, also silent ones, and the pressure at each.

    Returns
    -------
    Edges or None
        None where one of them heard nothing, or a beat lies outside the clock by more than
        half of an interval: no pressure is known there.

    Examples
    --------
    >>> beats = [Mark(time_s=float(t), heard=1 < t < 6) for t in range(8)]
    >>> late = [Mark(time_s=t + 0.05, heard=True) for t in (3, 4, 5, 6)]
    >>> found = edges_of(beats, late, beats, [150.0 - 2.0 * t for t in range(8)])
    >>> found.first_beats, round(found.first_mmhg, 2), found.last_beats
    (1, -2.0, 1)
    """
    first = [mark.time_s for mark in reference if mark.heard]
    second = [mark.time_s for mark in estimate if mark.heard]
    if not first or not second or len(clock) < 2:
        return None
    times = np.array([mark.time_s for mark in clock])
    half_s = float(np.median(np.diff(times))) / 2.0
    ends = np.array([first[0], second[0], first[-1], second[-1]])
    if ends.min() < times[0] - half_s or ends.max() > times[-1] + half_s:
        return None
    beats = np.rint(np.interp(ends, times, np.arange(len(times)))).astype(int).tolist()
    pressures = [float(cuff_mmhg[beat]) for beat in beats]
    return Edges(
        first_beats=beats[1] - beats[0],
        first_mmhg=pressures[1] - pressures[0],
        last_beats=beats[3] - beats[2],
        last_mmhg=pressures[3] - pressures[2],
    )
