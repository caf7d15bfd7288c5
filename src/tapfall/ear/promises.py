"""How likely a provisional value is still the value at the end.

A provisional reading's own confidence was fitted on whole recordings.  What is to come
can change it: more sounds teach the waveform, the lag becomes clear, sounds come back.
How many beats speak already, and how the value has held so far, tell how far to trust it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.confidence import CLEAR_DB, logit
from tapfall.ear.pulses import Pulses
from tapfall.model import Beat, Flag, FloatArray, Reading, Threshold

#: Names of the measures, in order.
PROMISE = (
    "confidence",
    "width_mmhg",
    "sounds",
    "silent_beats",
    "silence_mmhg",
    "heard_inside",
    "heard_beyond",
    "held_mmhg",
    "signal_to_noise",
    "lag_moved",
    "lag_width_s",
    "irregular",
    "alternating",
    "broken",
    "step_mmhg",
    "coarse_log",
    "pulse_share",
    "pulse_known",
    "level_share",
)
#: A value that was not there before, or was further off, counts as this far off.
NOT_HELD_MMHG = 10.0
#: Most beats and mmHg of silence that count.
MOST_BEATS, MOST_MMHG = 12, 40.0
#: Flags of sounds that are not one run.
_BROKEN = {Flag.ISOLATED_SOUND, Flag.SILENT_GAP, Flag.BREATH_DEPENDENT_SOUNDS}
#: Pulses averaged.
SMOOTHED_PULSES = 5
#: How far below its maximum a pulse is past it, and how many beats ago that was at least:
#: gaps lie above the mean pressure, where the pulse is largest (oscillometry; at the
#: diastolic it has fallen to some 0.8 of it: Liu 2014).
PAST_SHARE, PAST_BEATS = 0.9, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """The cuff's pulse now as a share of its largest so far, and how many beats ago that was."""

    share: float
    beats_ago: int

    @property
    def past(self) -> bool:
        """Whether it has passed its maximum and falls."""
        return self.beats_ago >= PAST_BEATS and self.share <= PAST_SHARE


def swing_of(pulses: Pulses | None) -> Swing | None:
    """Tell how far the cuff's pulse has come.

    Parameters
    ----------
    pulses
        Pulses of the deflation so far.

    Returns
    -------
    Swing or None
        ``None`` where the log shows too few pulses to tell.

    Examples
    --------
    >>> size = np.array([1.0, 1.5, 2, 2.5, 3, 3, 3, 2.8, 2.4, 2.0, 1.6, 1.3, 1.1])
    >>> seen = Pulses(time_s=np.arange(13.0), size_mmhg=size, seen=size > 0,
    ...               real=np.ones(13), usable=True, error_s=0.0)
    >>> swing_of(seen).past
    True
    """
    if pulses is None or not pulses.usable:
        return None
    size = pulses.size_mmhg[pulses.seen]
    if size.size < SMOOTHED_PULSES + PAST_BEATS:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(size, SMOOTHED_PULSES)
    smooth = np.median(windows, axis=1)
    top = int(np.argmax(smooth))
    share = float(smooth[-1] / max(float(smooth[top]), 1e-6))
    return Swing(share=share, beats_ago=smooth.size - 1 - top)


def promise_measures(
    value: Threshold,
    reading: Reading,
    swing: Swing | None,
    *,
    level_mmhg: float,
    before_mmhg: float | None,
    inward: int,
) -> FloatArray:
    """Measures that the promise of one threshold rests on.

    Parameters
    ----------
    value
        The observed threshold of a provisional reading.
    reading
        That reading, with at least one beat that sounds.
    swing
        How far the cuff's pulse has come.
    level_mmhg
        Cuff pressure now.
    before_mmhg
        The same threshold of the provisional reading before.
    inward
        Step from the threshold into the sounds: 1 for the systolic, -1 for the diastolic.

    Returns
    -------
    ndarray
        Shape ``(len(PROMISE),)``.
    """
    beats, quality, flags = reading.beats, reading.quality, set(reading.flags)
    mmhg = value.mmhg or 0.0
    sounding = [i for i, beat in enumerate(beats) if beat.heard >= 0.5]
    edge = min(range(len(beats)), key=lambda i: abs(beats[i].cuff_mmhg - mmhg))
    silence_mmhg = beats[sounding[-1]].cuff_mmhg - level_mmhg
    off_mmhg = NOT_HELD_MMHG if before_mmhg is None else abs(before_mmhg - mmhg)
    ratio_db = quality.signal_to_noise_db
    lag = reading.lag
    return np.array(
        [
            logit(value.confidence or 0.0),
            (value.high_mmhg or mmhg) - (value.low_mmhg or mmhg),
            float(np.log1p(len(sounding))),
            float(min(len(beats) - 1 - sounding[-1], MOST_BEATS)),
            min(max(silence_mmhg, 0.0), MOST_MMHG),
            min(_heard(beats, edge + inward * step) for step in (0, 1, 2)),
            max(_heard(beats, edge - inward * step) for step in (1, 2)),
            min(off_mmhg, NOT_HELD_MMHG),
            CLEAR_DB if ratio_db is None else min(ratio_db, CLEAR_DB),
            float(Flag.LAG_CORRECTED in flags),
            0.0 if lag is None else min(lag.high_s - lag.low_s, 4.0),
            float(Flag.IRREGULAR_RHYTHM in flags),
            float(Flag.ALTERNATING in flags),
            float(bool(_BROKEN & flags)),
            min(quality.deflation_mmhg_per_beat or 0.0, 10.0),
            float(Flag.COARSE_CUFF_LOG in flags),
            1.0 if swing is None else swing.share,
            float(swing is not None),
            level_mmhg / max(reading.systolic.mmhg or mmhg, 1.0),
        ]
    )


def _heard(beats: tuple[Beat, ...], index: int) -> float:
    """Log odds that a beat sounds; beyond the ends, nothing is known."""
    return logit(beats[index].heard) if 0 <= index < len(beats) else 0.0


def promise(measures: FloatArray, kind: str) -> float:
    """Probability that the final value lies within 4 mmHg; ``kind`` names the threshold."""
    return round(CALIBRATION.promises[kind].chance(measures), 4)
