"""Rises of the pulse on the log: the grid they are looked for on, and what stands out."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.rises import HOLE_S, STEP_S, PulseLog, lay_out_log, rise_odds, rise_values
from tests.ear.made import UPSTROKE_S, line, with_pulses

CORNERS = ((0, 0), (4, 0), (9, 170), (11, 170), (51, 50), (51.7, 0), (58, 0))
FEET_S = 0.3 + 0.85 * np.arange(70)


def laid_out(
    rate_hz: float = 50.0, size_mmhg: float = 2.0, without_s: tuple[float, float] = (0.0, 0.0)
) -> tuple[PulseLog, Deflation]:
    """A hand-made log on its grid, perhaps with rows missing."""
    time_s, pressure_mmhg = line(CORNERS, rate_hz)
    log_mmhg = with_pulses(time_s, pressure_mmhg, FEET_S, size_mmhg)
    kept = (time_s < without_s[0]) | (time_s > without_s[1])
    deflation = find_deflation(time_s[kept], log_mmhg[kept])
    assert deflation is not None
    laid = lay_out_log(time_s[kept], log_mmhg[kept], deflation)
    assert laid is not None
    return laid, deflation


@pytest.mark.parametrize("rate_hz", [8.0, 10.0, 12.5, 25.0, 50.0, 64.0, 100.0, 250.0])
def test_the_grid_is_even_and_holds_the_pulse_alone(rate_hz: float) -> None:
    laid, deflation = laid_out(rate_hz)
    assert np.diff(laid.time_s) == pytest.approx(STEP_S, abs=1e-9)
    assert laid.time_s[0] == pytest.approx(deflation.start_s, abs=STEP_S)
    assert not laid.hole.any()
    # Two millimetres of pulse are left; more than 100 of fall are gone.
    inner = laid.pulse_mmhg[100:-100]
    assert 1.0 < np.ptp(inner) < 3.5


def test_missing_rows_leave_a_hole_of_their_length() -> None:
    laid, _ = laid_out(without_s=(25.0, 26.0))
    assert laid.hole.sum() * STEP_S == pytest.approx(1.0, abs=0.06)
    assert laid.hole[np.abs(laid.time_s - 25.5).argmin()]
    assert HOLE_S < 0.2


def test_a_log_too_slow_or_short_is_not_laid_out() -> None:
    time_s, pressure_mmhg = line(CORNERS, 3.0)
    deflation = find_deflation(time_s, pressure_mmhg)
    assert deflation is not None
    assert lay_out_log(time_s, pressure_mmhg, deflation) is None


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 100.0])
def test_rises_stand_out_at_every_beat_and_nowhere_else(rate_hz: float) -> None:
    laid, _ = laid_out(rate_hz)
    odds = rise_odds(laid)
    true_s = FEET_S + UPSTROKE_S / 2
    away_s = np.abs(laid.time_s[:, None] - true_s[None, :]).min(axis=1)
    inner = (laid.time_s > 14.0) & (laid.time_s < 48.0)
    beats = [odds[np.abs(laid.time_s - t).argmin()] for t in true_s if 14.0 < t < 48.0]
    assert np.median(beats) > 0
    assert (odds[inner & (away_s > 0.15)] < 0).all()


def test_the_size_of_the_pulse_does_not_matter() -> None:
    one, two = (rise_values(laid_out(size_mmhg=size)[0]) for size in (1.5, 3.0))
    assert one.shape == two.shape
    assert np.median(np.abs(one - two)) < 0.05
