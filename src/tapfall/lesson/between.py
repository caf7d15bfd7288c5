"""Learners against each other, and against themselves on items that stand twice."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.lesson.nouns import Answer, KeyItem
from tapfall.study.agreement.limits import Span
from tapfall.study.agreement.reliability import icc_agreement
from tapfall.study.agreement.replicates import within_variance

MEASURES = ("systolic", "diastolic")
#: What two observers were asked for: so many of their values within so many mmHg of each
#: other, systolic and diastolic each.
BETWEEN = ((5.0, 0.85), (10.0, 0.95))
BETWEEN_SOURCE = "between observers, J Hum Hypertens 1991: within 5 in 85 %, within 10 in 95 %"

#: What a learner read of the items of a set: by set and item, systolic and diastolic.
Readings = Mapping[tuple[str, str], tuple[float | None, float | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """Two learners on the items that both answered, the second minus the first, mmHg.

    ``within`` are the shares at most 5 and 10 mmHg apart; ``kept`` says whether these are
    what two observers were asked for in 1991.
    """

    first: str
    second: str
    measure: str
    count: int
    mean_mmhg: float
    sd_mmhg: float | None
    within: tuple[float, float]
    kept: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeated:
    """Items that stood twice, of one measure.

    ``sd_mmhg`` is the standard deviation of one reading about the mean of its repeats,
    ``bound_mmhg`` what two readings of one sound exceed 5 times in 100.
    """

    measure: str
    count: int
    mean_mmhg: float
    sd_mmhg: float
    bound_mmhg: float


def readings(
    set_id: str, items: Sequence[KeyItem], answers: Sequence[Answer]
) -> dict[tuple[str, str], tuple[float | None, float | None]]:
    """Return what was read, the dials' displacement taken off."""
    known = {item.name: item for item in items}

    def plain(value: float | None, item: KeyItem) -> float | None:
        return None if value is None else value - item.offset_mmhg

    return {
        (set_id, one.item): (
            plain(one.systolic_mmhg, known[one.item]),
            plain(one.diastolic_mmhg, known[one.item]),
        )
        for one in answers
    }


def pairs_apart(read: Mapping[str, Readings]) -> tuple[Apart, ...]:
    """Compare each learner with each other.

    Parameters
    ----------
    read
        By learner.
    """
    found = []
    for first, second in itertools.combinations(read, 2):
        for place, measure in enumerate(MEASURES):
            apart = np.array(
                [
                    other - one
                    for where, values in read[first].items()
                    if where in read[second]
                    and (one := values[place]) is not None
                    and (other := read[second][where][place]) is not None
                ]
            )
            if apart.size:
                within = tuple(float(np.mean(np.abs(apart) <= bound)) for bound, _ in BETWEEN)
                found.append(
                    Apart(
                        first=first,
                        second=second,
                        measure=measure,
                        count=int(apart.size),
                        mean_mmhg=float(apart.mean()),
                        sd_mmhg=float(apart.std(ddof=1)) if apart.size > 1 else None,
                        within=(within[0], within[1]),
                        kept=all(
                            share >= least - 1e-9
                            for share, (_, least) in zip(within, BETWEEN, strict=True)
                        ),
                    )
                )
    return tuple(found)


def icc_of(read: Mapping[str, Readings], place: int) -> Span | None:
    """Return ICC(2,1) over the items that every learner gave a value for.

    None with fewer than two learners or two such items, or where no value differs.
    """
    by_learner = list(read.values())
    if len(by_learner) < 2:
        return None
    common = set.intersection(*(set(one) for one in by_learner))
    rows = [[one[where][place] for one in by_learner] for where in sorted(common)]
    whole = [[v for v in row if v is not None] for row in rows if None not in row]
    return icc_agreement(whole) if len(whole) >= 2 else None


#: Of each measure, for each sound its readings.
Groups = tuple[list[list[float]], list[list[float]]]


def groups_of(items: Sequence[KeyItem], answers: Sequence[Answer]) -> Groups:
    """Return the readings of each sound that stood twice: systolic, then diastolic."""
    read = readings("", items, answers)
    by_sound: dict[str, list[str]] = {}
    for item in items:
        by_sound.setdefault(item.same_as or item.name, []).append(item.name)
    groups: Groups = ([], [])
    for names in by_sound.values():
        for place in (0, 1):
            values = [read["", name][place] for name in names if ("", name) in read]
            told = [value for value in values if value is not None]
            if len(told) > 1:
                groups[place].append(told)
    return groups


def repeated(parts: Sequence[Groups]) -> tuple[Repeated, ...]:
    """Compare readings of the same sound; nothing where there are none.

    Parameters
    ----------
    parts
        Of each session what :func:`groups_of` returns.

    Examples
    --------
    >>> repeated([([[120.0, 124.0], [140.0, 140.0]], [])])[0].sd_mmhg
    2.0
    """
    found = []
    for place, measure in enumerate(MEASURES):
        groups = [group for part in parts for group in part[place]]
        if not groups:
            continue
        sd = math.sqrt(within_variance(groups))
        found.append(
            Repeated(
                measure=measure,
                count=len(groups),
                mean_mmhg=float(np.mean([group[-1] - group[0] for group in groups])),
                sd_mmhg=sd,
                bound_mmhg=1.96 * math.sqrt(2.0) * sd,
            )
        )
    return tuple(found)
