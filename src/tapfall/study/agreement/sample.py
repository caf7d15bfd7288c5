"""What the protocols want of a sample, as far as a table of pairs can tell.

A requirement that the columns do not show is ``not told``, never taken for met.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from tapfall.study.agreement.result import FULFILLED, NOT_TOLD, UNFULFILLED, Requirement

#: ISO 81060-2: subjects, pairs of each, pairs in all.
ISO_SUBJECTS, ISO_EACH, ISO_PAIRS = 85, 3, 255
#: Shares of the reference readings: at or below, at or above, at or above (from memory).
ISO_SPREAD = {
    "systolic": ((100.0, 0.05), (160.0, 0.05), (140.0, 0.20)),
    "diastolic": ((60.0, 0.05), (100.0, 0.05), (85.0, 0.20)),
}
#: Reference readings of one subject may differ by as much, mmHg (from memory).
ISO_STABLE = {"systolic": 12.0, "diastolic": 8.0}
ISO_UNTOLD = (
    "age above 12 years",
    "30 % or more of each sex",
    "arm circumferences spread over the cuff's range",
    "two blinded observers within 4 mmHg of each other (from memory)",
    "order of readings; reference the mean of those before and after (from memory)",
    "manometer within 1 mmHg (from memory)",
)

#: BHS 1993: below this bound (at most it where closed), as many subjects or more.
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
_BHS_EDGES = {"systolic": (90.0, 130.0, 160.0, 180.0), "diastolic": (60.0, 80.0, 100.0, 110.0)}
BHS_UNTOLD = ("age 15 to 80 years", "phases of the study and training of its observers")

#: ESH-IP 2010: subjects below, between and above these, 10 to 12 of each.
_ESH_EDGES = {"systolic": (130.0, 160.0), "diastolic": (80.0, 100.0)}
ESH_UNTOLD = (
    "age 25 years or more",
    "10 or more of each sex",
    "reference the neighbour nearest to the test value (from memory)",
)

Readings = Mapping[str, Sequence[float]]


def iso_requirements(
    measure: str, references: Sequence[float], by_subject: Readings | None
) -> tuple[Requirement, ...]:
    """What ISO 81060-2 wants of a sample.

    Parameters
    ----------
    measure
        ``systolic``, ``diastolic``, or another name: its spread is not told.
    references
        The reference of every pair, mmHg.
    by_subject
        The same by subject; None where subjects are not told.

    Examples
    --------
    >>> [one.state for one in iso_requirements("systolic", [120.0], {"a": [120.0]})][:3]
    ['not met', 'not met', 'not met']
    """
    wanted = f"{ISO_SUBJECTS} subjects or more"
    each = f"{ISO_EACH} pairs or more of each subject"
    if by_subject is None:
        found = [_untold(wanted), _untold(each)]
    else:
        least = min(map(len, by_subject.values()))
        found = [
            _told(wanted, f"{len(by_subject)}", len(by_subject) >= ISO_SUBJECTS),
            _told(each, f"{least} of one", least >= ISO_EACH),
        ]
    found.append(
        _told(f"{ISO_PAIRS} pairs or more", f"{len(references)}", len(references) >= ISO_PAIRS)
    )
    found += _spread(measure, np.asarray(references))
    found.append(_stable(measure, by_subject))
    return (*found, *(_untold(one) for one in ISO_UNTOLD))


def bhs_requirements(
    measure: str, pairs: int, by_subject: Readings | None
) -> tuple[Requirement, ...]:
    """What BHS 1993 wants of a sample; a subject lies where the mean of its references does."""
    names = (f"{ISO_SUBJECTS} subjects", f"{ISO_PAIRS} pairs")
    if by_subject is None:
        found = [_untold(names[0])]
    else:
        found = [_told(names[0], f"{len(by_subject)}", len(by_subject) >= ISO_SUBJECTS)]
    found.append(_told(names[1], f"{pairs}", pairs >= ISO_PAIRS))
    for place, (band, least) in enumerate(BHS_BANDS.get(measure, ())):
        wanted = f"{least} or more subjects of reference {band} mmHg"
        if by_subject is None:
            found.append(_untold(wanted))
        else:
            low, second, third, fourth = _BHS_EDGES[measure]
            means = _means(by_subject)
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
    return (*found, *(_untold(one) for one in BHS_UNTOLD))


def esh_requirements(measure: str, by_subject: Readings | None) -> tuple[Requirement, ...]:
    """What ESH-IP 2010 wants of a sample; a subject lies where the mean of its references does."""
    wanted = "33 subjects with 3 pairs each"
    if by_subject is None:
        found = [_untold(wanted)]
    else:
        right = len(by_subject) == 33 and all(len(one) == 3 for one in by_subject.values())
        pairs = sum(map(len, by_subject.values()))
        found = [_told(wanted, f"{len(by_subject)} with {pairs} pairs in all", right)]
    edges = _ESH_EDGES.get(measure)
    if edges is None or by_subject is None:
        found.append(_untold("10 to 12 subjects in each range of the reference"))
    else:
        means = _means(by_subject)
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
            wanted = f"10 to 12 subjects of reference {name} mmHg"
            found.append(_told(wanted, f"{number}", 10 <= number <= 12))
    return (*found, *(_untold(one) for one in ESH_UNTOLD))


def _spread(measure: str, references: np.ndarray) -> list[Requirement]:
    if measure not in ISO_SPREAD:
        return [_untold("spread of the reference readings")]
    found = []
    for place, (bound, least) in enumerate(ISO_SPREAD[measure]):
        inside = references <= bound if place == 0 else references >= bound
        share = float(inside.mean())
        words = "or less" if place == 0 else "or more"
        wanted = f"{100 * least:g} % or more of the reference {bound:g} mmHg {words} (from memory)"
        found.append(_told(wanted, f"{100 * share:.1f} %", share >= least))
    return found


def _stable(measure: str, by_subject: Readings | None) -> Requirement:
    most = ISO_STABLE.get(measure)
    if most is None or by_subject is None:
        return _untold("reference readings of a subject close to each other")
    wanted = f"references of one subject within {most:g} mmHg of each other (from memory)"
    beyond = sum(max(one) - min(one) > most for one in by_subject.values())
    return _told(wanted, f"{beyond} subjects beyond", beyond == 0)


def _means(by_subject: Readings) -> np.ndarray:
    return np.array([sum(one) / len(one) for one in by_subject.values()])


def _told(wanted: str, found: str, met: bool | np.bool) -> Requirement:
    return Requirement(wanted=wanted, found=found, state=FULFILLED if met else UNFULFILLED)


def _untold(wanted: str) -> Requirement:
    return Requirement(wanted=wanted, found=NOT_TOLD, state=NOT_TOLD)
