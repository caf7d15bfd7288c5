"""Every published table and figure that a check rests on, row by row, its source beside it."""

from __future__ import annotations

from datetime import date

import pytest

from tapfall import standards
from tapfall.technique import Stated
from tapfall.technique.on_stated import cuff_for
from tests.technique.made import CORNERS, found, log_of, reading_of


# AHA 2005 (Pickering), cuffs for adults: arm, name, bladder width x length.
@pytest.mark.parametrize(
    ("first_cm", "last_cm", "name", "width_cm", "length_cm"),
    [
        (22, 26, "small adult", 12, 22),
        (27, 34, "adult", 16, 30),
        (35, 44, "large adult", 16, 36),
        (45, 52, "thigh", 16, 42),
    ],
)
def test_cuffs_of_the_aha(
    first_cm: int, last_cm: int, name: str, width_cm: int, length_cm: int
) -> None:
    for arm_cm in range(first_cm, last_cm + 1):
        size = cuff_for(arm_cm)
        assert size is not None
        assert (size.name, size.width_cm, size.length_cm) == (name, width_cm, length_cm)
        assert found("cuff size", stated=Stated(arm_cm=arm_cm, cuff=name)).state == "ok"
        # The bladder of the same row, though AHA 2019 asks for other shares on some arms.
        bladder = found("cuff size", stated=Stated(arm_cm=arm_cm, cuff=(width_cm, length_cm)))
        assert bladder.state == "ok"


# Our choice where the table of whole cm is open: half-open, a tie to the larger cuff.
@pytest.mark.parametrize(
    ("arm_cm", "name"),
    [
        (21.99, None),
        (26.5, "small adult"),
        (26.99, "small adult"),
        (27.0, "adult"),
        (34.99, "adult"),
        (35.0, "large adult"),
        (44.99, "large adult"),
        (45.0, "thigh"),
        (52.99, "thigh"),
        (53.0, None),
    ],
)
def test_arms_between_the_rows(arm_cm: float, name: str | None) -> None:
    size = cuff_for(arm_cm)
    assert (None if size is None else size.name) == name


# AHA 2005 (from memory): undersized reads high, oversized slightly low.
@pytest.mark.parametrize(
    ("arm_cm", "cuff", "side"),
    [
        (38.0, "adult", "reads high"),
        (30.0, "small adult", "reads high"),
        (30.0, "large adult", "reads slightly low"),
        (24.0, "thigh", "reads slightly low"),
    ],
)
def test_a_wrong_cuff_says_which_way(arm_cm: float, cuff: str, side: str) -> None:
    one = found("cuff size", stated=Stated(arm_cm=arm_cm, cuff=cuff))
    assert one.state == "fault"
    assert one.bias is not None
    assert one.bias.startswith(side)


# AHA 2019 (width by a textbook): width 37-50 %, length 75-100 % of the arm; arm of 30 cm.
@pytest.mark.parametrize(
    ("cuff_cm", "state", "side"),
    [
        ((11.1, 22.5), "ok", None),
        ((15.0, 30.0), "ok", None),
        ((11.0, 24.0), "fault", "reads high"),
        ((13.0, 22.4), "fault", "reads high"),
        ((15.1, 30.0), "fault", "reads slightly low"),
        ((15.0, 30.1), "fault", "reads slightly low"),
        ((10.0, 31.0), "fault", "width and length err"),
    ],
)
def test_bladders_of_the_aha(cuff_cm: tuple[float, float], state: str, side: str | None) -> None:
    one = found("cuff size", stated=Stated(arm_cm=30.0, cuff=cuff_cm))
    assert one.state == state
    assert (one.bias or "").startswith(side or "")
    assert (one.bias is None) == (side is None)


def test_an_arm_without_a_cuff() -> None:
    assert found("cuff size", stated=Stated(arm_cm=20.0, cuff="small adult")).state == "look"
    assert found("cuff size", stated=Stated(arm_cm=20.0)).state == "unknown"
    assert found("cuff size", stated=Stated(cuff="adult")).state == "unknown"


