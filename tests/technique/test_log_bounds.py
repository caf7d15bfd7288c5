"""What the log shows of the hand, at the bounds of where it is looked for.

Where a bound is ours the code says so; the cases here are worked out from what it means.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear.measurement import measurements
from tapfall.model import Beat, CuffLog, Phase, Reading
from tapfall.technique import measure_cuff
from tapfall.technique.log import CuffWork
from tests.technique.made import CORNERS, log_of, reading_of


def work_of(log: CuffLog, reading: Reading | None = None) -> CuffWork:
    found = measure_cuff(log, reading or reading_of())
    assert found is not None
    return found


# --- which measurement -------------------------------------------------------------------


def reading_at(*times_s: float) -> Reading:
    """A reading with beats at these times."""
    beats = tuple(Beat(time_s=t, cuff_mmhg=100.0, heard=1.0, phase=Phase.K1) for t in times_s)
    return replace(reading_of(), beats=beats)


def test_a_beat_at_the_first_or_last_row_is_of_the_measurement() -> None:
    log = log_of([*CORNERS, *((t + 61.0, p * 1.2) for t, p in CORNERS)])
    for place, top_mmhg in enumerate((150.0, 180.0)):
        one = measurements(log.time_s, log.pressure_mmhg, 300.0)[place]
        for row in (one.begin, one.stop - 1):
            found = work_of(log, reading_at(float(log.time_s[row])))
            assert found.top_mmhg == pytest.approx(top_mmhg, abs=1.0)
        for row in (one.begin - 1, one.stop):
            if row < log.time_s.size:
                assert measure_cuff(log, reading_at(float(log.time_s[row]))) is None


def test_stray_beats_of_an_earlier_measurement_do_not_choose_it() -> None:
    log = log_of([*CORNERS, *((t + 61.0, p * 1.2) for t, p in CORNERS)])
    found = work_of(log, reading_at(20.0, 21.0, 83.0, 84.0, 85.0))
    assert found.top_mmhg == pytest.approx(180.0, abs=1.0)


# --- rates -------------------------------------------------------------------------------


def test_the_mean_rate_is_that_from_the_end_of_the_hold_to_the_release() -> None:
    # Held at 150 mmHg for 8 s, then 2.5 mmHg/s down to 50.
    hold = [*CORNERS[:3], *((t + 7.0, p) for t, p in CORNERS[3:])]
    found = work_of(log_of(hold), reading_of(beats_s=(29.0, 49.0)))
    fall = found.deflation
    assert fall.falls_from_s == pytest.approx(19.0, abs=1.0)
    top_mmhg, bottom_mmhg = fall.pressure_mmhg(np.array([fall.falls_from_s, fall.end_s]))
    wanted = (top_mmhg - bottom_mmhg) / (fall.end_s - fall.falls_from_s)
    assert found.rate_mmhg_per_s == pytest.approx(wanted, rel=1e-9)
    assert found.rate_mmhg_per_s == pytest.approx(2.5, abs=0.03)
    assert (found.top_mmhg, found.bottom_mmhg) == pytest.approx((150.0, 50.0), abs=0.5)


def rate_of(
    points: Sequence[tuple[float, float]], mmhg: float, from_s: float = 0.0
) -> float | None:
    """The rate near a pressure of a fall that is known at some points, time and pressure."""
    found = work_of(log_of())
    time_s, trend_mmhg = np.array(points).T
    fall = replace(found.deflation, time_s=time_s, trend_mmhg=trend_mmhg, falls_from_s=from_s)
    return replace(found, deflation=fall).rate_near(mmhg)


@pytest.mark.parametrize(
    ("pause_mmhg", "rate"),
    [
        # 1 mmHg/s, and a pause of 10 s: 16 mmHg in 16 s or in 26.
        (133.5, 1.0), (133.0, 16.0 / 26.0), (132.5, 16.0 / 26.0),
        (117.5, 16.0 / 26.0), (117.0, 16.0 / 26.0), (116.5, 1.0),
    ],
)  # fmt: skip
def test_the_rate_near_125_is_that_from_133_to_117(pause_mmhg: float, rate: float) -> None:
    levels = np.arange(150.0, 99.9, -0.5)
    points, at_s = [], 0.0
    for level in levels:
        points.append((at_s, float(level)))
        if level == pause_mmhg:
            at_s += 10.0
            points.append((at_s, float(level)))
        at_s += 0.5
    assert rate_of(points, 125.0) == pytest.approx(rate)


def test_the_rate_near_wants_8_mmhg_of_the_fall() -> None:
    # 2 mmHg each second, down to 125: half of what is looked at, and just enough.
    down = [(float(n), 141.0 - 2.0 * n) for n in range(9)]
    assert rate_of(down, 125.0) == pytest.approx(2.0)
    assert rate_of(down, 124.9) is None
    assert rate_of(down, 200.0) is None


def test_the_rate_near_leaves_the_hold_out() -> None:
    # Held at 130 mmHg for 20 s, then 1 mmHg/s; the row at which the hold ends is of the fall.
    held = [(0.0, 130.0), *((20.0 + n, 130.0 - n) for n in range(20))]
    assert rate_of(held, 125.0, 20.0) == pytest.approx(1.0)
    assert rate_of([(0.0, 130.0), (20.0, 130.0), (21.0, 124.0), (22.0, 121.0)], 125.0, 20.0) == 4.5


# --- zeros -------------------------------------------------------------------------------


def stepped(before_s: float = 9.0, after_s: float = 9.0) -> CuffWork:
    """A log at 100 Hz whose zeros step from 4 to 1 mmHg, so long before and after.

    The cuff leaves rest (15 mmHg) at 30 s and is at rest again from 90 s on.
    """
    time_s = np.arange(0.0, 130.0, 0.01)
    mmhg = np.interp(time_s, [30.0, 36.0, 37.0, 89.0, 90.0], [15.0, 150.0, 150.0, 50.0, 15.0])
    mmhg[time_s < 29.995] = 1.0
    mmhg[time_s < 29.995 - before_s] = 4.0
    mmhg[time_s > 90.005] = 4.0
    mmhg[time_s > 90.005 + after_s] = 1.0
    return work_of(CuffLog(time_s=time_s, pressure_mmhg=mmhg), reading_of(beats_s=(47.0, 66.0)))


@pytest.mark.parametrize(("step_s", "zero_mmhg"), [(6.43, 4.0), (6.57, 1.0)])
def test_a_zero_is_the_middle_one_of_ten_seconds_beside_a_margin(
    step_s: float, zero_mmhg: float
) -> None:
    # Of 1.5 to 11.5 s before and after, half lies beyond 6.5 s.
    found = stepped(before_s=step_s, after_s=step_s)
    assert found.zero_before.mmhg == zero_mmhg
    assert found.zero_after.mmhg == 5.0 - zero_mmhg


@pytest.mark.parametrize(("step_s", "zero_mmhg"), [(3.93, 1.0), (4.07, 4.0)])
def test_a_zero_after_is_read_up_to_a_margin_before_the_next_inflation(
    step_s: float, zero_mmhg: float
) -> None:
    # At rest from 90 s on, inflated again from 98 s on: of 91.5 to 96.5 s half lies beyond 94 s.
    time_s = np.arange(0.0, 160.0, 0.01)
    at_s = [30.0, 36.0, 37.0, 85.0, 90.0, 98.0, 104.0, 105.0, 145.0, 146.0]
    mmhg = np.interp(time_s, at_s, [15, 150, 150, 50, 15, 15, 170, 170, 50, 0])
    mmhg[time_s < 29.995] = 0.0
    rest = (time_s > 90.005) & (time_s < 97.995)
    mmhg[rest] = np.where(time_s[rest] < 90.0 + step_s, 4.0, 1.0)
    found = work_of(CuffLog(time_s=time_s, pressure_mmhg=mmhg), reading_of(beats_s=(47.0, 66.0)))
    assert found.top_mmhg == pytest.approx(150.0, abs=1.0)
    assert found.zero_after.mmhg == zero_mmhg


def test_the_next_inflation_is_the_one_after_the_reading() -> None:
    # Three measurements, 8 s of rest between them, whose zero is 0, 2 and then 5 mmHg.
    corners = [(t + 56.0 * n, max(p, rest)) for n, rest in enumerate((0.0, 2.0, 5.0))
               for t, p in CORNERS[1:6]]  # fmt: skip
    found = work_of(log_of([(0.0, 0.0), *corners]), reading_of(beats_s=(78.0, 98.0)))
    assert found.zero_after.mmhg is not None
    # From 2 mmHg when it was let go to 5 mmHg at the next inflation, evenly: half way.
    assert found.zero_after.mmhg == pytest.approx(3.5, abs=0.2)
    assert found.zero_before.mmhg == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("rows", [2, 3])
def test_a_zero_is_read_from_three_rows_at_least(rows: int) -> None:
    # Rows 10 ms apart that end 1.5 s before the cuff leaves rest; then the ordinary log.
    log = log_of()
    leaves_s = float(log.time_s[log.pressure_mmhg >= 15.0][0])
    rest_s = leaves_s - 1.505 - 0.01 * np.arange(rows)[::-1]
    later = log.time_s >= leaves_s
    cut = CuffLog(
        time_s=np.concatenate([rest_s, log.time_s[later]]),
        pressure_mmhg=np.concatenate([np.full(rows, 2.0), log.pressure_mmhg[later]]),
    )
    assert work_of(cut).zero_before.mmhg == (None if rows < 3 else 2.0)


def test_a_release_that_the_log_does_not_follow_to_rest_tells_no_zero() -> None:
    # Let go at 50 mmHg, and the log ends at 20.
    time_s = np.arange(0.0, 54.0, 0.05)
    mmhg = np.interp(time_s, [5.0, 11.0, 12.0, 52.0, 52.6], [0.0, 150.0, 150.0, 50.0, 20.0])
    found = work_of(CuffLog(time_s=time_s, pressure_mmhg=mmhg))
    assert found.deflation.released
    assert found.zero_after.mmhg is None


# --- turns -------------------------------------------------------------------------------


def test_a_turn_is_evened_out_over_eight_tenths_of_a_second() -> None:
    corners = [*CORNERS[:4], (22.0, 125.0), (26.0, 150.0), (38.0, 120.0), (43.0, 140.0),
               (79.0, 50.0), (80.0, 0.0), (88.0, 0.0)]  # fmt: skip
    first, second = work_of(log_of(corners), reading_of(beats_s=(50.0, 70.0))).reinflations
    # Between slopes a and b the mean over w is lowest where it holds both sides' ends alike:
    # a b / (a + b) w / 2 above the turn; here 2.5 and 6.25, then 2.5 and 4 mmHg/s, w 0.8 s.
    cut_mmhg = [a * b / (a + b) * 0.8 / 2.0 for a, b in ((2.5, 6.25), (2.5, 4.0))]
    assert first.from_mmhg == pytest.approx(125.0 + cut_mmhg[0], abs=0.04)
    assert first.to_mmhg == pytest.approx(150.0 - cut_mmhg[0], abs=0.04)
    assert second.from_mmhg == pytest.approx(120.0 + cut_mmhg[1], abs=0.04)


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
def test_a_log_that_begins_at_the_top_shows_no_reinflation(rate_hz: float) -> None:
    assert work_of(log_of(CORNERS[3:], rate_hz)).reinflations == ()


# --- what came before --------------------------------------------------------------------


def run_up(at_s: float, top_mmhg: float) -> list[tuple[float, float]]:
    """A run-up of 8 s that leaves rest at once and comes back to it."""
    return [(at_s, 0.0), (at_s + 5.0, top_mmhg), (at_s + 6.0, top_mmhg), (at_s + 8.0, 0.0)]


def test_the_wait_counts_from_the_first_empty_row_to_the_first_full_one() -> None:
    # 20 rows a second.  Below 15 mmHg from 52.714 s on: 52.75; above from 106.61 s: 106.65.
    first = [*CORNERS[:5], (53.02, 0.0), (61.0, 0.0)]
    second = [(106.0, 0.0), (112.1, 150.0), *((t + 101.0, p) for t, p in CORNERS[3:])]
    found = work_of(log_of([*first, *second]), reading_of(beats_s=(123.0, 143.0)))
    assert found.since_reading_s == pytest.approx(106.65 - 52.75, abs=0.01)


def test_a_run_up_of_its_own_does_not_end_the_wait() -> None:
    # A reading, empty for 20 s, a run-up to 120, empty for 12 s, then the measurement.
    later = [(t + 95.0, p) for t, p in CORNERS[1:]]
    log = log_of([*CORNERS[:6], *run_up(73.0, 120.0), *later])
    found = work_of(log, reading_of(beats_s=(117.0, 137.0)))
    assert found.run_up_mmhg == pytest.approx(120.0)
    assert found.since_reading_s == pytest.approx(100.6 - 52.7, abs=0.1)


def test_of_run_ups_with_short_rests_the_highest_counts() -> None:
    # The rests of 2 s end no measurement: all three lie among its rows.
    for tops_mmhg in ((100.0, 140.0), (140.0, 100.0)):
        first, second = (run_up(5.0 + 10.0 * n, top) for n, top in enumerate(tops_mmhg))
        later = [(t + 20.0, p) for t, p in CORNERS[1:]]
        log = log_of([(0.0, 0.0), *first, *second, *later])
        found = work_of(log, reading_of(beats_s=(42.0, 62.0)))
        assert found.run_up_mmhg == pytest.approx(140.0)
        assert found.since_reading_s is None
