"""Criteria of validation protocols, by their numbers alone.

A criterion that a sample meets validates nothing: each protocol also says how the
sample must be taken, and most of that no table of numbers tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from tapfall.errors import InputError
from tapfall.study.agreement.limits import finite
from tapfall.study.agreement.rows import SLACK_MMHG

#: What results are called.
CRITERION_1, CRITERION_2 = "ISO 81060-2 criterion 1", "ISO 81060-2 criterion 2"
BHS = "BHS 1993"
#: ISO 81060-2, criterion 1, mmHg.
MEAN_MOST_MMHG, SD_MOST_MMHG = 5.0, 8.0
#: ISO 81060-2, criterion 2: an error of 10 mmHg or less with this chance.
TOLERABLE_MMHG, CHANCE = 10.0, 0.85

ISO_SOURCE = (
    "ISO 81060-2:2018, criterion 1: mean within 5.0, SD 8.0 mmHg or less (from memory; a review, "
    "doi 10.1186/s40885-024-00268-7, prints the SD with a strict sign)"
)
ISO_2_SOURCE = (
    "ISO 81060-2:2018, criterion 2, by its formula: chance of an error of 10 mmHg or less at "
    "least 85 % (a review, doi 10.1186/s40885-024-00268-7), at the mean error of criterion 1, by "
    "which the standard's table is kept (from memory)"
)
BHS_SOURCE = "BHS 1993: within 5, 10 and 15 mmHg (table 3 of PMC6431352)"
ESH_SOURCE = (
    "ESH-IP 2010: 73, 87, 96 of 99 (table 3 of PMC6431352); 65, 81, 93 and part 2 from memory"
)

#: The published table of criterion 2 as remembered, not checked against the standard:
#: rows by whole mmHg of the mean error's size, columns by tenths.  Only its ends, 6.95
#: and 4.79, were read (doi 10.1186/s40885-024-00268-7).
REMEMBERED_TABLE: tuple[tuple[float, ...], ...] = (
    (6.95, 6.95, 6.95, 6.95, 6.93, 6.92, 6.91, 6.90, 6.89, 6.88),
    (6.87, 6.86, 6.84, 6.82, 6.80, 6.78, 6.76, 6.73, 6.71, 6.68),
    (6.65, 6.62, 6.58, 6.55, 6.51, 6.47, 6.43, 6.39, 6.34, 6.30),
    (6.25, 6.20, 6.14, 6.09, 6.03, 5.97, 5.89, 5.83, 5.77, 5.70),
    (5.64, 5.56, 5.49, 5.41, 5.33, 5.25, 5.16, 5.08, 5.01, 4.90),
    (4.79,),
)

#: Grades of BHS 1993, best first: percent within 5, 10 and 15 mmHg.
BHS_GRADES = (("A", (60, 85, 95)), ("B", (50, 75, 90)), ("C", (40, 65, 85)))

#: ESH-IP 2010: subjects, readings of each and in all, and the counts of part 1 and 2.
ESH_SUBJECTS, ESH_READINGS = 33, 3
ESH_DIFFERENCES = ESH_SUBJECTS * ESH_READINGS
ESH_TWO_OF, ESH_ALL_OF = (73, 87, 96), (65, 81, 93)
ESH_TWO_CLOSE, ESH_NONE_CLOSE = 24, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class EshCounts:
    """Counts of ESH-IP 2010: of 99 differences, and of 33 subjects."""

    within: tuple[int, int, int]
    subjects_two_within_5: int
    subjects_none_within_5: int
    part_1: bool
    part_2: bool


def criterion_1(mean_mmhg: float, sd_mmhg: float) -> bool:
    """Whether mean and SD of all pairs meet criterion 1 of ISO 81060-2, unrounded.

    Parameters
    ----------
    mean_mmhg, sd_mmhg
        Of estimate minus reference over all pairs.

    Returns
    -------
    bool
        True where the mean is at most 5 mmHg in size and the SD at most 8.

    Examples
    --------
    >>> criterion_1(-5.0, 8.0), criterion_1(5.01, 3.0), criterion_1(0.0, 8.01)
    (True, False, False)
    """
    return _within_most(mean_mmhg) and sd_mmhg <= SD_MOST_MMHG + SLACK_MMHG


def criterion_2_limit(mean_mmhg: float) -> float | None:
    """Return the largest SD of subjects' means that criterion 2 of ISO 81060-2 allows, mmHg.

    The largest s with ``Phi((10 - m) / s) - Phi((-10 - m) / s) = 0.85``, m the size of the
    mean error; None beyond 5 mmHg, where the standard allows none.

    Parameters
    ----------
    mean_mmhg
        Mean error over all pairs.

    Returns
    -------
    float or None
        mmHg; None where no SD is allowed.

    Examples
    --------
    >>> round(criterion_2_limit(0.0), 2), round(criterion_2_limit(-2.0), 2)
    (6.95, 6.65)
    >>> criterion_2_limit(5.1) is None
    True
    """
    size = abs(mean_mmhg)
    if not _within_most(mean_mmhg):
        return None

    def excess(sd: float) -> float:
        high = stats.norm.cdf((TOLERABLE_MMHG - size) / sd)
        low = stats.norm.cdf((-TOLERABLE_MMHG - size) / sd)
        return float(high - low) - CHANCE

    return float(optimize.brentq(excess, 0.1, 20.0))


def remembered_limit(mean_mmhg: float) -> float | None:
    """Return the limit of criterion 2 by the table as remembered, at 0.1 mmHg; see there.

    Examples
    --------
    >>> remembered_limit(-4.96), remembered_limit(5.2)
    (4.79, None)
    """
    if not _within_most(mean_mmhg):
        return None
    # Half a tenth goes up, to the narrower limit.
    tenths = int(abs(mean_mmhg) * 10.0 + 0.5 + 1e-9)
    return REMEMBERED_TABLE[tenths // 10][tenths % 10]


def _within_most(mean_mmhg: float) -> bool:
    # Of decimals as they are written a mean of 5 comes out a little more or less.
    return abs(mean_mmhg) <= MEAN_MOST_MMHG + SLACK_MMHG


def bhs_grade(percents: Sequence[float]) -> str:
    """Return the grade of BHS 1993 from the percent within 5, 10 and 15 mmHg.

    Parameters
    ----------
    percents
        Of all pairs, the percent within 5, 10 and 15 mmHg, shape ``(3,)``.

    Returns
    -------
    str
        ``A``, ``B``, ``C`` or ``D``.

    Examples
    --------
    >>> bhs_grade((60.0, 85.0, 95.0)), bhs_grade((90.0, 92.0, 93.0)), bhs_grade((39.0, 99.0, 99.0))
    ('A', 'B', 'D')
    """
    for grade, wanted in BHS_GRADES:
        if all(found >= least for found, least in zip(percents, wanted, strict=True)):
            return grade
    return "D"


def esh_counts(differences: Sequence[Sequence[float]]) -> EshCounts:
    """Return the counts of ESH-IP 2010.

    Parameters
    ----------
    differences
        Of each of 33 subjects three differences, mmHg.

    Returns
    -------
    EshCounts
        How many of 99 differences lie within 5, 10 and 15 mmHg, and how many subjects pass.

    Raises
    ------
    InputError
        There are more or fewer.

    Examples
    --------
    >>> found = esh_counts([[0.0, 4.0, 12.0]] * 33)
    >>> found.within, found.subjects_two_within_5, found.part_1
    ((66, 66, 99), 33, False)
    """
    if len(differences) != ESH_SUBJECTS or any(len(one) != ESH_READINGS for one in differences):
        raise InputError(
            f"found {len(differences)} subjects with {sum(map(len, differences))} differences; "
            f"allowed {ESH_SUBJECTS} subjects with {ESH_READINGS} each"
        )
    sizes = np.abs(np.array([finite(one, ESH_READINGS) for one in differences])) - SLACK_MMHG
    close = (sizes <= 5.0).sum(axis=1)
    five, ten, fifteen = (int((sizes <= bound).sum()) for bound in (5.0, 10.0, 15.0))
    within = (five, ten, fifteen)
    enough = [found >= least for found, least in zip(within, ESH_TWO_OF, strict=True)]
    floor = [found >= least for found, least in zip(within, ESH_ALL_OF, strict=True)]
    two, none = int((close >= 2).sum()), int((close == 0).sum())
    return EshCounts(
        within=within,
        subjects_two_within_5=two,
        subjects_none_within_5=none,
        part_1=sum(enough) >= 2 and all(floor),
        part_2=two >= ESH_TWO_CLOSE and none <= ESH_NONE_CLOSE,
    )
