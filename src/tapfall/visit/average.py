"""Which readings are used, and their average.

The interval of an average is the mean of the lower bounds to the mean of the upper
bounds of its readings.  Errors of one reading that are shared by the others (clocks,
ear, cuff) do not shrink by averaging, and nobody knows how much is shared: the mean of
the bounds is right where all of it is, and where less is rather too wide than too narrow
(our choice).  It holds the mean of the pressures at these readings; how pressure changes
from hour to hour is not in it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from tapfall.model import REASON_SENTENCES, Reading, Rule, State, Status, Threshold
from tapfall.standards import MEAN_ARTERIAL_SHARE
from tapfall.visit.result import Average, Mean
from tapfall.visit.taken import Arm, Taken

#: Decimals of a mean: float sums of decimals miss boundaries by less.
DECIMALS = 6


def pressures(reading: Reading) -> tuple[float, float] | None:
    """Return systolic and diastolic where both were observed."""
    both = (reading.systolic, reading.diastolic)
    values = [one.mmhg for one in both if one.state is State.OBSERVED and one.mmhg is not None]
    return (values[0], values[1]) if len(values) == 2 else None


def both_of(reading: Reading) -> tuple[float, float]:
    """Return systolic and diastolic of a reading that counts, where both were observed.

    Raises
    ------
    TypeError
        They were not: such a reading is left out before.
    """
    both = pressures(reading)
    if both is None:
        raise TypeError("a pressure that was not observed cannot be averaged")
    return both


def left_out(taken: Sequence[Taken], include_review: bool) -> tuple[str | None, ...]:
    """Say of each reading why it cannot be used; None where it can.

    Used are readings of status ``ok``, and on request those of status ``review`` with
    both pressures observed.  Left out as well: a recording that is there twice, and
    readings whose diastolic follows another rule than most do.
    """
    why = [_why_not(one.reading, include_review) for one in taken]
    for place, one in enumerate(taken):
        earlier = next(
            (
                before
                for before in taken[:place]
                if one.reading.beats and before.reading.beats == one.reading.beats
            ),
            None,
        )
        if earlier is not None:
            why[place] = f"the same measurement as {earlier.label or 'one before'}"
    rule = _usual_rule([one.reading for one, no in zip(taken, why, strict=True) if no is None])
    return tuple(
        f"its diastolic follows another rule ({one.reading.diastolic.rule})"
        if no is None and one.reading.diastolic.rule is not rule
        else no
        for one, no in zip(taken, why, strict=True)
    )


def _why_not(reading: Reading, include_review: bool) -> str | None:
    if reading.status is Status.UNREADABLE:
        return "unreadable: " + "; ".join(REASON_SENTENCES[one] for one in reading.reasons)
    if reading.status is Status.REVIEW and not include_review:
        return "left out because a person should check it (--include-review counts it)"
    for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic)):
        if one.state is not State.OBSERVED or one.mmhg is None:
            return f"{name} not observed"
    systolic, diastolic = both_of(reading)
    return None if systolic > diastolic else "its diastolic is not below its systolic"


def _usual_rule(readings: Sequence[Reading]) -> Rule | None:
    """The rule that most follow; of two equally usual ones the one that comes first."""
    found = Counter(one.diastolic.rule for one in readings).most_common(1)
    return found[0][0] if found else None


def average_of(arm: Arm | None, readings: Sequence[Reading]) -> Average:
    """Average readings of one arm.

    Parameters
    ----------
    arm
        The arm.
    readings
        One or more, each with both pressures observed.

    Returns
    -------
    Average
        Unrounded, but for the sixth decimal.
    """
    systolic = mean_of([_parts(one.systolic) for one in readings])
    diastolic = mean_of([_parts(one.diastolic) for one in readings])
    pulse_pressure_mmhg = systolic.mmhg - diastolic.mmhg
    return Average(
        arm=arm,
        count=len(readings),
        review_count=sum(one.status is Status.REVIEW for one in readings),
        systolic=systolic,
        diastolic=diastolic,
        pulse_pressure_mmhg=round(pulse_pressure_mmhg, DECIMALS),
        mean_arterial_mmhg=round(
            diastolic.mmhg + MEAN_ARTERIAL_SHARE.value * pulse_pressure_mmhg, DECIMALS
        ),
    )


def mean_of(values_mmhg: Sequence[tuple[float, float | None, float | None]]) -> Mean:
    """Average values with their bounds, mmHg.

    Examples
    --------
    >>> mean_of([(130.0, 127.0, 132.0), (126.0, 125.0, 130.0)])
    Mean(mmhg=128.0, low_mmhg=126.0, high_mmhg=131.0)
    """
    lows = [low for _, low, _ in values_mmhg if low is not None]
    highs = [high for _, _, high in values_mmhg if high is not None]
    known = len(lows) == len(highs) == len(values_mmhg)
    return Mean(
        mmhg=_mean([value for value, _, _ in values_mmhg]),
        low_mmhg=_mean(lows) if known else None,
        high_mmhg=_mean(highs) if known else None,
    )


def _parts(one: Threshold) -> tuple[float, float | None, float | None]:
    if one.mmhg is None:
        raise TypeError("a pressure that was not observed cannot be averaged")
    return (one.mmhg, one.low_mmhg, one.high_mmhg)


def _mean(values: Sequence[float]) -> float:
    return round(math.fsum(values) / len(values), DECIMALS)