# Sizes of technique errors.  ARMS trial 2024, n = 133 (rows 1, 2); pages that cite Arch
# Intern Med 153 (talking) and J Gen Intern Med 10 (back); AHA and reviews, unsure (legs).
@pytest.mark.parametrize(
    ("check", "stated", "bias"),
    [
        (
            "arm support",
            Stated(arm_support="lap"),
            "systolic +3.9 (2.5 to 5.2), diastolic +4.0 (3.1 to 5.0) mmHg",
        ),
        (
            "arm support",
            Stated(arm_support="side"),
            "systolic +6.5 (5.1 to 7.9), diastolic +4.4 (3.4 to 5.4) mmHg",
        ),
        ("talking", Stated(talking=True), "reads 8 to 15 mmHg high"),
        ("back", Stated(back_supported=False), "reads 5 to 10 mmHg high"),
        ("legs", Stated(legs_crossed=True), "reads about 3 to 10 mmHg high"),
    ],
)
def test_errors_of_posture(check: str, stated: Stated, bias: str) -> None:
    one = found(check, stated=stated)
    assert one.state == "fault"
    assert bias in (one.bias or "")


@pytest.mark.parametrize(
    ("check", "stated"),
    [
        ("arm support", Stated(arm_support="desk")),
        ("talking", Stated(talking=False)),
        ("back", Stated(back_supported=True)),
        ("legs", Stated(legs_crossed=False)),
        ("posture", Stated(posture="sitting")),
        ("arm", Stated(arm="left")),
    ],
)
def test_what_is_done_as_taught(check: str, stated: Stated) -> None:
    one = found(check, stated=stated)
    assert (one.state, one.bias) == ("ok", None)
    assert found(check).state == "unknown"


# Rest: 5 min (ESC/ESH 2018, ACC/AHA), 3-5 min (AHA 2019).
@pytest.mark.parametrize(
    ("rested_min", "state"),
    [(10.0, "ok"), (5.0, "ok"), (4.9, "look"), (3.0, "look"), (2.9, "fault"), (0.0, "fault")],
)
def test_rest(rested_min: float, state: str) -> None:
    assert found("rest before", stated=Stated(rested_min=rested_min)).state == state


# Spacing: 1 min (ESC/ESH 2018, ESH 2023, ISH 2020, ACC/AHA); 30 s in surveys (from memory).
@pytest.mark.parametrize(
    ("since_last_s", "state"),
    [(120.0, "ok"), (60.0, "ok"), (59.0, "look"), (30.0, "look"), (29.0, "fault")],
)
def test_spacing(since_last_s: float, state: str) -> None:
    stated = Stated(since_last_s=since_last_s)
    assert found("wait since the reading before", stated=stated).state == state


# Calibration: aneroid every 6 months, others every year (scribd.com/document/399817325).
@pytest.mark.parametrize(
    ("day", "state", "months"),
    [
        (date(2026, 8, 15), "ok", "0"),
        (date(2026, 2, 15), "ok", "6"),
        (date(2026, 2, 14), "look", "6, too long for an aneroid"),
        (date(2025, 8, 15), "look", "12, too long for an aneroid"),
        (date(2025, 8, 14), "fault", "12"),
        (date(2020, 1, 1), "fault", "79"),
        (date(2026, 8, 16), "look", "on 2026-08-16, which lies ahead"),
    ],
)
def test_calibration(day: date, state: str, months: str) -> None:
    stated = Stated(manometer_calibrated=day)
    one = found("calibration", stated=stated, today=date(2026, 8, 15))
    assert one.state == state
    assert one.found == months
    assert found("calibration", stated=stated).state == "unknown"


def test_the_last_day_of_a_short_month() -> None:
    stated = Stated(manometer_calibrated=date(2025, 8, 31))
    assert found("calibration", stated=stated, today=date(2026, 2, 28)).state == "ok"
    assert found("calibration", stated=stated, today=date(2026, 3, 1)).state == "look"


