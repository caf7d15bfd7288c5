"""Named, dated schemes of categories for pressures measured in the office, adults.

Published bounds are whole numbers (120-129); averages are not.  A category is taken as a
half-open interval from its lower bound to that of the next: 129.5 belongs to 120-129 as
printed, 130.0 to the next one (our choice).  Where systolic and diastolic disagree the
higher category counts.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.errors import SettingError, shown
from tapfall.visit.arms import NICE_ARMS, ArmRule

#: Bounds of an isolated systolic or diastolic category, mmHg.
ISOLATED_SYSTOLIC_MMHG, ISOLATED_DIASTOLIC_MMHG = 140.0, 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Category:
    """One category: its name and where it begins, mmHg.

    None where a pressure has no range of its own: no diastolic is "elevated" by ACC/AHA.
    The lowest category begins at nothing.
    """

    name: str
    systolic_mmhg: float | None
    diastolic_mmhg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scheme:
    """A scheme of categories, lowest first.

    Parameters
    ----------
    name
        What it is chosen by.
    title, date, source
        What it is called, its year, and where its figures were read.
    categories
        The categories in order.
    isolated_systolic
        Whether systolic 140 or more with diastolic below 90 is called isolated.
    isolated_diastolic
        Whether diastolic 90 or more with systolic below 140 is called isolated.
    note
        What its categories want besides the average; empty for nothing.
    arms
        Its rule for two arms; None where it has none of its own.
    """

    name: str
    title: str
    date: str
    source: str
    categories: tuple[Category, ...]
    isolated_systolic: bool = False
    isolated_diastolic: bool = False
    note: str = ""
    arms: ArmRule | None = None


def _categories(*rows: tuple[str, float | None, float | None]) -> tuple[Category, ...]:
    return tuple(
        Category(name=name, systolic_mmhg=systolic, diastolic_mmhg=diastolic)
        for name, systolic, diastolic in rows
    )


_ACC_AHA = _categories(
    ("normal", None, None),
    ("elevated", 120.0, None),
    ("stage 1", 130.0, 80.0),
    ("stage 2", 140.0, 90.0),
)
_EUROPEAN = _categories(
    ("optimal", None, None),
    ("normal", 120.0, 80.0),
    ("high-normal", 130.0, 85.0),
    ("grade 1", 140.0, 90.0),
    ("grade 2", 160.0, 100.0),
    ("grade 3", 180.0, 110.0),
)
_ACC_AHA_SOURCE = (
    "tables of 2017 (doi 10.1186/s12872-019-1259-0) and of 2025 (jordan-cardiac.org), which "
    "kept them"
)

#: Every scheme that can be named.
SCHEMES: dict[str, Scheme] = {
    one.name: one
    for one in (
        Scheme(
            name="acc-aha-2025",
            title="ACC/AHA 2025",
            date="2025",
            source=_ACC_AHA_SOURCE,
            categories=_ACC_AHA,
        ),
        Scheme(
            name="acc-aha-2017",
            title="ACC/AHA 2017",
            date="2017",
            source=_ACC_AHA_SOURCE,
            categories=_ACC_AHA,
        ),
        Scheme(
            name="esc-2024",
            title="ESC 2024",
            date="2024",
            source="the society's news of its guideline (escardio.org; pace-cme.org)",
            categories=_categories(
                ("non-elevated", None, None),
                ("elevated", 120.0, 70.0),
                ("hypertension", 140.0, 90.0),
            ),
        ),
        Scheme(
            name="esh-2023",
            title="ESH 2023",
            date="2023",
            source="table of 2003 (amedi.sk), kept since (from memory); isolated diastolic from "
            "memory",
            categories=_EUROPEAN,
            isolated_systolic=True,
            isolated_diastolic=True,
        ),
        Scheme(
            name="esc-esh-2018",
            title="ESC/ESH 2018",
            date="2018",
            source="table of 2003 (amedi.sk), kept since (from memory)",
            categories=_EUROPEAN,
            isolated_systolic=True,
        ),
        Scheme(
            name="ish-2020",
            title="ISH 2020",
            date="2020",
            source="the society's practice guidelines, by a reprint (cardioprogress.ru)",
            categories=_categories(
                ("normal", None, None),
                ("high-normal", 130.0, 85.0),
                ("grade 1", 140.0, 90.0),
                ("grade 2", 160.0, 100.0),
            ),
        ),
        Scheme(
            name="nice-ng136",
            title="NICE NG136",
            date="2019 (from memory)",
            source="a summary (gpnotebook.com, classification of systemic hypertension)",
            categories=_categories(
                ("below stage 1", None, None),
                ("stage 1", 140.0, 90.0),
                ("stage 2", 160.0, 100.0),
                ("stage 3", 180.0, 120.0),
            ),
            note="NICE NG136: stage 1 also wants 135/85 to 149/94 mmHg outside the office.",
            arms=NICE_ARMS,
        ),
        Scheme(
            name="jnc-7",
            title="JNC 7",
            date="2003",
            source="secondary tables (amedi.sk; doi 10.1186/s12872-019-1259-0); bounds of stage "
            "2 from memory",
            categories=_categories(
                ("normal", None, None),
                ("prehypertension", 120.0, 80.0),
                ("stage 1", 140.0, 90.0),
                ("stage 2", 160.0, 100.0),
            ),
        ),
    )
}


def scheme_of(name: str) -> Scheme:
    """Return a scheme by its name.

    Raises
    ------
    SettingError
        There is no such scheme.

    Examples
    --------
    >>> [one.name for one in scheme_of("esc-2024").categories]
    ['non-elevated', 'elevated', 'hypertension']
    """
    if name not in SCHEMES:
        raise SettingError(f"scheme: found {shown(name)}; allowed {', '.join(SCHEMES)}")
    return SCHEMES[name]
