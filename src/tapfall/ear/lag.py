"""The lag between the log's clock and the sound's.

The cuff's pulses and the sounds keep step at the true lag only; where the
rhythm is too even to tell one beat from the next, the hiss of the release
against the knee of the log decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tapfall.ear.beats import EARLIEST_S, LATEST_S, Onsets, follow_delay, trace, without_fixed
from tapfall.ear.whiten import White
from tapfall.model import FloatArray

#: Delay of a sound in the middle of the deflation, for turning a shift into a lag.
MIDDLE_DELAY_S = 0.05
#: Lags searched, both ways (the project's definition).
LARGEST_LAG_S = 2.0
#: The release is heard: the most that a jump in loudness counts, its weight, and how
#: far the log's knee may be off (tuned).
MOST_JUMP_NATS, JUMP_WEIGHT, KNEE_S = 3.0, 2.5, 0.12
#: Part of the zero-lag evidence, and absolute nats, by which another lag must win (tuned).
LAG_MARGIN_SHARE, LAG_MARGIN_NATS = 0.12, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LagFound:
    """Log time minus audio time, with the evidence for it against none."""

    seconds: float
    error_s: float
    clear: bool


def release_jump(white: White, release_s: FloatArray) -> FloatArray:
    """How much louder it gets at each possible time of the release, in nats.

    Parameters
    ----------
    white
        Whitened sound that reaches beyond the release.
    release_s
        Audio times, shape ``(k,)``.

    Returns
    -------
    ndarray
        Mean log energy of the 0.3 s after over the 0.5 s before, capped to 0-3.
    """
    total = np.concatenate([[0.0], np.cumsum(white.samples**2)])

    def mean_log(start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        first = np.clip(white.index(start_s), 0, white.samples.size)
        last = np.clip(white.index(end_s), 0, white.samples.size)
        return np.asarray(np.log((total[last] - total[first]) / np.maximum(last - first, 1) + 0.1))

    after = mean_log(release_s + 0.05, release_s + 0.35)
    before = mean_log(release_s - 0.55, release_s - 0.05)
    whole = white.index(release_s + 0.35) < white.samples.size
    return np.where(whole, np.clip(after - before, 0.0, MOST_JUMP_NATS), 0.0)


def find_lag(
    marks: Onsets,
    pulse_s: FloatArray,
    fall_mmhg: FloatArray,
    bonus: Callable[[FloatArray], FloatArray],
) -> LagFound:
    """Find the lag at which the cuff's pulses and the sounds keep step.

    Parameters
    ----------
    marks
        Evidence over audio time.
    pulse_s
        Pulses in log time, shape ``(n,)``.
    fall_mmhg
        Fall of the cuff before each pulse, shape ``(n,)``.
    bonus
        Evidence from elsewhere (the release) for lags in seconds, in nats.

    Returns
    -------
    LagFound
        0 unless another lag explains the sounds better by a margin.
    """
    reach_s = LARGEST_LAG_S + 0.1
    marks = without_fixed(marks, pulse_s, EARLIEST_S - reach_s, LATEST_S + reach_s)
    total, back, offsets = follow_delay(
        marks, pulse_s, fall_mmhg, EARLIEST_S - reach_s, LATEST_S + reach_s
    )
    total = total + bonus(MIDDLE_DELAY_S - offsets)
    plausible = (offsets >= EARLIEST_S + 0.02) & (offsets <= LATEST_S - 0.08)
    best_zero = float(total[plausible].max())
    top = int(np.argmax(total))
    # A tie between neighbouring beats goes to the smaller shift.
    near = total - 0.6 * np.abs(offsets - MIDDLE_DELAY_S)
    top = int(np.argmax(near))
    margin = max(LAG_MARGIN_NATS, LAG_MARGIN_SHARE * best_zero)
    if plausible[top] or float(total[top]) < best_zero + margin:
        return LagFound(seconds=0.0, error_s=0.08, clear=True)
    delay_s = trace(marks, pulse_s, back, offsets, top)
    excess = marks.at(pulse_s + delay_s)
    middle = float(np.sum(delay_s * excess) / max(float(np.sum(excess)), 1e-9))
    away = np.abs(offsets - offsets[top]) > 0.25
    rival = float(total[away].max())
    return LagFound(
        seconds=-(middle - MIDDLE_DELAY_S),
        error_s=0.08,
        clear=rival < float(total[top]) - LAG_MARGIN_NATS,
    )