# Inflation: 20-30 mmHg above (ACC/AHA, AHA 2019), up to 40 over a gap (general reference).
# The ordinary log is inflated to 150 mmHg; 3 mmHg of slack is ours.
@pytest.mark.parametrize(
    ("systolic_mmhg", "inflation", "over"),
    [
        (125.0, "ok", "ok"),
        (130.0, "ok", "ok"),
        (132.9, "ok", "ok"),
        (134.0, "look", "ok"),
        (139.9, "look", "ok"),
        (140.5, "fault", "ok"),
        (108.0, "ok", "ok"),
        (106.0, "ok", "look"),
    ],
)
def test_inflation(systolic_mmhg: float, inflation: str, over: str) -> None:
    reading = reading_of(systolic_mmhg)
    assert found("inflation", reading=reading).state == inflation
    assert found("over-inflation", reading=reading).state == over


# IEC 80601-2-30, normal use, adults: at most 300 mmHg (from memory).
@pytest.mark.parametrize(("top_mmhg", "state"), [(299.0, "ok"), (301.0, "fault")])
def test_highest_pressure(top_mmhg: float, state: str) -> None:
    corners = [(t, top_mmhg if p == 150.0 else p) for t, p in CORNERS]
    assert found("highest pressure", log_of(corners)).state == state


# Deflation: 2 mmHg/s (ACC/AHA, AHA 2019), 2-3 (AHA 2005, from memory).  The wider bounds
# (look outside 1.5-4, fault outside 1-5) are ours.
@pytest.mark.parametrize(
    ("rate_mmhg_per_s", "state", "side"),
    [
        (0.9, "fault", "diastolic reads high"),
        (1.4, "look", "diastolic reads high"),
        (2.0, "ok", None),
        (3.0, "ok", None),
        (4.2, "look", "systolic reads low, diastolic high"),
        (5.2, "fault", "systolic reads low, diastolic high"),
    ],
)
def test_deflation(rate_mmhg_per_s: float, state: str, side: str | None) -> None:
    fall_s = 100.0 / rate_mmhg_per_s
    corners = [
        *CORNERS[:4],
        (12.0 + fall_s, 50.0),
        (13.0 + fall_s, 0.0),
        (21.0 + fall_s, 0.0),
    ]
    at_s = (12.0 + 25.0 / rate_mmhg_per_s, 12.0 + 75.0 / rate_mmhg_per_s)
    for place in ("", " near systolic", " near diastolic"):
        one = found(f"deflation{place}", log_of(corners), reading_of(beats_s=at_s))
        assert one.state == state
        assert float(one.found) == pytest.approx(rate_mmhg_per_s, abs=0.06)
        assert (one.bias or "").startswith(side or "")
        assert (one.bias is None) == (side is None)


# Step per beat: rate times beat interval (computed; a table over heart rates 40 to 120).
STEPS = {
    2.0: (3.0, 2.4, 2.0, 1.67, 1.33, 1.0),
    3.0: (4.5, 3.6, 3.0, 2.5, 2.0, 1.5),
    4.0: (6.0, 4.8, 4.0, 3.33, 2.67, 2.0),
    5.0: (7.5, 6.0, 5.0, 4.17, 3.33, 2.5),
}


@pytest.mark.parametrize("rate_mmhg_per_s", STEPS)
def test_step_per_beat(rate_mmhg_per_s: float) -> None:
    fall_s = 100.0 / rate_mmhg_per_s
    corners = [*CORNERS[:4], (12.0 + fall_s, 50.0), (13.0 + fall_s, 0.0), (21.0 + fall_s, 0.0)]
    log = log_of(corners)
    at_s = (12.0 + 25.0 / rate_mmhg_per_s, 12.0 + 75.0 / rate_mmhg_per_s)
    for heart, step in zip((40, 50, 60, 72, 90, 120), STEPS[rate_mmhg_per_s], strict=True):
        one = found("deflation per beat", log, reading_of(pulse_per_min=heart, beats_s=at_s))
        assert float(one.found) == pytest.approx(step, abs=0.13)
        assert (one.state == "ok") == (float(one.found) <= 4.0)


