"""A zero that is far off, and rests that are none."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Finding
from tapfall.summary import summary_text
from tapfall.synth import load_builtin, simulate
from tapfall.technique import check_technique
from tests.technique.made import CORNERS, found, log_of, reading_of

ALARMS = ("look", "fault")


def zeros(log: CuffLog) -> list[Finding]:
    """What is found before and after."""
    return [found(f"zero {side}", log) for side in ("before", "after")]


def shifted(log: CuffLog, by_mmhg: float) -> CuffLog:
    """The log with another zero."""
    return CuffLog(time_s=log.time_s, pressure_mmhg=log.pressure_mmhg + by_mmhg)


@pytest.mark.parametrize("rate_hz", [1.0, 7.0, 50.0])
@pytest.mark.parametrize("by_mmhg", [14.0, 15.0, 16.0, 25.0, 60.0])
def test_a_zero_however_far_off_is_a_fault_with_its_number(by_mmhg: float, rate_hz: float) -> None:
    for one in zeros(shifted(log_of(rate_hz=rate_hz), by_mmhg)):
        assert (one.state, one.found) == ("fault", f"+{by_mmhg:.1f}")
        assert f"all pressures read {by_mmhg:.1f} mmHg high" in (one.bias or "")
        # So much may as well be left in the cuff.
        assert ("the cuff was empty" in (one.bias or "")) == (by_mmhg >= 15.0)


def test_the_summary_tells_a_zero_that_is_far_off() -> None:
    recording = simulate(load_builtin("normal")).recording
    recording = replace(recording, cuff=shifted(recording.cuff, 25.0))
    reading = take_reading(recording)
    told = replace(reading, technique=check_technique(recording, reading))
    assert "  - zero before: +25.0 mmHg, expected 0 +-1.5; all pressures read" in summary_text(told)


def test_a_rest_before_alone_tells_it() -> None:
    log = shifted(log_of([*CORNERS[:4], (48.0, 60.0)]), 20.0)
    before, after = zeros(log)
    assert (before.state, before.found) == ("fault", "+20.0")
    assert (after.state, after.found) == (
        "unknown",
        "never below 20 mmHg: the log shows no empty cuff",
    )


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 50.0])
@pytest.mark.parametrize(
    "corners",
    [
        # From the middle of the deflation on, to its middle, and both.
        [(20.0, 130.0), *CORNERS[4:]],
        [*CORNERS[:4], (40.0, 80.0)],
        [(20.0, 130.0), (48.0, 60.0)],
        # Held at the top first; held at the end, for breath, or for good.
        [(8.0, 150.0), (12.0, 150.0), (48.0, 60.0)],
        [(20.0, 130.0), (48.0, 60.0), (53.0, 60.0)],
        [(20.0, 130.0), (46.0, 65.0), (47.0, 57.0), (53.0, 57.0)],
        # The hand rested in pumping; the log comes lower later on.
        [(0.0, 100.0), (5.0, 100.0), (8.0, 150.0), (9.0, 150.0), (49.0, 50.0)],
        # Let go, and the log ends before the cuff is empty.
        [*CORNERS[:5], (52.6, 20.0)],
        # Slowly down to zero, and the log ends on the way.
        [*CORNERS[:4], (72.0, 0.5)],
    ],
)
def test_a_log_that_shows_no_rest_tells_no_zero(
    corners: list[tuple[float, float]], rate_hz: float
) -> None:
    beats_s = (24.0, 40.0) if corners[-1][0] > 45.0 else (24.0, 36.0)
    log = log_of(corners, rate_hz)
    for side in ("before", "after"):
        one = found(f"zero {side}", log, reading_of(beats_s=beats_s))
        assert one.state not in ALARMS, (side, one.found)


def test_a_log_that_comes_to_no_rest_says_so_plainly() -> None:
    log = log_of([(20.0, 130.0), (48.0, 60.7)])
    for one in zeros(log):
        assert one.found == "never below 60 mmHg: the log shows no empty cuff"


def test_a_fall_that_goes_on_to_rest_has_a_zero_after() -> None:
    log = shifted(log_of([*CORNERS[:4], (72.0, 0.0), (77.0, 0.0)]), 2.0)
    after = found("zero after", log, reading_of(beats_s=(22.0, 60.0)))
    assert (after.state, after.found) == ("look", "+2.0")


@pytest.mark.parametrize(("rows", "told"), [(2, "unknown"), (3, "ok")])
def test_a_slow_log_tells_the_zero_by_three_equal_rows(rows: int, told: str) -> None:
    rest_mmhg = [0.0] * rows
    mmhg = np.array([*rest_mmhg, *np.interp(np.arange(3.0, 55.0), *np.array(CORNERS[2:]).T)])
    mmhg[rows : rows + 4] = [20.0, 60.0, 100.0, 140.0]
    log = CuffLog(time_s=np.arange(float(mmhg.size)), pressure_mmhg=mmhg)
    before = found("zero before", log)
    assert before.state == told
    if told == "unknown":
        assert before.found == "the rest on the log is too short or not steady"


def test_a_pulse_is_no_rest() -> None:
    # Held at 30 mmHg for 6 s with a pulse of 2 mmHg, then inflated further; never empty.
    log = log_of([(0.0, 30.0), (6.0, 30.0), *CORNERS[2:5]])
    beat = np.where(log.time_s < 6.0, 1.0 + np.sin(2 * np.pi * 1.2 * log.time_s), 0.0)
    pulsing = CuffLog(time_s=log.time_s, pressure_mmhg=log.pressure_mmhg + beat)
    assert found("zero before", pulsing).state == "unknown"
    assert found("zero before", log).state == "fault"


def test_each_measurement_has_its_own_zero_although_none_goes_below_15() -> None:
    second = [(t + 61.0, p) for t, p in CORNERS]
    log = shifted(log_of([*CORNERS, *second]), 18.0)
    for side, beats_s in itertools.product(("before", "after"), ((22.0, 42.0), (83.0, 103.0))):
        assert found(f"zero {side}", log, reading_of(beats_s=beats_s)).found == "+18.0"
