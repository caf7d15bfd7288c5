"""The rows of a table of pairs, kept as columns: a million of them take a few arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray

#: Observers farther apart than this give no reference (ISO 81060-2, from memory).
APART_MMHG = 4.0
#: Decimals as they are written are no exact numbers.
SLACK_MMHG = 1e-9
#: Columns that hold names; each name is kept once.
NAMES = ("subject", "condition", "measure", "sex", "cuff_size")

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
_BOUND = {1: ">=", -1: "<=", 0: ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: None where a cell is empty; ``bound`` is ``>=``, ``<=`` or empty.

    ``apart`` rows have no reference because two observers are too far apart; of ``simulated``
    ones it is known that no person was measured.
    """

    reference_mmhg: float | None
    estimate_mmhg: float | None
    bound: str = ""
    subject: str | None = None
    condition: str = ""
    measure: str = ""
    confidence: float | None = None
    apart: bool = False
    simulated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Column:
    """Names, each once, and which of them each row has, shape (n,)."""

    names: tuple[str, ...]
    codes: IntArray

    def take(self, at: Any) -> Column:
        """Return the column of some of the rows."""
        return replace(self, codes=self.codes[at])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """The rows in the order of the file as columns, shape (n,); not a number where empty.

    ``reference_mmhg`` is ``first_mmhg`` or, where there are two observers, the mean of both;
    ``bound`` is 1 for ``>=``, -1 for ``<=``, 0 for a number; ``named`` holds the columns of
    names that the file has.
    """

    columns: tuple[str, ...]
    sha256: str
    first_mmhg: FloatArray
    second_mmhg: FloatArray | None
    reference_mmhg: FloatArray
    apart: BoolArray
    estimate_mmhg: FloatArray
    bound: NDArray[np.int8]
    confidence: FloatArray
    age_years: FloatArray
    arm_cm: FloatArray
    simulated: BoolArray
    named: dict[str, Column]

    def __len__(self) -> int:
        return len(self.estimate_mmhg)

    @property
    def conditions(self) -> tuple[str, ...]:
        """Every condition, in the order of the file."""
        return self.named["condition"].names if "condition" in self.named else ("",)

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows one by one."""
        return tuple(self._row(place) for place in range(len(self)))

    def take(self, at: Any) -> Table:
        """Return a table of some of the rows, by a mask or by their places."""
        return replace(
            self,
            first_mmhg=self.first_mmhg[at],
            second_mmhg=None if self.second_mmhg is None else self.second_mmhg[at],
            reference_mmhg=self.reference_mmhg[at],
            apart=self.apart[at],
            estimate_mmhg=self.estimate_mmhg[at],
            bound=self.bound[at],
            confidence=self.confidence[at],
            age_years=self.age_years[at],
            arm_cm=self.arm_cm[at],
            simulated=self.simulated[at],
            named={name: column.take(at) for name, column in self.named.items()},
        )

    def parts(self, name: str) -> list[tuple[str, Table]]:
        """Return the table by the names of a column, in the order of the file."""
        column = self.named.get(name)
        if column is None:
            return [("", self)]
        if len(column.names) == 1:
            return [(column.names[0], self)] if len(self) else []
        present = np.bincount(column.codes, minlength=len(column.names))
        return [
            (one, self.take(np.flatnonzero(column.codes == code)))
            for code, one in enumerate(column.names)
            if present[code]
        ]

    def _row(self, place: int) -> Row:
        name = {key: one.names[one.codes[place]] for key, one in self.named.items()}
        return Row(
            reference_mmhg=_or_none(self.reference_mmhg[place]),
            estimate_mmhg=_or_none(self.estimate_mmhg[place]),
            bound=_BOUND[int(self.bound[place])],
            subject=name.get("subject"),
            condition=name.get("condition", ""),
            measure=name.get("measure", ""),
            confidence=_or_none(self.confidence[place]),
            apart=bool(self.apart[place]),
            simulated=bool(self.simulated[place]),
        )


class Gathered:
    """Columns while they are read."""

    def __init__(self, columns: tuple[str, ...]) -> None:
        self._columns = columns
        self._parts: dict[str, list[Any]] = {name: [] for name in columns}
        self._codes: dict[str, dict[str, int]] = {name: {} for name in NAMES}
        self._bounds: list[NDArray[np.int8]] = []

    def add(self, column: str, values: list[Any]) -> None:
        """Add what the next cells of a column mean."""
        if column in NAMES:
            codes = self._codes[column]
            found = [codes.setdefault(one, len(codes)) for one in values]
            self._parts[column].append(np.array(found, dtype=np.int64))
        elif column == "estimate":
            both = np.array(values, dtype=np.float64)
            self._parts[column].append(both[:, 0])
            self._bounds.append(both[:, 1].astype(np.int8))
        else:
            self._parts[column].append(np.array(values, dtype=np.float64))

    def table(self, sha256: str) -> Table:
        """Return all of it."""
        first, estimate = self._column("reference"), self._column("estimate")
        empty = np.full(len(first), np.nan)
        second = self._column("reference_2") if "reference_2" in self._columns else None
        reference, apart = together(first, second)
        return Table(
            columns=self._columns,
            sha256=sha256,
            first_mmhg=first,
            second_mmhg=second,
            reference_mmhg=reference,
            apart=apart,
            estimate_mmhg=estimate,
            bound=np.concatenate(self._bounds),
            confidence=self._column("confidence", empty),
            age_years=self._column("age_years", empty),
            arm_cm=self._column("arm_cm", empty),
            simulated=self._column("simulated", np.zeros(len(first))) > 0.0,
            named={
                name: Column(
                    names=tuple(self._codes[name]), codes=np.concatenate(self._parts[name])
                )
                for name in NAMES
                if name in self._columns
            },
        )

    def _column(self, name: str, other: FloatArray | None = None) -> FloatArray:
        if name not in self._columns and other is not None:
            return other
        return np.asarray(np.concatenate(self._parts[name]), dtype=np.float64)


def together(first: FloatArray, second: FloatArray | None) -> tuple[FloatArray, BoolArray]:
    """Return the reference that two observers give together, and where they are too far apart.

    Where one wrote nothing the reference is the other's.

    Examples
    --------
    >>> given = np.array([120.0, 120.0, np.nan]), np.array([122.0, 126.0, 80.0])
    >>> [one.tolist() for one in together(*given)]
    [[121.0, nan, 80.0], [False, True, False]]
    """
    if second is None:
        return first, np.zeros(len(first), dtype=np.bool_)
    apart = np.abs(first - second) > APART_MMHG + SLACK_MMHG
    one = np.where(np.isnan(first), second, first)
    mean = (one + np.where(np.isnan(second), one, second)) / 2.0
    return np.where(apart, np.nan, mean), apart


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
