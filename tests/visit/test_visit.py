"""A visit: what counts, both arms, rhythm, intervals, cautions."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC

import pytest

from tapfall.errors import SettingError
from tapfall.model import Flag, Reading, Rhythm, Rule, Status
from tapfall.standards import (
    ARMS_TO_AVOID,
    LOW_CAUTION,
    NO_DIAGNOSIS,
    VERY_HIGH_CAUTION,
)
from tapfall.visit import Arm, Average, Taken, Visit, visit
from tests.visit.made import after, not_reached, reading, series, unreadable


def averaged(found: Visit) -> Average:
    assert found.average is not None
    return found.average


def left(one: Reading, label: str = "x") -> Taken:
    return Taken(reading=one, arm=Arm.LEFT, label=label)


def test_pressures_of_an_average() -> None:
    # 120/80: pulse pressure 40; mean arterial 80 + 40 / 3 = 93.3, the textbooks' example.
    found = averaged(visit(series((119.0, 79.0), (121.0, 81.0))))
    assert (found.systolic.mmhg, found.diastolic.mmhg) == (120.0, 80.0)
    assert found.pulse_pressure_mmhg == 40.0
    assert found.mean_arterial_mmhg == pytest.approx(93.333333, abs=1e-6)


def test_interval_of_an_average_is_the_mean_of_the_intervals() -> None:
    taken = [left(reading(130.0, 80.0, half=4.0)), left(reading(134.0, 84.0, half=2.0))]
    found = averaged(visit(taken))
    assert (found.systolic.low_mmhg, found.systolic.high_mmhg) == (129.0, 135.0)
    assert (found.diastolic.low_mmhg, found.diastolic.high_mmhg) == (79.0, 85.0)


def test_an_unknown_interval_makes_no_certain_category() -> None:
    found = visit([left(reading(130.0, 80.0, half=None)), left(reading(134.0, 84.0))])
    assert averaged(found).systolic.low_mmhg is None
    assert averaged(found).systolic.high_mmhg is None
    assert found.placed is not None
    assert not found.placed.certain


def test_float_sums_do_not_miss_a_bound() -> None:
    found = visit(series((129.9, 75.0), (130.1, 75.0), (130.0, 75.0)))
    assert averaged(found).systolic.mmhg == 130.0
    assert found.placed is not None
    assert found.placed.category == "stage 1"


def test_only_ok_readings_count_unless_asked() -> None:
    review = left(reading(150.0, 95.0, status=Status.REVIEW))
    taken = [*series((130.0, 80.0), (132.0, 82.0)), review, left(unreadable())]
    found = visit(taken)
    assert averaged(found).systolic.mmhg == 131.0
    assert [one.averaged for one in found.readings] == [True, True, False, False]
    assert [one.why_not for one in found.readings[2:]] == [
        "left out because a person should check it (--include-review counts it)",
        "unreadable: no sounds in step with the heart were found while the cuff fell",
    ]
    asked = visit(taken, include_review=True)
    assert averaged(asked).systolic.mmhg == pytest.approx(412 / 3, abs=1e-6)
    assert averaged(asked).review_count == 1
    assert asked.notes[0] == (
        "1 of the 3 readings averaged should be checked by a person (status review)."
    )
    assert (found.include_review, asked.include_review) == (False, True)


def test_bounds_are_never_averaged() -> None:
    taken = [*series((130.0, 80.0), (132.0, 82.0)), left(not_reached(190.0))]
    found = visit(taken, include_review=True)
    assert averaged(found).count == 2
    assert found.readings[2].why_not == "systolic not observed"
    assert found.readings[2].systolic_mmhg is None


def test_nothing_usable() -> None:
    found = visit([left(unreadable()), left(not_reached(150.0))])
    assert (found.average, found.averages, found.placed) == (None, (), None)
    assert found.more == ("No reading could be used: measure again.",)


def test_one_measurement_counts_once() -> None:
    one = left(reading(beat_s=1.0), "a")
    again = Taken(reading=reading(status=Status.OK, half=9.0, beat_s=1.0), arm=Arm.RIGHT)
    found = visit([one, again, left(reading(beat_s=2.0))])
    assert found.readings[1].why_not == "the same measurement as a"
    assert averaged(found).count == 2
    # Without beats nothing tells equal readings from one that is there twice.
    assert averaged(visit([left(reading()), left(reading())])).count == 2


def test_diastolics_of_two_rules_are_not_mixed() -> None:
    taken = [
        left(reading(130.0, 70.0, rule=Rule.K4)),
        *series((130.0, 80.0), (132.0, 82.0)),
    ]
    found = visit(taken)
    assert averaged(found).diastolic.mmhg == 81.0
    assert found.readings[0].why_not == "its diastolic follows another rule (k4)"
    k4 = visit(series((130.0, 90.0), (132.0, 92.0), rule=Rule.K4))
    assert any("muffling (K4)" in one for one in k4.notes)


def test_impossible_pairs_are_left_out() -> None:
    found = visit([left(reading(80.0, 80.0)), *series((130.0, 80.0))])
    assert found.readings[0].why_not == "its diastolic is not below its systolic"


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_values_have_to_be_finite(bad: float) -> None:
    with pytest.raises(SettingError, match=r"reading 1 'a\\x1b': systolic: found (nan|inf); allow"):
        visit([left(reading(bad, 80.0), "a\x1b")])


def test_no_readings() -> None:
    with pytest.raises(SettingError, match=r"^visit: found no readings; allowed one or more$"):
        visit([])


def test_no_category_from_a_single_reading() -> None:
    found = visit(series((190.0, 125.0)))
    assert averaged(found).count == 1
    assert found.placed is None
    assert found.why_not_placed == "A category needs two readings or more; only one counts."
    assert found.cautions[0] == VERY_HIGH_CAUTION


# --- order and times -------------------------------------------------------------------


def timed(*minutes: float | None) -> list[Taken]:
    return [
        Taken(
            reading=reading(130.0 + n, 80.0),
            label=str(n),
            time=None if at is None else after(at),
        )
        for n, at in enumerate(minutes)
    ]


def test_times_order_the_readings() -> None:
    found = visit(timed(4.0, 0.0, 2.0))
    assert [one.label for one in found.readings] == ["1", "2", "0"]
    assert found.readings[0].time == "2026-03-31T09:15:00"


def test_some_times_order_nothing() -> None:
    found = visit(timed(4.0, None, 2.0))
    assert [one.label for one in found.readings] == ["0", "1", "2"]
    assert "Some readings have no time: all are taken in the order given." in found.notes


def test_times_are_of_one_kind() -> None:
    taken = timed(0.0, 2.0)
    taken[1] = replace(taken[1], time=after(2.0).replace(tzinfo=UTC))
    with pytest.raises(SettingError, match="found times with and without a time zone"):
        visit(taken)


@pytest.mark.parametrize(
    ("name", "apart_s", "soon"),
    [
        ("acc-aha-2025", 60, False),
        ("acc-aha-2025", 59, True),
        ("survey", 30, False),
        ("survey", 29, True),
        ("chep-2016", 1, False),
    ],
)
def test_readings_too_soon_after_each_other(name: str, apart_s: float, soon: bool) -> None:
    notes = visit(timed(0.0, apart_s / 60.0), average=name).notes
    assert any(f"are {apart_s} s apart" in one for one in notes) is soon


# --- both arms ---------------------------------------------------------------------------


def arms(left_mmhg: float, right_mmhg: float, count: int = 2) -> list[Taken]:
    return [
        *series(*[(left_mmhg, 80.0)] * count),
        *series(*[(right_mmhg, 80.0)] * count, arm=Arm.RIGHT),
    ]


#: Systolic difference, readings of each arm, and what ACC/AHA and AHA 2019 (checklist; news
#: summary), ISH 2020 (cardioprogress.ru) and NICE NG136 (nice.org.uk) say of it.
@pytest.mark.parametrize(
    ("apart", "count", "ish", "nice"),
    [
        (10.0, 2, "not above 10 mmHg systolic.", "not above 15 mmHg systolic."),
        (10.5, 2, "consistently above 10 mmHg: use the right arm.", "not above 15 mmHg systolic."),
        (10.5, 1, "above 10 mmHg: repeat on both arms.", "not above 15 mmHg systolic."),
        (15.0, 1, "above 10 mmHg: repeat on both arms.", "not above 15 mmHg systolic."),
        (15.5, 1, "above 10 mmHg: repeat on both arms.", "above 15 mmHg: repeat on both arms."),
        (15.5, 2, "consistently above 10 mmHg: use the right arm.",
         "consistently above 15 mmHg: use the right arm."),
        (20.0, 2, "consistently above 10 mmHg: use the right arm.",
         "consistently above 15 mmHg: use the right arm."),
        (20.5, 2, "consistently above 10 mmHg: use the right arm. Above 20: consider further "
         "evaluation.", "consistently above 15 mmHg: use the right arm."),
    ],
)  # fmt: skip
def test_published_rules_for_both_arms(apart: float, count: int, ish: str, nice: str) -> None:
    found = visit(arms(130.0, 130.0 + apart, count)).arms
    assert found is not None
    assert (found.systolic_mmhg, found.diastolic_mmhg, found.higher) == (-apart, 0.0, Arm.RIGHT)
    assert found.sentences == (
        "ACC/AHA; AHA 2019: from now on use the arm with the higher value, the right one.",
        f"ISH 2020: {ish}",
        f"NICE NG136: {nice}",
    )


def test_the_higher_arm_stands_for_the_visit() -> None:
    found = visit(arms(134.0, 130.0))
    assert averaged(found).arm is Arm.LEFT
    assert [one.why_not for one in found.readings[2:]] == ["averaged for its own arm"] * 2
    equal = visit(arms(130.0, 130.0))
    assert equal.arms is not None
    assert equal.arms.higher is None
    assert equal.arms.sentences[0] == "ACC/AHA; AHA 2019: the arms are equal."


@pytest.mark.parametrize(
    ("average", "scheme", "right_mmhg", "arm"),
    [
        # One reading of the higher arm against two of the other.
        ("acc-aha-2025", "acc-aha-2025", 131.0, Arm.RIGHT),
        ("ish-2020", "ish-2020", 140.0, Arm.LEFT),
        ("ish-2020", "ish-2020", 140.5, Arm.RIGHT),
        ("canada-2025", "nice-ng136", 145.0, Arm.LEFT),
        ("canada-2025", "nice-ng136", 145.5, Arm.RIGHT),
        ("canada-2025", "esc-2024", 131.0, Arm.RIGHT),
    ],
)
def test_a_single_higher_reading(average: str, scheme: str, right_mmhg: float, arm: Arm) -> None:
    taken = [
        *series((130.0, 80.0), (130.0, 80.0), (130.0, 80.0)),
        *series((right_mmhg, 80.0), arm=Arm.RIGHT),
    ]
    found = visit(taken, average=average, scheme=scheme)
    assert averaged(found).arm is arm
    assert (found.placed is None) is (arm is Arm.RIGHT)
    assert any("of the right arm" in one for one in found.more) is (arm is Arm.RIGHT)


def test_one_arm_asks_for_the_other() -> None:
    asks = "There is no average of both arms: on a first visit measure both, afterwards the "
    assert any(one.startswith(asks) for one in visit(series((130.0, 80.0))).notes)
    assert not any(one.startswith(asks) for one in visit(arms(130.0, 131.0)).notes)


def test_unknown_arms_are_averaged_apart() -> None:
    taken = [
        *series((150.0, 90.0), (150.0, 90.0), arm=None),
        *series((130.0, 80.0), (130.0, 80.0)),
    ]
    found = visit(taken)
    assert averaged(found).arm is Arm.LEFT
    assert "Readings whose arm is not stated are averaged apart." in found.notes
    assert averaged(visit(series((130.0, 80.0), arm=None))).arm is None


# --- rhythm and cautions -------------------------------------------------------------------


def test_an_irregular_rhythm_asks_for_three() -> None:
    two = visit(series((130.0, 80.0), (132.0, 82.0), rhythm=Rhythm.IRREGULAR))
    assert two.more == (
        "The rhythm is irregular: take more readings, deflate slower. In atrial fibrillation "
        "the mean of 3 is advised.",
    )
    three = visit(series(*[(130.0, 80.0)] * 3, rhythm=Rhythm.IRREGULAR))
    assert three.more == ()
    assert any("Deflate slower" in one for one in three.notes)
    flagged = replace(reading(), flags=(Flag.IRREGULAR_RHYTHM,), rhythm=Rhythm.UNKNOWN)
    assert visit([left(flagged), left(reading())]).more == two.more
    assert visit(series((130.0, 80.0), (132.0, 82.0))).more == ()


#: 2017 ACC/AHA: above 180 or above 120 mmHg (a textbook's table).
@pytest.mark.parametrize(
    ("one", "warned"),
    [
        (reading(180.0, 120.0), False),
        (reading(180.01, 80.0), True),
        (reading(150.0, 120.01), True),
        (reading(190.0, 80.0, status=Status.REVIEW), True),  # also where it does not count
        (not_reached(185.0), True),
        (not_reached(180.0), False),
        (unreadable(), False),
    ],
)
def test_very_high_values(one: Reading, warned: bool) -> None:
    found = visit([*series((130.0, 80.0), (132.0, 82.0)), left(one)])
    assert (VERY_HIGH_CAUTION in found.cautions) is warned
    assert found.cautions[-2:] == (NO_DIAGNOSIS, ARMS_TO_AVOID)


@pytest.mark.parametrize(
    ("pair", "low"), [((90.0, 60.0), False), ((89.9, 60.0), True), ((110.0, 59.9), True)]
)
def test_low_averages_are_not_called_safe(pair: tuple[float, float], low: bool) -> None:
    assert (LOW_CAUTION in visit(series(pair, pair)).cautions) is low


def test_notes_of_guideline_and_scheme() -> None:
    found = visit(series((145.0, 80.0), (145.0, 80.0)), scheme="nice-ng136")
    assert "ACC/AHA 2025 wants this on 2 occasions or more." in found.notes
    assert found.notes[-1].startswith("NICE NG136: stage 1 also wants 135/85 to 149/94 mmHg")
