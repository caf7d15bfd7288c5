"""Which measurement of a log it is, and what the log shows before and after it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapfall.model import Lag
from tapfall.technique import measure_cuff
from tests.technique.made import CORNERS, found, log_of, reading_of


def test_the_lag_counts_when_the_measurement_is_looked_for() -> None:
    second = [(t + 61.0, p * 1.2) for t, p in CORNERS]
    log = log_of([*CORNERS, *second])
    # On the clock of the sound the beats lie 61 s earlier than on that of the log.
    lag = Lag(seconds=61.0, low_s=60.9, high_s=61.1, drift_ppm=None, estimated=True)
    heard = reading_of(lag=lag)
    assert found("highest pressure", log, heard).found == "180"
    assert found("highest pressure", log, replace(heard, lag=None)).found == "150"


@pytest.mark.parametrize(("top_mmhg", "seen"), [(49.0, False), (50.0, True), (51.0, True)])
def test_a_run_up_closes_an_artery_from_50_mmhg_on(top_mmhg: float, seen: bool) -> None:
    run_up = [(0.0, 0.0), (5.0, 0.0), (10.0, top_mmhg), (11.0, top_mmhg), (13.0, 0.0)]
    log = log_of([*run_up, *((t + 20.0, p) for t, p in CORNERS[1:])])
    work = measure_cuff(log, reading_of(beats_s=(42.0, 62.0)))
    assert work is not None
    assert (work.run_up_mmhg is not None) == seen


def test_a_wait_is_counted_from_the_empty_cuff_to_the_next_inflation() -> None:
    # Empty (below 15 mmHg) at 52.7 s, the second inflation from 106 s on.
    second = [(t + 101.0, p) for t, p in CORNERS]
    work = measure_cuff(log_of([*CORNERS, *second]), reading_of(beats_s=(123.0, 143.0)))
    assert work is not None
    assert work.since_reading_s == pytest.approx(53.9, abs=0.3)


def test_every_reinflation_is_told_from_its_lowest_to_its_highest() -> None:
    corners = [
        *CORNERS[:4],
        (22.0, 125.0),
        (26.0, 150.0),
        (38.0, 120.0),
        (43.0, 140.0),
        (79.0, 50.0),
        (80.0, 0.0),
        (88.0, 0.0),
    ]
    work = measure_cuff(log_of(corners), reading_of(beats_s=(50.0, 70.0)))
    assert work is not None
    # Evened out over 0.8 s, so that each turn is cut by 1 to 2 mmHg.
    told = [(one.from_mmhg, one.to_mmhg) for one in work.reinflations]
    assert [low for low, _ in told] == pytest.approx([125.0, 120.0], abs=2.0)
    assert [high for _, high in told] == pytest.approx([150.0, 140.0], abs=2.0)


def test_the_lowest_run_up_is_that_since_the_last_deflation() -> None:
    # A run-up to 140, empty for 12 s; one to 120, empty for 12 s; then the measurement.
    def run_up(at_s: float, top_mmhg: float) -> list[tuple[float, float]]:
        return [(at_s, 0.0), (at_s + 5.0, top_mmhg), (at_s + 6.0, top_mmhg), (at_s + 8.0, 0.0)]

    later = [(t + 40.0, p) for t, p in CORNERS[1:]]
    log = log_of([(0.0, 0.0), *run_up(5.0, 140.0), *run_up(25.0, 120.0), *later])
    work = measure_cuff(log, reading_of(beats_s=(62.0, 82.0)))
    assert work is not None
    assert work.run_up_mmhg == pytest.approx(120.0)
    assert work.since_reading_s is None


def test_a_run_up_before_an_earlier_deflation_counts_no_more() -> None:
    run_up = [(0.0, 0.0), (5.0, 0.0), (10.0, 140.0), (11.0, 140.0), (13.0, 0.0)]
    first = [(t + 20.0, p) for t, p in CORNERS[1:]]
    second = [(t + 100.0, p) for t, p in CORNERS[1:]]
    work = measure_cuff(log_of([*run_up, *first, *second]), reading_of(beats_s=(122.0, 142.0)))
    assert work is not None
    assert work.run_up_mmhg is None
    # Empty at 72.7 s, inflated again from 105 s on.
    assert work.since_reading_s == pytest.approx(32.9, abs=0.3)


def test_without_release_there_is_no_zero_after() -> None:
    log = log_of([*CORNERS[:4], (48.0, 60.0)])
    work = measure_cuff(log, reading_of(beats_s=(22.0, 40.0)))
    assert work is not None
    assert work.zero_after.mmhg is None
    assert not work.deflation.released
