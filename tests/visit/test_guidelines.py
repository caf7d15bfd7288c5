"""How named guidelines average: the comparison table of 2026 and the rows beside it."""

from __future__ import annotations

import pytest

from tapfall.errors import SettingError
from tapfall.visit import GUIDELINES, Arm, visit
from tests.visit.made import series

#: Four readings that differ by little, so that no rule asks for more.
FOUR = ((136.0, 88.0), (133.0, 86.0), (131.0, 85.0), (130.0, 84.0))
THREE = FOUR[:3]

#: name, readings, spacing (s), average of three readings; sources stand in facts 1.1:
#: the comparison table of 2026 (doi 10.2478/rjc-2026-0003) but for ESC/ESH 2018 (table 8,
#: actuamed.com.mx), CHEP 2016 (heart.bmj.com/highwire/markup/150572), AHA 2005 and the
#: survey (both from memory).
TABLE = [
    ("esc-2024", 3, 60, (132.0, 85.5)),  # last two
    ("esc-esh-2018", 3, 60, (132.0, 85.5)),  # last two
    ("esh-2023", 3, 60, (132.0, 85.5)),  # 2nd and 3rd
    ("ish-2020", 3, 60, (132.0, 85.5)),  # 2nd and 3rd
    ("acc-aha-2025", 2, 60, (133.333333, 86.333333)),  # all available
    ("canada-2025", 3, 60, (133.333333, 86.333333)),  # all three
    ("chep-2016", 3, None, (132.0, 85.5)),  # discard the first, average the rest
    ("jsh-2019", 2, 60, (132.0, 85.5)),  # two stable values
    ("aha-2005", 2, 60, (133.333333, 86.333333)),  # average
    ("survey", 3, 30, (132.0, 85.5)),  # all but the first
]


@pytest.mark.parametrize(("name", "wanted", "spacing_s", "expected"), TABLE)
def test_published_table(
    name: str, wanted: int, spacing_s: float | None, expected: tuple[float, float]
) -> None:
    guideline = GUIDELINES[name]
    assert (guideline.readings, guideline.spacing_s) == (wanted, spacing_s)
    average = visit(series(*THREE), average=name).average
    assert average is not None
    assert (average.systolic.mmhg, average.diastolic.mmhg) == expected


def test_the_table_is_whole() -> None:
    assert {row[0] for row in TABLE} == set(GUIDELINES)
    for one in GUIDELINES.values():
        assert one.source
        assert one.date


@pytest.mark.parametrize(
    ("name", "count", "systolic", "of"),
    [
        ("esc-2024", 2, 134.5, 2),
        ("esh-2023", 2, 133.0, 1),  # the third is not there: no average of two
        ("ish-2020", 2, 133.0, 1),
        ("chep-2016", 2, 133.0, 1),
        ("acc-aha-2025", 2, 134.5, 2),
        ("esh-2023", 4, 130.5, 2),  # what was taken since counts
        ("chep-2016", 4, 131.333333, 3),
        ("acc-aha-2025", 4, 132.5, 4),
        ("esh-2023", 1, 136.0, 1),
        ("survey", 1, 136.0, 1),
        ("jsh-2019", 1, 136.0, 1),
    ],
)
def test_other_counts(name: str, count: int, systolic: float, of: int) -> None:
    found = visit(series(*FOUR[:count]), average=name)
    assert found.average is not None
    assert (found.average.systolic.mmhg, found.average.count) == (systolic, of)
    assert sum(one.averaged for one in found.readings) == of
    assert (found.placed is None) is (of == 1)


@pytest.mark.parametrize(
    ("name", "count", "missing"),
    [("acc-aha-2025", 1, 1), ("esc-2024", 2, 1), ("canada-2025", 1, 2), ("survey", 2, 1)],
)
def test_too_few(name: str, count: int, missing: int) -> None:
    more = visit(series(*FOUR[:count]), average=name).more
    title, wanted = GUIDELINES[name].title, GUIDELINES[name].readings
    assert more == (
        f"{title} asks for {wanted} readings, {count} of the left arm could be used: "
        f"take {missing} more.",
    )
    assert visit(series(*FOUR[:wanted]), average=name).more == ()


