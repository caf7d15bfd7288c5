"""How late the pulses of a log are marked because its manometer lags.

A manometer, or a long narrow tube, follows the cuff with a time constant of its own (first order,
common practice).  The steepest rise of the pulse it shows then lies not in the middle of the
artery's upstroke but at its end or later: 0.04 s at a time constant of 0.1 s, 0.1 s at 0.35 s.
The sounds keep their time.  What is smoothed so has another shape: a slow rise, a fall as slow.
A small network reads how late the marks come from the shape that a recording's pulses share.
"""

from __future__ import annotations

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.rises import PulseLog
from tapfall.model import FloatArray

#: Instants around a mark at which its pulse is read.
AROUND_S = np.arange(-0.30, 0.621, 0.02)
#: Marks are moved from here on: sounds up to 0.05 s from where they are looked for are heard as
#: well as others, and of logs that are not damped few are taken to be this late (4 % of waves of
#: all kinds).
LEAST_LATE_S = 0.055
#: Nothing that shows a pulse at all comes later (the steepest rise of a sine lags by a quarter).
MOST_LATE_S = 0.2
#: Least size of a wave, mmHg, below which it has no shape.
LEAST_WAVE_MMHG = 1e-3


def shared_wave(log: PulseLog, mark_s: FloatArray) -> FloatArray:
    """Return the shape that a log's pulses share.

    Parameters
    ----------
    log
        The log without its trend.
    mark_s
        Where its pulses rise, shape ``(n,)``, log time.

    Returns
    -------
    ndarray
        Medians over the pulses at ``AROUND_S`` around the mark, each pulse of size 1 and mean 0;
        shape ``(47,)``.
    """
    waves = np.interp(mark_s[:, None] + AROUND_S[None, :], log.time_s, log.pulse_mmhg)
    waves = waves - waves.mean(axis=1, keepdims=True)
    size = np.maximum(np.ptp(waves, axis=1, keepdims=True), LEAST_WAVE_MMHG)
    return np.asarray(np.median(waves / size, axis=0))


def late_s(log: PulseLog, mark_s: FloatArray) -> float:
    """Tell how late the marks of a log's pulses come, 0 where its manometer follows well.

    Parameters
    ----------
    log
        The log without its trend.
    mark_s
        Where its pulses rise, shape ``(n,)``, log time; at least one.

    Returns
    -------
    float
        Seconds.
    """
    found = float(CALIBRATION.damping.value(shared_wave(log, mark_s)[None, :])[0])
    return min(found, MOST_LATE_S) if found >= LEAST_LATE_S else 0.0
