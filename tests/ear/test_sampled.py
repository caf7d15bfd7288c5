"""Rows of a log that were measured, and rows that were only written between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.ear.sampled import measured_rows
from tapfall.model import CuffLog, Flag
from tapfall.synth import load_builtin, simulate
from tests.ear.heard import NAMES, fixture

#: How often such a manometer answers a second.
ANSWERS_HZ = (1.0, 2.3, 3.0, 4.0, 7.0, 9.0)


def answers(log: CuffLog, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """What a manometer answers that is asked so often, to 0.1 mmHg."""
    time_s = np.arange(log.time_s[0], log.time_s[-1], 1 / rate_hz)
    return time_s, np.round(np.interp(time_s, log.time_s, log.pressure_mmhg), 1)


def written(log: CuffLog, rate_hz: float, *, held: bool, rows_hz: float = 50.0) -> CuffLog:
    """Its answers, written fifty times a second: each held, or with lines between them."""
    asked_s, mmhg = answers(log, rate_hz)
    time_s = np.arange(asked_s[0], asked_s[-1], 1 / rows_hz)
    if held:
        shown = mmhg[np.searchsorted(asked_s, time_s + 1e-9, side="right") - 1]
    else:
        shown = np.interp(time_s, asked_s, mmhg)
    return CuffLog(time_s=time_s, pressure_mmhg=shown)


@pytest.mark.parametrize("held", [True, False])
@pytest.mark.parametrize("rate_hz", ANSWERS_HZ)
def test_answers_written_more_often_are_found_again(rate_hz: float, held: bool) -> None:
    log = simulate(replace(load_builtin("normal"), seed=4)).recording.cuff
    asked_s, mmhg = answers(log, rate_hz)
    found = written(log, rate_hz, held=held)
    rows = measured_rows(found.time_s, found.pressure_mmhg)
    assert rows.size == pytest.approx(asked_s.size, rel=0.03)
    # What is kept is what was answered, one row late at most.
    shown = np.interp(found.time_s[rows], asked_s, mmhg)
    off = np.abs(shown - found.pressure_mmhg[rows])
    rate_mmhg_per_s = float(np.abs(np.diff(mmhg)).max()) * rate_hz
    assert float(off.max()) <= 0.021 * rate_mmhg_per_s + 1e-6
    assert np.all(np.diff(rows) > 0)


@pytest.mark.parametrize("rounding_mmhg", [0.0, 0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0, 50.0, 200.0])
def test_each_row_of_a_measured_log_counts_however_rounded(
    rate_hz: float, rounding_mmhg: float
) -> None:
    normal = load_builtin("normal")
    cuff = replace(normal.cuff, log_rate_hz=rate_hz, rounding_mmhg=rounding_mmhg)
    for seed in (1, 2, 3):
        log = simulate(replace(normal, seed=seed, cuff=cuff)).recording.cuff
        assert measured_rows(log.time_s, log.pressure_mmhg).size == log.time_s.size


@pytest.mark.parametrize("name", NAMES)
def test_each_row_of_the_fixtures_counts(name: str) -> None:
    log = fixture(name).cuff
    assert measured_rows(log.time_s, log.pressure_mmhg).size == log.time_s.size


def test_a_rounded_log_without_pulses_that_falls_evenly_is_not_held() -> None:
    time_s = 0.02 * np.arange(2000.0)
    rows = measured_rows(time_s, np.round(150 - 3 * time_s))
    assert rows.size == time_s.size


@pytest.mark.parametrize("count", [0, 1, 2, 30])
def test_of_a_few_rows_each_counts(count: int) -> None:
    time_s = 0.02 * np.arange(float(count))
    assert measured_rows(time_s, np.full(count, 7.0)).size == count


@pytest.mark.parametrize("held", [True, False])
def test_a_slow_manometer_is_read_as_slow_however_often_it_is_written(held: bool) -> None:
    """Corners at even distances passed for pulses; now the sounds make the clock."""
    simulation = simulate(replace(load_builtin("normal"), seed=6))
    recording = simulation.recording
    log = written(recording.cuff, 3.0, held=held)
    reading = take_reading(replace(recording, cuff=log))
    assert Flag.COARSE_CUFF_LOG in reading.flags
    assert reading.quality.log_rate_hz == pytest.approx(3.0, rel=0.05)
    true = simulation.truth.in_quiet
    assert reading.systolic.mmhg == pytest.approx(true.systolic.mmhg, abs=4)
    assert reading.diastolic.mmhg == pytest.approx(true.diastolic.mmhg, abs=4)