#: ISH 2020 (comparison table of 2026): below 130/85 the first reading needs no others.
@pytest.mark.parametrize(
    ("pair", "enough"),
    [((129.99, 84.99), True), ((130.0, 84.0), False), ((129.0, 85.0), False)],
)
def test_one_low_reading_is_enough_for_ish(pair: tuple[float, float], enough: bool) -> None:
    found = visit(series(pair), average="ish-2020")
    assert (found.more == ()) is enough
    assert ("ISH 2020: a first reading below 130/85 mmHg needs no others." in found.notes) is enough
    assert found.placed is None
    assert visit(series(pair), average="esh-2023").more != ()


@pytest.mark.parametrize(
    ("name", "pairs", "more"),
    [
        # ESC 2024: more if readings differ by more than 10.
        ("esc-2024", ((140, 80), (135, 80), (130, 80)), False),
        ("esc-2024", ((140.01, 80), (135, 80), (130, 80)), True),
        ("esc-2024", ((140, 80), (128, 80), (131, 80)), True),
        ("esc-2024", ((140, 91), (138, 80), (139, 82)), True),
        # A fourth was taken, and the last two agree.
        ("esc-2024", ((150, 80), (135, 80), (133, 80), (131, 80)), False),
        ("esc-2024", ((150, 80), (135, 80), (133, 80), (121, 80)), True),
        # ESC/ESH 2018: only if the first two differ by more than 10.
        ("esc-esh-2018", ((140, 80), (135, 80), (124, 80)), False),
        ("esc-esh-2018", ((140, 80), (129, 80), (130, 80)), True),
        # AHA 2005: more if the first two differ by more than 5.
        ("aha-2005", ((140, 80), (135, 80)), False),
        ("aha-2005", ((140, 80), (134.9, 80)), True),
        ("aha-2005", ((140, 80), (134, 80), (133, 80)), False),
        ("aha-2005", ((140, 80), (134, 80), (127, 80)), True),
        # The others have no such rule.
        ("acc-aha-2025", ((160, 80), (120, 80)), False),
        ("canada-2025", ((160, 80), (120, 80), (140, 80)), False),
    ],
)
def test_readings_that_differ(
    name: str, pairs: tuple[tuple[float, float], ...], more: bool
) -> None:
    found = visit(series(*pairs), average=name).more
    assert any("differ by more than" in one for one in found) is more


#: JSH 2019: two stable values, difference below 5.
@pytest.mark.parametrize(
    ("pairs", "expected"),
    [
        (((140, 80), (135.1, 80)), 137.55),
        (((140, 80), (135, 80)), None),
        (((140, 80), (139, 85)), None),
        (((150, 90), (140, 86), (138, 84)), 139.0),
        # The last stable pair counts, also when a later reading is off.
        (((140, 80), (138, 80), (120, 80)), 139.0),
        (((140, 80), (120, 80), (141, 80)), None),
    ],
)
def test_stable_readings(pairs: tuple[tuple[float, float], ...], expected: float | None) -> None:
    found = visit(series(*pairs), average="jsh-2019")
    if expected is None:
        assert found.average is None
        assert found.placed is None
        assert found.why_not_placed == "There is no average."
        assert "there are none: take another" in found.more[0]
    else:
        assert found.average is not None
        assert found.average.systolic.mmhg == expected
        assert found.more == ()


def test_each_arm_is_averaged_by_itself() -> None:
    taken = [*series(*THREE), *series((120.0, 80.0), (121.0, 81.0), arm=Arm.RIGHT)]
    found = visit(taken, average="acc-aha-2025")
    assert [(one.arm, one.count) for one in found.averages] == [(Arm.LEFT, 3), (Arm.RIGHT, 2)]
    assert found.averages[1].systolic.mmhg == 120.5


def test_unknown_names() -> None:
    with pytest.raises(SettingError, match=r"^average: found 'esc'; allowed acc-aha-2025, "):
        visit(series(*THREE), average="esc")
    with pytest.raises(SettingError, match=r"^scheme: found 'x\\n'; allowed acc-aha-2025, "):
        visit(series(*THREE), scheme="x\n")
