"""What physics says of a reading, computed here and not in the package.

* A sound starts where the arterial upstroke crosses the cuff's pressure, so its
  delay after the pulse shrinks as the cuff falls (Rodbard; QKD literature, from
  memory).  A straight upstroke of U seconds over a pulse pressure P is crossed
  U / P later for each mmHg of cuff pressure (computed).
* From beat to beat the cuff falls by rate times interval (computed): the first
  sound lies 0 to one step below the true systolic, half a step on average, and
  the last 0 to one step above the true diastolic.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from tapfall.model import CuffLog
from tests.reference.scenes import clean, clean_reading

SEEDS = range(60, 68)
#: Upstroke and pulse pressure of the simulated person.
UPSTROKE_S, PULSE_PRESSURE_MMHG = 0.12, 46.0


def upstrokes_s(log: CuffLog, interval_s: float) -> np.ndarray:
    """Times of the steepest rises of the log, by scipy alone."""
    rate_hz = 1 / float(np.median(np.diff(log.time_s)))
    slope = signal.savgol_filter(log.pressure_mmhg, 7, 2, deriv=1, delta=1 / rate_hz)
    peaks, _ = signal.find_peaks(slope, distance=round(0.6 * interval_s * rate_hz))
    return np.asarray(log.time_s[peaks])


def delays(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Delay of each sounding beat after the nearest upstroke, and its cuff pressure."""
    reading = clean_reading(seed)
    heard = [beat for beat in reading.beats if beat.heard >= 0.5]
    rises_s = upstrokes_s(clean(seed).recording.cuff, 60 / 70)
    found, cuff = [], []
    for beat in heard:
        nearest = rises_s[np.abs(rises_s - beat.time_s).argmin()]
        found.append(beat.time_s - float(nearest))
        cuff.append(beat.cuff_mmhg)
    return np.array(found), np.array(cuff)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_delay_after_the_pulse_shrinks_as_the_cuff_falls(seed: int) -> None:
    delay_s, cuff_mmhg = delays(seed)
    assert delay_s.size >= 8
    slope_s_per_mmhg = np.polyfit(cuff_mmhg, delay_s, 1)[0]
    assert np.corrcoef(cuff_mmhg, delay_s)[0, 1] > 0.6
    # The upstroke is S-shaped: its middle is up to 1.5 times as steep as a straight one.
    assert 0.4 < slope_s_per_mmhg / (UPSTROKE_S / PULSE_PRESSURE_MMHG) < 1.6


def test_first_to_last_sound_the_delay_shrinks_by_about_the_upstroke() -> None:
    shrunk_s = []
    for seed in SEEDS:
        delay_s, _ = delays(seed)
        shrunk_s.append(np.median(delay_s[:3]) - np.median(delay_s[-3:]))
    assert np.median(shrunk_s) == pytest.approx(UPSTROKE_S, abs=0.05)


#: Fall of the cuff per beat, mmHg: rate times 60 over the heart rate.
RESOLUTION = {
    (2.0, 50.0): 2.4,
    (2.0, 72.0): 1.67,
    (3.0, 60.0): 3.0,
    (3.0, 90.0): 2.0,
    (4.0, 72.0): 3.33,
    (5.0, 60.0): 5.0,
}


@pytest.mark.parametrize(("rate", "per_min"), RESOLUTION)
def test_the_step_from_beat_to_beat_is_rate_times_interval(rate: float, per_min: float) -> None:
    step_mmhg = RESOLUTION[rate, per_min]
    assert step_mmhg == pytest.approx(rate * 60 / per_min, abs=0.005)
    reading = clean_reading(60, per_min, rate)
    assert reading.pulse_per_min == pytest.approx(per_min, rel=0.03)
    assert reading.quality.deflation_mmhg_per_s == pytest.approx(rate, rel=0.08)
    assert reading.quality.deflation_mmhg_per_beat == pytest.approx(step_mmhg, rel=0.1)
    cuff = np.array([beat.cuff_mmhg for beat in reading.beats])
    assert np.median(-np.diff(cuff)) == pytest.approx(step_mmhg, rel=0.1)


@pytest.mark.parametrize(("rate", "per_min"), RESOLUTION)
@pytest.mark.parametrize("seed", [60, 61, 62])
def test_each_value_lies_within_a_step_of_the_persons_pressure(
    seed: int, rate: float, per_min: float
) -> None:
    # The person's pressures are steady: 122 and 76 mmHg.  Sounds fade in and out
    # over half a mmHg or so, and the trend is not exact: 1.5 mmHg for both.
    step_mmhg = RESOLUTION[rate, per_min]
    reading = clean_reading(seed, per_min, rate)
    assert reading.systolic.mmhg is not None
    assert reading.diastolic.mmhg is not None
    assert -1.5 <= 122.0 - reading.systolic.mmhg <= step_mmhg + 1.5
    assert -1.5 <= reading.diastolic.mmhg - 76.0 <= step_mmhg + 1.5


def test_the_bias_is_half_a_step_on_average() -> None:
    # Twelve places in a step have a standard error of 1/12 of it.
    rate, per_min = 4.0, 72.0
    step_mmhg = RESOLUTION[rate, per_min]
    readings = [clean_reading(seed, per_min, rate) for seed in range(70, 82)]
    low = [122.0 - one.systolic.mmhg for one in readings if one.systolic.mmhg is not None]
    high = [one.diastolic.mmhg - 76.0 for one in readings if one.diastolic.mmhg is not None]
    assert len(low) == len(high) == 12
    assert np.mean(low) == pytest.approx(step_mmhg / 2, abs=0.4 * step_mmhg)
    assert np.mean(high) == pytest.approx(step_mmhg / 2, abs=0.4 * step_mmhg)


@pytest.mark.parametrize("seed", SEEDS)
def test_intervals_are_not_narrower_than_half_a_step(seed: int) -> None:
    # Two thresholds one step apart can sound the same: no interval can be a point.
    reading = clean_reading(seed)
    step_mmhg = 3.0 * 60 / 70
    for one in (reading.systolic, reading.diastolic):
        assert one.low_mmhg is not None
        assert one.high_mmhg is not None
        assert one.high_mmhg - one.low_mmhg >= 0.5 * step_mmhg
