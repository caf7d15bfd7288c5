"""How far the cuff's pulse has come: whether it is past its maximum, and falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.pulses import Pulses

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
