"""What the protocols want of a sample, as far as a table of pairs can tell.

A requirement that the columns do not show is ``not told``, never taken for met.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tapfall.model import FloatArray
from tapfall.standards import CUFF_SIZES
from tapfall.study.agreement.pairs import Pairs
from tapfall.study.agreement.protocols import ESH_READINGS, ESH_SUBJECTS
from tapfall.study.agreement.result import FULFILLED, NOT_TOLD, UNFULFILLED, Requirement
from tapfall.study.agreement.rows import SLACK_MMHG, BoolArray
from tapfall.study.agreement.words import keeps_side

#: ISO 81060-2: subjects, pairs of each, pairs in all.
ISO_SUBJECTS, ISO_EACH, ISO_PAIRS = 85, 3, 255
#: Shares of the reference readings: at or below, at or above, at or above (from memory).
ISO_SPREAD = {
    "systolic": ((100.0, 0.05), (160.0, 0.05), (140.0, 0.20)),
    "diastolic": ((60.0, 0.05), (100.0, 0.05), (85.0, 0.20)),
}
#: Reference readings of one subject may differ by as much, mmHg (from memory).
ISO_STABLE = {"systolic": 12.0, "diastolic": 8.0}
#: Age above which a subject is in the sample; least share of each sex.
ISO_AGE_YEARS, ISO_SEX = 12.0, 0.30
#: Shares of the subjects in each half, outer quarter and outer eighth of one cuff's arms.
ISO_ARMS = (("half", 2, 0.40), ("outer quarter", 4, 0.20), ("outer eighth", 8, 0.10))
ISO_UNTOLD = (
    "observers blinded to each other and to the estimate (from memory)",
    "order of readings; reference the mean of those before and after (from memory)",
    "manometer within 1 mmHg (from memory)",
)

#: BHS 1993: bands of the reference, and least subjects in each.
BHS_BANDS = {
    "systolic": (
        ("below 90", 8),
        ("90 to 129", 20),
        ("130 to 160", 20),
        ("161 to 180", 20),
        ("above 180", 8),
    ),
    "diastolic": (
        ("below 60", 8),
        ("60 to 79", 20),
        ("80 to 100", 20),
        ("101 to 110", 20),
        ("above 110", 8),
    ),
}
#: Bounds of those bands: below the first, up to below the second, up to the third and fourth.
_BHS_EDGES = {"systolic": (90.0, 130.0, 160.0, 180.0), "diastolic": (60.0, 80.0, 100.0, 110.0)}
BHS_AGES_YEARS = (15.0, 80.0)
BHS_UNTOLD = ("phases of the study and training of its observers",)

#: ESH-IP 2010: subjects below, between and above these, and how few and many of each.
_ESH_EDGES = {"systolic": (130.0, 160.0), "diastolic": (80.0, 100.0)}
ESH_IN_RANGE = (10, 12)
ESH_AGE_YEARS, ESH_SEX = 25.0, 10
ESH_UNTOLD = ("reference the neighbour nearest to the test value (from memory)",)

_RANGES = {one.name: (one.arm_from_cm, one.arm_to_cm) for one in CUFF_SIZES}


def iso_requirements(measure: str, pairs: Pairs) -> tuple[Requirement, ...]:
    """What ISO 81060-2 wants of a sample.

    Parameters
    ----------
    measure
        ``systolic``, ``diastolic``, or another name: its spread is not told.
    pairs
        The sample, one pair at least.

    Examples
    --------
    >>> from tapfall.study.agreement import table_of
    >>> from tapfall.study.agreement.pairs import pairs_of
    >>> found = pairs_of(table_of("t", b"reference,estimate,subject\\n120,121,a\\n"))
    >>> [one.state for one in iso_requirements("systolic", found)][:3]
    ['not met', 'not met', 'not met']
    """
    wanted = f"{ISO_SUBJECTS} subjects or more"
    each = f"{ISO_EACH} pairs or more of each subject"
    if pairs.subjects is None:
        found = [_untold(wanted), _untold(each)]
    else:
        least = int(pairs.per_subject.min())
        found = [
            _told(wanted, f"{pairs.subjects}", pairs.subjects >= ISO_SUBJECTS),
            _told(each, f"{least} of one", least >= ISO_EACH),
        ]
    found.append(_told(f"{ISO_PAIRS} pairs or more", f"{len(pairs)}", len(pairs) >= ISO_PAIRS))
    found += _spread(measure, pairs.reference)
    found.append(_stable(measure, pairs))
    found.append(
        _ages(f"age above {ISO_AGE_YEARS:g} years", pairs, lambda age: age > ISO_AGE_YEARS)
    )
    found.append(_sexes(f"{100 * ISO_SEX:g} % or more of each sex", pairs, share=ISO_SEX))
    found += _arms(pairs)
    found.append(_observers(pairs))
    return (*found, *(_untold(one) for one in ISO_UNTOLD))


def bhs_requirements(measure: str, pairs: Pairs) -> tuple[Requirement, ...]:
    """What BHS 1993 wants of a sample; a subject lies where the mean of its references does."""
    names = (f"{ISO_SUBJECTS} subjects", f"{ISO_PAIRS} pairs")
    if pairs.subjects is None:
        found = [_untold(names[0])]
    else:
        found = [_told(names[0], f"{pairs.subjects}", pairs.subjects >= ISO_SUBJECTS)]
    found.append(_told(names[1], f"{len(pairs)}", len(pairs) >= ISO_PAIRS))
    for place, (band, least) in enumerate(BHS_BANDS.get(measure, ())):
        wanted = f"{least} or more subjects of reference {band} mmHg"
        if pairs.subjects is None:
            found.append(_untold(wanted))
        else:
            low, second, third, fourth = _BHS_EDGES[measure]
            means = pairs.subject_means(pairs.reference)
            number = (
                (means < low).sum(),
                ((means >= low) & (means < second)).sum(),
                ((means >= second) & (means <= third)).sum(),
                ((means > third) & (means <= fourth)).sum(),
                (means > fourth).sum(),
            )[place]
            found.append(_told(wanted, f"{number}", number >= least))
    if measure not in BHS_BANDS:
        found.append(_untold("spread of the reference"))
    low, high = BHS_AGES_YEARS
    ages = f"age {low:g} to {high:g} years"
    found.append(_ages(ages, pairs, lambda age: (age >= low) & (age <= high)))
    return (*found, *(_untold(one) for one in BHS_UNTOLD))


def esh_requirements(measure: str, pairs: Pairs) -> tuple[Requirement, ...]:
    """What ESH-IP 2010 wants of a sample; a subject lies where the mean of its references does."""
    wanted = f"{ESH_SUBJECTS} subjects with {ESH_READINGS} pairs each"
    if pairs.subjects is None:
        found = [_untold(wanted)]
    else:
        each = bool((pairs.per_subject == ESH_READINGS).all())
        right = pairs.subjects == ESH_SUBJECTS and each
        found = [_told(wanted, f"{pairs.subjects} with {len(pairs)} pairs in all", right)]
    edges = _ESH_EDGES.get(measure)
    least, most = ESH_IN_RANGE
    if edges is None or pairs.subjects is None:
        found.append(_untold(f"{least} to {most} subjects in each range of the reference"))
    else:
        means = pairs.subject_means(pairs.reference)
        numbers = (
            int((means < edges[0]).sum()),
            int(((means >= edges[0]) & (means <= edges[1])).sum()),
            int((means > edges[1]).sum()),
        )
        for number, name in zip(
            numbers,
            (f"below {edges[0]:g}", f"{edges[0]:g} to {edges[1]:g}", f"above {edges[1]:g}"),
            strict=True,
        ):
            wanted = f"{least} to {most} subjects of reference {name} mmHg"
            found.append(_told(wanted, f"{number}", least <= number <= most))
    ages = f"age {ESH_AGE_YEARS:g} years or more"
    found.append(_ages(ages, pairs, lambda age: age >= ESH_AGE_YEARS))
    found.append(_sexes(f"{ESH_SEX} or more of each sex", pairs, count=ESH_SEX))
    return (*found, *(_untold(one) for one in ESH_UNTOLD))


def _spread(measure: str, references: FloatArray) -> list[Requirement]:
    if measure not in ISO_SPREAD:
        return [_untold("spread of the reference readings")]
    found = []
    for place, (bound, least) in enumerate(ISO_SPREAD[measure]):
        inside = references <= bound if place == 0 else references >= bound
        share = float(inside.mean())
        words = "or less" if place == 0 else "or more"
        wanted = f"{100 * least:g} % or more of the reference {bound:g} mmHg {words} (from memory)"
        found.append(_told(wanted, _percent(share, least), share >= least))
    return found


def _stable(measure: str, pairs: Pairs) -> Requirement:
    most = ISO_STABLE.get(measure)
    if most is None or pairs.subject is None:
        return _untold("reference readings of a subject close to each other")
    wanted = f"references of one subject within {most:g} mmHg of each other (from memory)"
    high, low = np.full(len(pairs.independent), -np.inf), np.full(len(pairs.independent), np.inf)
    np.maximum.at(high, pairs.subject, pairs.reference)
    np.minimum.at(low, pairs.subject, pairs.reference)
    beyond = int((high - low > most + SLACK_MMHG).sum())
    return _told(wanted, f"{beyond} subjects beyond", beyond == 0)


def _ages(wanted: str, pairs: Pairs, inside: Callable[[FloatArray], BoolArray]) -> Requirement:
    """Whether every subject is of an age; what one subject's row leaves out is not told."""
    if pairs.people is None or np.isnan(pairs.people.ages_years).any():
        return _untold(wanted)
    outside = int((~inside(pairs.people.ages_years)).sum())
    return _told(wanted, f"{outside} subjects outside", outside == 0)


