"""Where a reader with a habit would read an item: places on the scale of the cuff.

A habit may read at several places; each has its share of the readings, and the shares of one
way of having the habit come to 1.
"""

from __future__ import annotations

import math

from tapfall.lesson.nouns import Habit, KeyItem

#: Stopping early is stopping from so far above the last sound on, mmHg: what two careful
#: observers may differ by (ISO 81060-2, from memory).
APART_MMHG = 4.0
#: Whoever stops listening early does so up to so far above the last sound, mmHg, less often
#: the further, by e in so many mmHg (our choice; the literature has no figure).
STOPPED_WITHIN_MMHG, STOPPED_FALL_MMHG = 40.0, 12.0
#: Whoever reads a pulse of the needle reads at one of so many beats before the first sound,
#: in equal shares; at those without a sound of their own (our choice).
PULSES = 8

Place = tuple[float, float]
Way = tuple[Place, ...]


def ways_of(item: KeyItem, measure: str) -> dict[Habit, tuple[Way, ...]]:
    """Return where each habit would read a measure of an item, and in which share.

    Parameters
    ----------
    item
        An item of the key.
    measure
        ``systolic`` or ``diastolic``.

    Returns
    -------
    dict of Habit to tuple of Way
        One way or two of having the habit, each pairs of mmHg and share.  They are there
        also where they lie too near the truth to show.  Rounding is not among them: it has
        no place of its own.

    Examples
    --------
    >>> from tapfall.lesson.nouns import KeyGap
    >>> item = KeyItem(name="a", systolic_mmhg=160.0, diastolic_mmhg=90.0, k4_mmhg=97.0,
    ...     gaps=(KeyGap(upper_mmhg=150.0, lower_mmhg=130.0),), offset_mmhg=0.0, step_mmhg=2.0,
    ...     beats=(), shows=tuple(Habit))
    >>> ways_of(item, "systolic")[Habit.MISSED_GAP]
    (((130.0, 1.0),),)
    >>> ways_of(item, "diastolic")[Habit.MUFFLING], ways_of(item, "diastolic")[Habit.READ_LATE]
    ((((97.0, 1.0),),), (((88.0, 1.0),),))
    """
    true = item.systolic_mmhg if measure == "systolic" else item.diastolic_mmhg
    if true is None:
        return {}
    found: dict[Habit, tuple[Way, ...]] = {Habit.READ_LATE: (_evenly([_beat(item, true, 1)]),)}
    if measure == "systolic":
        near = _pulses(item, true)
        if near:
            found[Habit.READ_PULSE] = (_evenly(near[:1]), _evenly(near))
        if item.gaps:
            found[Habit.MISSED_GAP] = (_evenly([gap.lower_mmhg for gap in item.gaps]),)
    else:
        stopped = _stopped(item, true)
        if stopped:
            found[Habit.STOPPED_EARLY] = stopped
        if item.k4_mmhg is not None and item.k4_mmhg > true:
            found[Habit.MUFFLING] = (_evenly([item.k4_mmhg]),)
    return found


def _evenly(places: list[float]) -> Way:
    return tuple((place, 1.0 / len(places)) for place in places)


def _pulses(item: KeyItem, true: float) -> list[float]:
    """Where the needle bounces without a sound: the silent ones of the beats before the first."""
    at = _nearest(item, true) if item.beats else 0
    return [
        _beat(item, true, -n)
        for n in range(1, PULSES + 1)
        if at < n or not item.beats[at - n].audible
    ]


def _nearest(item: KeyItem, mmhg: float) -> int:
    return min(range(len(item.beats)), key=lambda n: abs(item.beats[n].mmhg - mmhg))


def _beat(item: KeyItem, mmhg: float, count: int) -> float:
    """The pressure so many beats after the one at a pressure, before it where negative."""
    if item.beats:
        at = _nearest(item, mmhg)
        if 0 <= at + count < len(item.beats):
            # Relative to the beat found: the true value may lie a little beside it.
            return mmhg + item.beats[at + count].mmhg - item.beats[at].mmhg
    return mmhg - count * item.step_mmhg


def _stopped(item: KeyItem, true: float) -> tuple[Way, ...]:
    """At the gap's upper edge, where there is one; or anywhere above the last sound."""
    top = true + STOPPED_WITHIN_MMHG
    if item.systolic_mmhg is not None:
        top = min(top, item.systolic_mmhg - APART_MMHG)
    ways: list[Way] = []
    if item.gaps:
        ways.append(_evenly([gap.upper_mmhg for gap in item.gaps]))
    low = true + APART_MMHG
    if top > low:
        # Places 2 mmHg apart stand for the whole range.
        count = max(1, int((top - low) / 2.0))
        width = (top - low) / count
        parts = [math.exp(-n * width / STOPPED_FALL_MMHG) for n in range(count)]
        ways.append(
            tuple((low + (n + 0.5) * width, part / sum(parts)) for n, part in enumerate(parts))
        )
    # Both ways are one where a reader may do either; an item has both or the second alone.
    if len(ways) == 2:
        return (ways[0], ways[1])
    return (ways[0], ways[0]) if ways else ()
