"""How named guidelines average the readings of a visit.

Figures are those of the comparison table of 2026 unless a source says otherwise; the
texts of the guidelines themselves were not at hand.  Readings are counted on one arm,
after those that cannot be used are left out: a guideline's reading is a value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from tapfall.errors import SettingError, shown
from tapfall.visit.arms import ACC_AHA_ARMS, ISH_ARMS, ArmRule

_TABLE = "comparison table of guidelines 2026 (doi 10.2478/rjc-2026-0003)"

#: Two readings this close are stable by JSH 2019: the difference is below it, mmHg.
STABLE_MMHG = 5.0


class Take(StrEnum):
    """Which readings are averaged; see :data:`TAKE_SENTENCES`."""

    ALL = "all"
    LAST_TWO = "last_two"
    SECOND_AND_THIRD = "second_and_third"
    ALL_BUT_FIRST = "all_but_first"
    STABLE_TWO = "stable_two"


#: What each rule is called.
TAKE_SENTENCES: dict[Take, str] = {
    Take.ALL: "all readings",
    Take.LAST_TWO: "the last two readings",
    Take.SECOND_AND_THIRD: "the second and third reading",
    Take.ALL_BUT_FIRST: "all readings but the first",
    Take.STABLE_TWO: (
        f"the last two readings in a row that differ by less than {STABLE_MMHG:g} mmHg"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Guideline:
    """How a guideline averages.

    Parameters
    ----------
    name
        What it is chosen by.
    title, date, source
        What it is called, its year, and where its figures were read.
    take
        Which readings are averaged.
    readings
        How many it asks for.
    spacing_s
        The least time from one reading to the next, s; None where none is given.
    differ_mmhg
        Readings that differ by more ask for another; None where there is no such rule.
    differ_first
        Whether that is said of the first two readings, else of any two.
    enough_systolic_mmhg, enough_diastolic_mmhg
        A first reading below both asks for no others.
    occasions
        How many visits it asks for.
    arms
        Its rule for two arms; None where it has none of its own.
    """

    name: str
    title: str
    date: str
    source: str
    take: Take
    readings: int
    spacing_s: float | None = None
    differ_mmhg: float | None = None
    differ_first: bool = False
    enough_systolic_mmhg: float | None = None
    enough_diastolic_mmhg: float | None = None
    occasions: int = 1
    arms: ArmRule | None = None


#: Every guideline that can be named.
GUIDELINES: dict[str, Guideline] = {
    one.name: one
    for one in (
        Guideline(
            name="acc-aha-2025",
            title="ACC/AHA 2025",
            date="2025",
            source=_TABLE,
            take=Take.ALL,
            readings=2,
            spacing_s=60.0,
            occasions=2,
            arms=ACC_AHA_ARMS,
        ),
        Guideline(
            name="esc-2024",
            title="ESC 2024",
            date="2024",
            source=_TABLE,
            take=Take.LAST_TWO,
            readings=3,
            spacing_s=60.0,
            differ_mmhg=10.0,
        ),
        Guideline(
            name="esh-2023",
            title="ESH 2023",
            date="2023",
            source=_TABLE,
            take=Take.SECOND_AND_THIRD,
            readings=3,
            spacing_s=60.0,
        ),
        Guideline(
            name="ish-2020",
            title="ISH 2020",
            date="2020",
            source=_TABLE,
            take=Take.SECOND_AND_THIRD,
            readings=3,
            spacing_s=60.0,
            enough_systolic_mmhg=130.0,
            enough_diastolic_mmhg=85.0,
            arms=ISH_ARMS,
        ),
        Guideline(
            name="esc-esh-2018",
            title="ESC/ESH 2018",
            date="2018",
            source="table 8 of the guideline, by a reprint (actuamed.com.mx)",
            take=Take.LAST_TWO,
            readings=3,
            spacing_s=60.0,
            differ_mmhg=10.0,
            differ_first=True,
        ),
        Guideline(
            name="canada-2025",
            title="Canada, primary care 2025",
            date="2025",
            source=_TABLE,
            take=Take.ALL,
            readings=3,
            spacing_s=60.0,
        ),
        Guideline(
            name="chep-2016",
            title="CHEP 2016, by ear",
            date="2016",
            source="table of the programme (heart.bmj.com/highwire/markup/150572)",
            take=Take.ALL_BUT_FIRST,
            readings=3,
        ),
        Guideline(
            name="jsh-2019",
            title="JSH 2019",
            date="2019",
            source=_TABLE,
            take=Take.STABLE_TWO,
            readings=2,
            spacing_s=60.0,
        ),
        Guideline(
            name="aha-2005",
            title="AHA 2005",
            date="2005",
            source="AHA statement on measurement 2005 (from memory)",
            take=Take.ALL,
            readings=2,
            spacing_s=60.0,
            differ_mmhg=5.0,
            differ_first=True,
        ),
        Guideline(
            name="survey",
            title="Health survey of the NHANES kind",
            date="undated",
            source="survey protocols (from memory)",
            take=Take.ALL_BUT_FIRST,
            readings=3,
            spacing_s=30.0,
        ),
    )
}


def guideline_of(name: str) -> Guideline:
    """Return a guideline by its name.

    Raises
    ------
    SettingError
        There is no such guideline.

    Examples
    --------
    >>> guideline_of("esc-2024").readings
    3
    """
    if name not in GUIDELINES:
        raise SettingError(f"average: found {shown(name)}; allowed {', '.join(GUIDELINES)}")
    return GUIDELINES[name]


def taken_by(take: Take, values_mmhg: Sequence[tuple[float, float]]) -> tuple[int, ...]:
    """Return which readings of an arm are averaged, as places from 0.

    A single reading is returned by itself by every rule; it is no average.  With more
    than three readings "the second and third" are the last two (our choice: what was
    taken since was taken because those did not do).  With two readings it is the second.

    Parameters
    ----------
    take
        The rule.
    values_mmhg
        Systolic and diastolic of each reading in order, mmHg.

    Returns
    -------
    tuple of int
        Places in order; none where no two readings are stable and the rule wants that.

    Examples
    --------
    >>> three = ((140.0, 90.0), (131.0, 84.0), (129.0, 82.0))
    >>> taken_by(Take.ALL_BUT_FIRST, three), taken_by(Take.STABLE_TWO, three[:2])
    ((1, 2), ())
    """
    count = len(values_mmhg)
    places = tuple(range(count))
    if count <= 1 or take is Take.ALL:
        return places
    if take is Take.LAST_TWO:
        return places[-2:]
    if take is Take.SECOND_AND_THIRD:
        return places[1:][-2:]
    if take is Take.ALL_BUT_FIRST:
        return places[1:]
    for last in range(count - 1, 0, -1):
        if apart_mmhg(values_mmhg[last - 1], values_mmhg[last]) < STABLE_MMHG:
            return (last - 1, last)
    return ()


def apart_mmhg(one: tuple[float, float], other: tuple[float, float]) -> float:
    """How far two readings differ: the larger of systolic and diastolic (our choice).

    Differences are rounded to 1e-6 mmHg, for sums of decimals miss by less.

    Examples
    --------
    >>> apart_mmhg((140.1, 90.0), (130.1, 88.0))
    10.0
    """
    return max(round(abs(a - b), 6) for a, b in zip(one, other, strict=True))
