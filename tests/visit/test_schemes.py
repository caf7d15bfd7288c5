"""Categories: every row of the published tables, mixed pairs, fractions, bounds, doubt."""

from __future__ import annotations

import re
from itertools import product

import pytest

from tapfall.visit import SCHEMES, Mean, visit
from tapfall.visit.category import category_of, place
from tapfall.visit.words import shown_mmhg, shown_pair
from tests.visit.made import series

#: As printed, lowest first: category, systolic, joiner, diastolic.  Sources (facts 2):
#: JNC 7 (amedi.sk; doi 10.1186/s12872-019-1259-0; stage 2 from memory), ACC/AHA (the same
#: and jordan-cardiac.org), ESC 2024 (escardio.org, pace-cme.org), ISH 2020
#: (cardioprogress.ru), NICE (gpnotebook.com), ESC/ESH and ESH (2003 table at amedi.sk, kept
#: since, from memory).
ACC_AHA = [
    ("normal", "<120", "and", "<80"),
    ("elevated", "120-129", "and", "<80"),
    ("stage 1", "130-139", "or", "80-89"),
    ("stage 2", ">=140", "or", ">=90"),
]
EUROPEAN = [
    ("optimal", "<120", "and", "<80"),
    ("normal", "120-129", "and/or", "80-84"),
    ("high-normal", "130-139", "and/or", "85-89"),
    ("grade 1", "140-159", "and/or", "90-99"),
    ("grade 2", "160-179", "and/or", "100-109"),
    ("grade 3", ">=180", "and/or", ">=110"),
]
PRINTED = {
    "jnc-7": [
        ("normal", "<120", "and", "<80"),
        ("prehypertension", "120-139", "or", "80-89"),
        ("stage 1", "140-159", "or", "90-99"),
        ("stage 2", ">=160", "or", ">=100"),
    ],
    "acc-aha-2017": ACC_AHA,
    "acc-aha-2025": ACC_AHA,
    "esc-esh-2018": EUROPEAN,
    "esh-2023": EUROPEAN,
    "esc-2024": [
        ("non-elevated", "<120", "and", "<70"),
        ("elevated", "120-139", "or", "70-89"),
        ("hypertension", ">=140", "or", ">=90"),
    ],
    "ish-2020": [
        ("normal", "<130", "and", "<85"),
        ("high-normal", "130-139", "and/or", "85-89"),
        ("grade 1", "140-159", "and/or", "90-99"),
        ("grade 2", ">=160", "and/or", ">=100"),
    ],
    "nice-ng136": [
        ("below stage 1", "<140", "and", "<90"),
        ("stage 1", "140-159", "/", "90-99"),
        ("stage 2", "160-179", "/", "100-119"),
        ("stage 3", ">=180", "or", ">=120"),
    ],
}
ROWS = [(name, *row) for name, rows in PRINTED.items() for row in rows]

#: Whole pressures at and about every bound, and between.
SYSTOLIC = sorted({b + d for b in (120, 130, 140, 160, 180) for d in (-1, 0, 1)} | {85, 150, 210})
DIASTOLIC = sorted(
    {b + d for b in (70, 80, 85, 90, 100, 110, 120) for d in (-1, 0, 1)} | {50, 75, 95, 130}
)


def holds(value: float, printed: str) -> bool:
    """Whether a whole number lies in a range as it is printed."""
    if printed.startswith("<"):
        return value < int(printed[1:])
    if printed.startswith(">="):
        return value >= int(printed[2:])
    low, high = map(int, printed.split("-"))
    return low <= value <= high


def by_the_table(name: str, systolic: int, diastolic: int) -> str:
    """The highest row that fits, read from the printed table, without qualifiers."""
    fits = [
        category
        for category, high, joiner, low in PRINTED[name]
        if (holds(systolic, high) and holds(diastolic, low))
        or (joiner != "and" and (holds(systolic, high) or holds(diastolic, low)))
    ]
    return fits[-1]


def bare(category: str) -> str:
    return category.partition(",")[0]


def ends(printed: str) -> list[int]:
    """Lowest and highest whole number of a printed range, as far as it has ends."""
    numbers = [int(one) for one in re.findall(r"\d+", printed)]
    return [numbers[0] - 1] if printed.startswith("<") else numbers


def test_every_scheme_is_here() -> None:
    assert set(PRINTED) == set(SCHEMES)
    for name, rows in PRINTED.items():
        assert [one.name for one in SCHEMES[name].categories] == [row[0] for row in rows]
        assert SCHEMES[name].date
        assert SCHEMES[name].source


@pytest.mark.parametrize(("name", "category", "high", "joiner", "low"), ROWS)
def test_row_by_row(name: str, category: str, high: str, joiner: str, low: str) -> None:
    scheme = SCHEMES[name]
    for systolic, diastolic in product(ends(high), ends(low)):
        assert bare(category_of(scheme, systolic, diastolic)) == category
    if joiner != "and":  # either pressure alone is enough, with the other at its lowest
        for systolic in ends(high):
            assert bare(category_of(scheme, systolic, 45.0)) == category
        for diastolic in ends(low):
            assert bare(category_of(scheme, 85.0, diastolic)) == category


@pytest.mark.parametrize("name", PRINTED)
def test_every_mixed_pair(name: str) -> None:
    for systolic, diastolic in product(SYSTOLIC, DIASTOLIC):
        found = bare(category_of(SCHEMES[name], systolic, diastolic))
        assert found == by_the_table(name, systolic, diastolic), (systolic, diastolic)


