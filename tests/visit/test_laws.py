"""Laws that hold for any visit."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.model import Status
from tapfall.visit import GUIDELINES, SCHEMES, Arm, Taken, visit
from tapfall.visit.category import (
    category_of,
    diastolic_bounds,
    ranks,
    systolic_bounds,
)
from tapfall.visit.words import shown_mmhg, shown_pair
from tests.visit.made import after, reading, series, unreadable

NAMES = st.sampled_from(sorted(GUIDELINES))
CLASSES = st.sampled_from(sorted(SCHEMES))
HUNDREDTHS = st.integers(0, 100).map(lambda n: n / 100.0)


def pressures(low: int, high: int) -> st.SearchStrategy[float]:
    """Pressures to 0.01 mmHg, as readings have them."""
    return st.integers(100 * low, 100 * high).map(lambda n: n / 100.0)


PAIRS = st.tuples(pressures(100, 220), pressures(40, 99))
ARMS = st.sampled_from([Arm.LEFT, Arm.RIGHT, None])


@st.composite
def visits(draw: st.DrawFn) -> list[Taken]:
    """One to six readings, each at its own minute, on any arms."""
    pairs = draw(st.lists(PAIRS, min_size=1, max_size=6))
    return [
        Taken(reading=reading(*pair), arm=draw(ARMS), label=str(n), time=after(2.0 * n))
        for n, pair in enumerate(pairs)
    ]


def rank(scheme: str, systolic: float, diastolic: float) -> int:
    return max(ranks(SCHEMES[scheme], systolic, diastolic))


@given(taken=visits(), average=NAMES, scheme=CLASSES, data=st.data())
def test_the_order_given_does_not_matter_where_times_are_known(
    taken: list[Taken], average: str, scheme: str, data: st.DataObject
) -> None:
    mixed = data.draw(st.permutations(taken))
    assert visit(mixed, average=average, scheme=scheme) == visit(
        taken, average=average, scheme=scheme
    )


@given(taken=visits(), average=NAMES, data=st.data())
def test_what_does_not_count_changes_nothing(
    taken: list[Taken], average: str, data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(taken)))
    other = data.draw(st.sampled_from([unreadable(), reading(150.0, 99.0, status=Status.REVIEW)]))
    more = [
        *taken[:place],
        Taken(reading=other, label="y", time=after(2.0 * place - 1.0)),
        *taken[place:],
    ]
    one, two = visit(taken, average=average), visit(more, average=average)
    assert (one.average, one.averages, one.placed) == (two.average, two.averages, two.placed)


@given(taken=visits(), average=NAMES)
def test_an_average_lies_among_its_readings(taken: list[Taken], average: str) -> None:
    found = visit(taken, average=average)
    assert len(found.readings) == len(taken)
    if found.average is None:
        return
    used = [one for one in found.readings if one.averaged]
    assert len(used) == found.average.count
    for name in ("systolic", "diastolic"):
        mean = getattr(found.average, name)
        values = [getattr(one, f"{name}_mmhg") for one in used]
        assert min(values) - 1e-6 <= mean.mmhg <= max(values) + 1e-6
        assert mean.low_mmhg <= mean.mmhg <= mean.high_mmhg
    assert {one.arm for one in used} == {found.average.arm}


@given(
    pairs=st.lists(PAIRS, min_size=2, max_size=5),
    step=st.tuples(pressures(0, 30), pressures(0, 30)),
    average=NAMES,
    scheme=CLASSES,
)
def test_higher_pressures_never_lower_the_category(
    pairs: list[tuple[float, float]], step: tuple[float, float], average: str, scheme: str
) -> None:
    raised = [(round(s + step[0], 2), min(round(d + step[1], 2), s)) for s, d in pairs]
    found, higher = (
        visit(series(*each), average=average, scheme=scheme) for each in (pairs, raised)
    )
    if found.average is None or higher.average is None:
        return
    if [one.averaged for one in found.readings] != [one.averaged for one in higher.readings]:
        return  # a rule that looks for stable readings may have taken others
    assert rank(scheme, higher.average.systolic.mmhg, higher.average.diastolic.mmhg) >= rank(
        scheme, found.average.systolic.mmhg, found.average.diastolic.mmhg
    )


@given(pair=PAIRS, more=st.tuples(HUNDREDTHS, HUNDREDTHS), scheme=CLASSES)
def test_ranks_never_fall(
    pair: tuple[float, float], more: tuple[float, float], scheme: str
) -> None:
    assert rank(scheme, pair[0] + more[0], pair[1] + more[1]) >= rank(scheme, *pair)


STEPS = [
    (name, which, bound)
    for name, scheme in SCHEMES.items()
    for which, bounds in (
        ("systolic", systolic_bounds(scheme)),
        ("diastolic", diastolic_bounds(scheme)),
    )
    for bound in bounds
]


@pytest.mark.parametrize(("name", "which", "bound"), STEPS)
def test_one_step_across_every_bound(name: str, which: str, bound: float) -> None:
    """One mmHg, and a hundredth, below a bound is the category before; at it the next."""

    def placed(value: float) -> int:
        pair = (value, 45.0) if which == "systolic" else (230.0, value)
        own = ranks(SCHEMES[name], *pair)
        found = visit(series(pair, pair, half=0.0), scheme=name)
        assert found.placed is not None
        assert found.placed.certain
        assert found.placed.category == category_of(SCHEMES[name], *pair)
        return own[0] if which == "systolic" else own[1]

    at = placed(bound)
    assert placed(bound + 0.99) == placed(bound + 0.01) == at
    assert placed(bound - 1.0) == placed(bound - 0.01) < at


@given(systolic=pressures(60, 260), diastolic=pressures(30, 160), sixth=HUNDREDTHS, scheme=CLASSES)
def test_what_is_shown_has_the_category_of_what_is_meant(
    systolic: float, diastolic: float, sixth: float, scheme: str
) -> None:
    systolic = round(systolic + 1e-4 * sixth, 6)
    text = shown_pair(SCHEMES[scheme], systolic, diastolic)
    shown = tuple(float(part) for part in text.split("/"))
    assert category_of(SCHEMES[scheme], *shown) == category_of(SCHEMES[scheme], systolic, diastolic)
    assert (shown[0] > 180.0, shown[1] > 120.0) == (systolic > 180.0, diastolic > 120.0)
    assert abs(shown[0] - systolic) <= 0.5


@given(mmhg=pressures(60, 260), decimals=st.integers(0, 2))
def test_decimals_are_only_added_where_needed(mmhg: float, decimals: int) -> None:
    text = shown_mmhg(mmhg, (), 1000.0, decimals=decimals)
    assert len(text.partition(".")[2]) == decimals


@given(taken=visits(), average=NAMES, scheme=CLASSES)
def test_labels_carry_no_meaning(taken: list[Taken], average: str, scheme: str) -> None:
    renamed = [replace(one, label="=cmd()\x1b") for one in taken]
    one, two = (visit(each, average=average, scheme=scheme) for each in (taken, renamed))
    assert (one.average, one.placed, one.more) == (two.average, two.placed, two.more)


def test_the_strategies_reach_all_arms() -> None:
    """The product of arms and guidelines runs without a fault."""
    for arm, name in product((Arm.LEFT, Arm.RIGHT, None), GUIDELINES):
        assert visit(series((130.0, 80.0), arm=arm), average=name).average is not None
