"""The rows of one group, sorted into what each statistic may rest on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray
from tapfall.study.agreement.result import Counts
from tapfall.study.agreement.rows import IntArray, Table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class People:
    """What the table tells of each subject with a pair, shape (m,); empty or not a number if not.

    It is what stands beside the subject's first pair.
    """

    sexes: tuple[str, ...]
    ages_years: FloatArray
    arms_cm: FloatArray
    cuffs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs:
    """Rows with two numbers, shape (n,), mmHg.

    ``subject`` counts the subjects from 0 in order (None where the table does not tell
    them), ``independent`` holds the place of the first pair of each, shape (m,).
    ``two_observers`` is how many pairs have a reference by two observers, ``written`` the
    values that each observer wrote down in any row of the group.
    """

    counts: Counts
    reference: FloatArray
    estimate: FloatArray
    difference: FloatArray
    confidence: FloatArray
    subject: IntArray | None
    independent: IntArray
    people: People | None
    bounded_clash: int
    two_observers: int
    written: tuple[FloatArray, ...]

    def __len__(self) -> int:
        return len(self.difference)

    @property
    def subjects(self) -> int | None:
        """How many subjects there are; None where the table does not tell."""
        return None if self.subject is None else len(self.independent)

    @property
    def repeated(self) -> bool:
        """Whether a subject has more than one pair."""
        return len(self.independent) < len(self.difference)

    @property
    def per_subject(self) -> IntArray:
        """How many pairs each subject has, shape (m,)."""
        if self.subject is None:
            return np.ones_like(self.independent)
        return np.bincount(self.subject)

    def subject_means(self, values: FloatArray) -> FloatArray:
        """Return the mean of values by subject, shape (m,)."""
        if self.subject is None:
            return values
        return np.asarray(np.bincount(self.subject, weights=values) / self.per_subject)


def pairs_of(table: Table) -> Pairs:
    """Sort rows; an empty or bounded estimate is counted and never becomes a number.

    Examples
    --------
    >>> from tapfall.study.agreement import table_of
    >>> found = pairs_of(table_of("t", b"reference,estimate\\n120,118\\n131,\\n"))
    >>> found.counts.paired, found.counts.abstained, found.difference.tolist()
    (1, 1, [-2.0])
    """
    referred, estimated = ~np.isnan(table.reference_mmhg), ~np.isnan(table.estimate_mmhg)
    bounded = referred & (table.bound != 0)
    paired = referred & estimated & (table.bound == 0)
    own = table if paired.all() else table.take(np.flatnonzero(paired))
    over = (table.bound == 1) & (table.reference_mmhg < table.estimate_mmhg)
    under = (table.bound == -1) & (table.reference_mmhg > table.estimate_mmhg)
    subject, independent = _subjects(own)
    written = (table.first_mmhg, *(() if table.second_mmhg is None else (table.second_mmhg,)))
    two = 0
    if own.second_mmhg is not None:
        two = int((~np.isnan(own.first_mmhg) & ~np.isnan(own.second_mmhg)).sum())
    return Pairs(
        counts=Counts(
            rows=len(table),
            paired=len(own),
            abstained=int((referred & ~estimated).sum()),
            bounded=int(bounded.sum()),
            without_reference=int((~referred & ~table.apart).sum()),
            observers_apart=int(table.apart.sum()),
            subjects=None if subject is None else len(independent),
        ),
        reference=own.reference_mmhg,
        estimate=own.estimate_mmhg,
        difference=own.estimate_mmhg - own.reference_mmhg,
        confidence=own.confidence,
        subject=subject,
        independent=independent,
        people=None if subject is None else _people(own, independent),
        bounded_clash=int((bounded & (over | under)).sum()),
        two_observers=two,
        written=tuple(one[~np.isnan(one)] for one in written),
    )


def _subjects(table: Table) -> tuple[IntArray | None, IntArray]:
    """Subjects counted from 0 in the order of the rows, and the first row of each."""
    places = np.arange(len(table))
    column = table.named.get("subject")
    if column is None:
        return None, places
    first = np.full(len(column.names), -1)
    first[column.codes[::-1]] = places[::-1]  # the last that is written is the first row
    independent = np.sort(first[first >= 0])
    order = np.empty(len(column.names), dtype=np.int64)
    order[column.codes[independent]] = np.arange(len(independent))
    return order[column.codes], independent


def _people(table: Table, independent: IntArray) -> People:
    def names(column: str) -> tuple[str, ...]:
        found = table.named.get(column)
        if found is None:
            return ("",) * len(independent)
        return tuple(found.names[code] for code in found.codes[independent])

    return People(
        sexes=names("sex"),
        ages_years=table.age_years[independent],
        arms_cm=table.arm_cm[independent],
        cuffs=names("cuff_size"),
    )