# Listening on: 10 mmHg below the last sound (AHA and surveys, from memory).
@pytest.mark.parametrize(
    ("last_mmhg", "state"), [(75.0, "ok"), (60.5, "ok"), (59.0, "fault"), (52.0, "fault")]
)
def test_listening_on(last_mmhg: float, state: str) -> None:
    assert found("listening on", reading=reading_of(diastolic_mmhg=last_mmhg)).state == state


# ISO 81060-1: +-3 mmHg (from memory); half of it is fine (ours).
@pytest.mark.parametrize(
    ("zero_mmhg", "state", "bias"),
    [
        (0.0, "ok", None),
        (1.4, "ok", None),
        (-1.4, "ok", None),
        (2.0, "look", "all pressures read 2.0 mmHg high"),
        (-4.0, "fault", "all pressures read 4.0 mmHg low"),
        (6.0, "fault", "all pressures read 6.0 mmHg high"),
    ],
)
def test_zero(zero_mmhg: float, state: str, bias: str | None) -> None:
    log = log_of([(t, p + zero_mmhg) for t, p in CORNERS])
    for check in ("zero before", "zero after"):
        one = found(check, log)
        assert one.state == state
        assert float(one.found) == pytest.approx(zero_mmhg)
        assert (one.bias or "").startswith(bias or "")


def test_figures_are_those_published() -> None:
    # The figures by name; unit and source are held by the guards.
    assert {
        name: getattr(standards, name).value
        for name in (
            "INFLATE_ABOVE",
            "INFLATE_ABOVE_MOST",
            "INFLATE_OVER_GAP",
            "DEFLATION",
            "DEFLATION_MOST",
            "DEFLATION_PER_BEAT",
            "LARGEST_PULSE_SHARE",
            "SYSTOLIC_PULSE_SHARE",
        )
    } == {
        "INFLATE_ABOVE": 20.0,  # ACC/AHA, AHA 2019
        "INFLATE_ABOVE_MOST": 30.0,  # ACC/AHA, AHA 2019
        "INFLATE_OVER_GAP": 40.0,  # general reference on the silent gap
        "DEFLATION": 2.0,  # ACC/AHA, AHA 2019
        "DEFLATION_MOST": 3.0,  # AHA 2005, from memory
        "DEFLATION_PER_BEAT": 2.0,  # Korean guideline 2018, table 1
        "LARGEST_PULSE_SHARE": 0.45,  # Chandrasekhar 2019
        "SYSTOLIC_PULSE_SHARE": 0.55,  # Geddes 1982, from memory
    }


# The same table's shares of the arm, in per cent, at both ends of each row (computed there).
@pytest.mark.parametrize(
    ("name", "arms_cm", "widths", "lengths"),
    [
        ("small adult", (22, 26), (55, 46), (100, 85)),
        ("adult", (27, 34), (59, 47), (111, 88)),
        ("large adult", (35, 44), (46, 36), (103, 82)),
        ("thigh", (45, 52), (36, 31), (93, 81)),
    ],
)
def test_shares_of_the_arm(
    name: str, arms_cm: tuple[int, int], widths: tuple[int, int], lengths: tuple[int, int]
) -> None:
    (size,) = (one for one in standards.CUFF_SIZES if one.name == name)
    assert (size.arm_from_cm, size.arm_to_cm) == arms_cm
    for arm_cm, width, length in zip(arms_cm, widths, lengths, strict=True):
        assert 100 * size.width_cm / arm_cm == pytest.approx(width, abs=0.51)
        assert 100 * size.length_cm / arm_cm == pytest.approx(length, abs=0.51)