def _sexes(wanted: str, pairs: Pairs, *, share: float = 0.0, count: int = 0) -> Requirement:
    if pairs.people is None or not all(pairs.people.sexes):
        return _untold(wanted)
    numbers = [pairs.people.sexes.count(one) for one in ("female", "male")]
    total = len(pairs.people.sexes)
    met = min(numbers) >= count and min(numbers) >= share * total
    return _told(wanted, f"{numbers[0]} female and {numbers[1]} male of {total}", met)


def _arms(pairs: Pairs) -> list[Requirement]:
    """Arms over the range of the cuff, or cuffs over the sample where there are several."""
    people, wanted = pairs.people, "arm circumferences spread over the range of the cuff"
    if people is None or not all(people.cuffs):
        return [_untold(wanted)]
    cuffs, total = dict.fromkeys(people.cuffs), len(people.cuffs)
    if len(cuffs) > 1:
        least = 1.0 / (2 * len(cuffs))
        wanted = f"each of {len(cuffs)} cuffs on {100 * least:.1f} % or more of the subjects"
        numbers = {name: people.cuffs.count(name) for name in cuffs}
        found = ", ".join(f"{name} {number}" for name, number in numbers.items())
        return [_told(wanted, f"{found} of {total}", min(numbers.values()) >= least * total)]
    (name,) = cuffs
    if name not in _RANGES or np.isnan(people.arms_cm).any():
        return [_untold(wanted)]
    # A row of the table ends where the next begins: half a cm beyond its whole cm.
    low, high = _RANGES[name][0] - 0.5, _RANGES[name][1] + 0.5
    told = []
    for part, parts, share in ISO_ARMS:
        width = (high - low) / parts
        edge = low + width, high - width
        under = int(((people.arms_cm >= low) & (people.arms_cm < edge[0])).sum())
        over = int(((people.arms_cm >= edge[1]) & (people.arms_cm <= high)).sum())
        told.append(
            _told(
                f"{100 * share:g} % or more of the arms in each {part} of {low:g} to {high:g} cm "
                f"(the {name} cuff of AHA 2005)",
                f"{under} and {over} of {total}",
                min(under, over) >= share * total,
            )
        )
    return told


def _observers(pairs: Pairs) -> Requirement:
    wanted = "two observers within 4 mmHg of each other for every reference (from memory)"
    if len(pairs.written) < 2:
        return _untold(wanted)
    found = (
        f"{pairs.two_observers} of {len(pairs)} pairs by two; {pairs.counts.observers_apart} rows "
        "farther apart left out"
    )
    return _told(wanted, found, pairs.two_observers == len(pairs))


def _percent(share: float, least: float) -> str:
    """A share with as many decimals as keep it on its side of what is wanted."""
    texts = [f"{100.0 * share:.{places}f}" for places in range(1, 6)]
    bound = (100.0 * least,)
    kept = (one for one in texts if keeps_side(float(one), 100.0 * share, bound))
    return f"{next(kept, texts[-1])} %"


def _told(wanted: str, found: str, met: bool | np.bool) -> Requirement:
    return Requirement(wanted=wanted, found=found, state=FULFILLED if met else UNFULFILLED)


def _untold(wanted: str) -> Requirement:
    return Requirement(wanted=wanted, found=NOT_TOLD, state=NOT_TOLD)
