"""How much each instant of the log looks like the rise of a heartbeat.

The log carries the pulse (1-4 mmHg; Liu 2014).  A small convolutional network,
fitted on simulated logs, reads the slope and shape of two seconds on either
side of each instant, so that a second wave, a movement or an early beat is
told from the beat that is due.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import interpolate, signal

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.cuff import Deflation
from tapfall.ear.network import run_layers
from tapfall.ear.trend import TIE
from tapfall.model import FloatArray, Singles

#: Step of the grid: upstrokes last 80-200 ms.
STEP_S = 0.02
#: A log slower than this places its pulses worse than a clock made of the sounds does
#: (4 and 5 Hz: 65 % right by the pulses, 75 % by the sounds; tuned on the second simulator).
SLOWEST_LOG_HZ = 7.0
#: Between the rows of a log slower than this a pulse is curved, not straight.
CURVED_BELOW_HZ = 15.0
#: Rows further apart than so many usual steps, and than so long, leave a hole.
HOLE_STEPS, HOLE_S = 2.5, 0.06
#: The wanted odds of a rise are a bell this many steps in area, nearly all of it this near.
BELL_STEPS, NEAR_STEPS = 1.75, 2
#: Length over which the pulse's usual size is taken.
AROUND_S = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PulseLog:
    """The log without its trend on an even grid; arrays of shape ``(n,)``, log time.

    ``pulse_mmhg`` is what is left, ``slope_mmhg_per_s`` its slope over 0.1 s,
    ``hole`` tells where the log has no rows.
    """

    time_s: FloatArray
    pulse_mmhg: FloatArray
    slope_mmhg_per_s: FloatArray
    hole: NDArray[np.bool_]


def lay_out_log(
    time_s: FloatArray, pressure_mmhg: FloatArray, deflation: Deflation
) -> PulseLog | None:
    """Lay out a deflation's rows.

    Parameters
    ----------
    time_s, pressure_mmhg
        The measurement's rows, shape ``(n,)``, log time and mmHg.
    deflation
        Where the cuff fell.

    Returns
    -------
    PulseLog or None
        ``None`` where the log is too slow or too short.
    """
    grid = np.arange(deflation.start_s, deflation.end_s, STEP_S)
    margin_s = 0.1 + TIE
    near = (time_s >= deflation.start_s - margin_s) & (time_s <= deflation.end_s + margin_s)
    if deflation.log_rate_hz < SLOWEST_LOG_HZ or grid.size < 3.0 / STEP_S or near.sum() < 30:
        return None
    row_s, row_mmhg = time_s[near], pressure_mmhg[near]
    if deflation.log_rate_hz * STEP_S > 1.2:
        index = np.floor((row_s - grid[0]) / STEP_S + 0.5 + TIE).astype(np.intp)
        index -= index[0]
        rows = np.bincount(index)
        some = rows > 0
        row_mmhg = np.bincount(index, weights=row_mmhg)[some] / rows[some]
        row_s = row_s[0] + np.bincount(index, weights=row_s - row_s[0])[some] / rows[some]
    if deflation.log_rate_hz < CURVED_BELOW_HZ:
        curve = interpolate.CubicSpline(row_s, row_mmhg)
        shown_mmhg = curve(np.clip(grid, row_s[0], row_s[-1]))
    else:
        shown_mmhg = np.interp(grid, row_s, row_mmhg)
    pulse = shown_mmhg - deflation.followed_at(grid)
    after = np.clip(np.searchsorted(row_s, grid), 1, row_s.size - 1)
    apart_s = max(HOLE_STEPS / deflation.log_rate_hz, HOLE_S)
    hole = (row_s[after] - row_s[after - 1]) > apart_s
    half = round(0.05 / STEP_S)
    smooth = np.convolve(np.pad(pulse, half, "edge"), _hat(half), "valid")
    padded = np.pad(smooth, half, "edge")
    slope = (padded[2 * half :] - padded[: -2 * half]) / (2 * half * STEP_S)
    return PulseLog(time_s=grid, pulse_mmhg=pulse, slope_mmhg_per_s=slope, hole=hole)


def _hat(half: int) -> FloatArray:
    """Weights of a running mean over ``2 * half`` steps that lies on the grid."""
    weights = np.full(2 * half + 1, 1 / (2 * half))
    weights[[0, -1]] /= 2
    return weights


def _rms_around(values: FloatArray) -> FloatArray:
    count = round(AROUND_S / STEP_S)
    power = signal.fftconvolve(values**2, np.ones(count), "same")
    rows = signal.fftconvolve(np.ones(values.size), np.ones(count), "same")
    return np.asarray(np.sqrt(np.maximum(power, 0.0) / np.maximum(rows, 1.0)))


def rise_values(log: PulseLog) -> Singles:
    """What the network reads, shape ``(1, n, 4)``.

    Pulse and slope over their usual size around, that size over the whole
    deflation's, and where the log has no rows.
    """
    pulse, slope = log.pulse_mmhg, log.slope_mmhg_per_s
    usual, steep = _rms_around(pulse), _rms_around(slope)
    whole = float(np.sqrt(np.mean(slope**2))) + 1e-6
    values = np.stack(
        [
            pulse / (usual + 1e-3),
            slope / (steep + 1e-2),
            np.log((steep + 1e-2) / (whole + 1e-2)),
            log.hole.astype(float),
        ],
        axis=1,
    )
    clipped: Singles = np.clip(values, -4.0, 4.0).astype(np.float32)[None]
    return clipped


def near_odds(at_odds: FloatArray) -> FloatArray:
    """Log odds that a rise lies near each step, from those that it lies at each."""
    chance = 1.0 / (1.0 + np.exp(-at_odds))
    near = np.convolve(chance, np.ones(2 * NEAR_STEPS + 1), "same") / BELL_STEPS
    near = np.clip(near, 1e-4, 1.0 - 1e-4)
    return np.asarray(np.log(near / (1.0 - near)))


def rise_odds(log: PulseLog) -> FloatArray:
    """Log odds that a beat's steepest rise lies at each step, shape ``(n,)``.

    They are highest at the rise and fall off like a bell.
    """
    odds: FloatArray = run_layers(rise_values(log), CALIBRATION.layers["rises"])[0].astype(float)
    return odds
