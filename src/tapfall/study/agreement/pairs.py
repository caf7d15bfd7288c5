"""The rows of one group, sorted into what each statistic may rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from tapfall.study.agreement.result import Counts
from tapfall.study.agreement.table import Row

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A row with two numbers, mmHg."""

    reference: float
    estimate: float
    subject: str | None
    confidence: float | None

    @property
    def difference(self) -> float:
        """Estimate minus reference."""
        return self.estimate - self.reference


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Pairs of a group: all, by subject (None where not told), and one of each subject."""

    counts: Counts
    all: tuple[Pair, ...]
    by_subject: dict[str, tuple[Pair, ...]] | None
    independent: tuple[Pair, ...]
    bounded_clash: int

    @property
    def repeated(self) -> bool:
        """Whether a subject has more than one pair."""
        return len(self.independent) < len(self.all)


def pairs_of(rows: Sequence[Row]) -> Pairs:
    """Sort rows; an empty or bounded estimate is counted and never becomes a number.

    Examples
    --------
    >>> found = pairs_of([Row(line=2, reference_mmhg=120.0, estimate_mmhg=118.0),
    ...                   Row(line=3, reference_mmhg=131.0, estimate_mmhg=None)])
    >>> found.counts.paired, found.counts.abstained
    (1, 1)
    """
    with_reference = [one for one in rows if one.reference_mmhg is not None]
    pairs: list[Pair] = []
    abstained = bounded = clash = 0
    for one in with_reference:
        reference, estimate = one.reference_mmhg, one.estimate_mmhg
        if reference is None or estimate is None:
            abstained += 1
        elif one.bound:
            bounded += 1
            clash += reference < estimate if one.bound == ">=" else reference > estimate
        else:
            pairs.append(
                Pair(
                    reference=reference,
                    estimate=estimate,
                    subject=one.subject,
                    confidence=one.confidence,
                )
            )
    told = all(one.subject is not None for one in rows)
    by_subject: dict[str, list[Pair]] = {}
    for pair in pairs:
        by_subject.setdefault(pair.subject or "", []).append(pair)
    grouped = {name: tuple(found) for name, found in by_subject.items()} if told else None
    return Pairs(
        counts=Counts(
            rows=len(rows),
            paired=len(pairs),
            abstained=abstained,
            bounded=bounded,
            without_reference=len(rows) - len(with_reference),
            subjects=None if grouped is None else len(grouped),
        ),
        all=tuple(pairs),
        by_subject=grouped,
        independent=tuple(pairs)
        if grouped is None
        else tuple(found[0] for found in grouped.values()),
        bounded_clash=clash,
    )
