"""The rules of auscultation, applied to the beats that are audible.

Systolic is the first of at least two consecutive sounds, diastolic the last sound
(AHA 2005; the first from memory).  Sounds on every second beat count as well
(pulsus alternans: textbooks, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.second.waves import BoolArray, FloatArray

#: Expected beats that must be silent before the first sound and after the last (our choice).
SILENT_ABOVE, SILENT_BELOW = 2, 3
#: Least silence of a gap: expected beats, and mmHg of cuff pressure (our choice; no standard
#: least width is known).
GAP_BEATS, GAP_MMHG = 2, 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What the rules say; states are ``observed``, ``not_reached`` or ``none``.

    A bound is what is known where a pressure was not reached: the systolic is at
    least, the diastolic at most so high.  Gaps are (upper, lower) edges.
    """

    systolic_state: str = "none"
    diastolic_state: str = "none"
    systolic_mmhg: float | None = None
    diastolic_mmhg: float | None = None
    systolic_bound_mmhg: float | None = None
    diastolic_bound_mmhg: float | None = None
    gaps_mmhg: tuple[tuple[float, float], ...] = ()


def judge(cuff_mmhg: FloatArray, audible: BoolArray) -> Judged:
    """Apply the rules to the expected beats, in order of time."""
    count = len(audible)
    heard = [int(at) for at in np.flatnonzero(audible)]

    def on(index: int) -> bool:
        return 0 <= index < count and bool(audible[index])

    def every_second(index: int, step: int) -> bool:
        beyond = (on(index + step), on(index + 2 * step))
        return (*beyond, on(index + 3 * step), on(index + 4 * step)) == (False, True, False, True)

    first = [at for at in heard if on(at + 1) or every_second(at, 1)]
    last = [at for at in heard if on(at - 1) or every_second(at, -1)]
    if not first:
        return Judged()
    top, bottom = heard[0] >= SILENT_ABOVE, count - 1 - heard[-1] >= SILENT_BELOW
    return Judged(
        systolic_state="observed" if top else "not_reached",
        diastolic_state="observed" if bottom else "not_reached",
        systolic_mmhg=float(cuff_mmhg[min(first)]) if top else None,
        diastolic_mmhg=float(cuff_mmhg[max(last)]) if bottom else None,
        systolic_bound_mmhg=None if top else float(cuff_mmhg[heard].max()),
        diastolic_bound_mmhg=None if bottom else float(cuff_mmhg[heard].min()),
        gaps_mmhg=_gaps(cuff_mmhg, audible),
    )


def _gaps(cuff_mmhg: FloatArray, audible: BoolArray) -> tuple[tuple[float, float], ...]:
    """Silences between runs of at least two sounds with no lone sound in between."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], audible.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2] - 1
    gaps = []
    for upper, lower, run, next_run in zip(
        ends[:-1], starts[1:], ends[:-1] - starts[:-1], ends[1:] - starts[1:], strict=True
    ):
        wide = lower - upper - 1 >= GAP_BEATS and cuff_mmhg[upper] - cuff_mmhg[lower] >= GAP_MMHG
        if run >= 1 and next_run >= 1 and wide:
            gaps.append((float(cuff_mmhg[upper]), float(cuff_mmhg[lower])))
    return tuple(gaps)