@pytest.mark.parametrize("name", PRINTED)
def test_fractions_belong_below_the_next_bound(name: str) -> None:
    """129.5 lies between 120-129 and 130-139 as printed: it belongs to the lower one."""
    for systolic, diastolic in product(SYSTOLIC, DIASTOLIC):
        whole = category_of(SCHEMES[name], systolic, diastolic)
        for share in (0.5, 0.999999):
            found = category_of(SCHEMES[name], systolic + share, diastolic + share)
            assert found == whole, (systolic, diastolic, share)


#: Facts 2 (calculated): the same value, different labels.
@pytest.mark.parametrize(
    ("pair", "labels"),
    [
        ((118.0, 72.0), ("normal", "optimal", "normal", "elevated")),
        ((134.0, 84.0), ("stage 1", "high-normal", "high-normal", "elevated")),
    ],
)
def test_same_value_different_label(pair: tuple[float, float], labels: tuple[str, ...]) -> None:
    names = ("acc-aha-2025", "esh-2023", "ish-2020", "esc-2024")
    assert tuple(category_of(SCHEMES[name], *pair) for name in names) == labels


@pytest.mark.parametrize(
    ("name", "systolic", "diastolic", "category"),
    [
        # isolated systolic: 140 or more and below 90, graded by systolic (medicalcriteria.com)
        ("esh-2023", 140.0, 89.99, "grade 1, isolated systolic"),
        ("esc-esh-2018", 165.0, 70.0, "grade 2, isolated systolic"),
        ("esc-esh-2018", 185.0, 89.0, "grade 3, isolated systolic"),
        ("esh-2023", 139.99, 89.0, "high-normal"),
        ("esh-2023", 140.0, 90.0, "grade 1"),
        # isolated diastolic: ESH 2023 only (from memory)
        ("esh-2023", 139.99, 90.0, "grade 1, isolated diastolic"),
        ("esh-2023", 120.0, 105.0, "grade 2, isolated diastolic"),
        ("esc-esh-2018", 120.0, 105.0, "grade 2"),
        ("ish-2020", 165.0, 70.0, "grade 2"),
        ("acc-aha-2025", 165.0, 70.0, "stage 2"),
    ],
)
def test_isolated(name: str, systolic: float, diastolic: float, category: str) -> None:
    assert category_of(SCHEMES[name], systolic, diastolic) == category


def test_each_pressure_is_placed_alone_too() -> None:
    found = visit(series((124.0, 92.0), (126.0, 92.0))).placed
    assert found is not None
    assert (found.systolic, found.diastolic, found.category) == ("elevated", "stage 2", "stage 2")


@pytest.mark.parametrize(
    ("systolic", "diastolic", "certain", "could_be"),
    [
        # systolic and diastolic as (value, low, high); ACC/AHA
        ((134.0, 131.0, 137.0), (75.0, 73.0, 77.0), True, ("stage 1",)),
        ((139.0, 136.0, 141.0), (75.0, 73.0, 77.0), False, ("stage 1", "stage 2")),
        ((139.0, 136.0, 140.0), (75.0, 73.0, 77.0), False, ("stage 1", "stage 2")),
        ((139.0, 136.0, 139.99), (75.0, 73.0, 77.0), True, ("stage 1",)),
        ((118.0, 117.0, 119.0), (79.0, 78.0, 80.0), False, ("normal", "stage 1")),
        ((121.0, 119.0, 123.0), (79.0, 78.0, 80.0), False, ("normal", "elevated", "stage 1")),
        # A bound that changes nothing, for the other pressure is higher.
        ((129.0, 127.0, 131.0), (95.0, 93.0, 97.0), True, ("stage 2",)),
        # One that is wide enough to jump over a category.
        ((125.0, 118.0, 142.0), (70.0, 69.0, 71.0), False,
         ("normal", "elevated", "stage 1", "stage 2")),
        ((125.0, None, None), (70.0, 69.0, 71.0), False, ("elevated",)),
    ],
)  # fmt: skip
def test_doubt(
    systolic: tuple[float, float | None, float | None],
    diastolic: tuple[float, float, float],
    certain: bool,
    could_be: tuple[str, ...],
) -> None:
    means = [
        Mean(mmhg=value, low_mmhg=low, high_mmhg=high) for value, low, high in (systolic, diastolic)
    ]
    found = place(SCHEMES["acc-aha-2025"], *means)
    assert (found.certain, found.could_be) == (certain, could_be)


def test_doubt_about_the_qualifier_alone() -> None:
    found = place(
        SCHEMES["esh-2023"],
        Mean(mmhg=165.0, low_mmhg=163.0, high_mmhg=167.0),
        Mean(mmhg=89.0, low_mmhg=87.0, high_mmhg=91.0),
    )
    assert not found.certain
    assert found.could_be == ("grade 2", "grade 2, isolated systolic")


@pytest.mark.parametrize(
    ("mmhg", "shown"),
    [
        (139.4, "139"),
        (139.5, "139.5"),
        (139.94, "139.9"),
        (139.96, "139.96"),
        (139.9999, "139.9999"),
        (140.0, "140"),
        (140.4, "140"),
        (129.5, "130"),  # no bound of this scheme
        (179.6, "180"),
        (180.0, "180"),
        (180.3, "180.3"),  # above 180 is very high, and 180 is not
    ],
)
def test_rounding_never_crosses_a_bound(mmhg: float, shown: str) -> None:
    assert shown_mmhg(mmhg, (120.0, 140.0), 180.0) == shown


def test_a_pair_with_an_unknown_half() -> None:
    assert shown_pair(SCHEMES["esc-2024"], None, 69.7) == "?/69.7"
