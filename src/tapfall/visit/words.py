"""A visit as it is shown, in words and numbers that terminal and page have in common.

Rounding is for display only: a pressure has as few decimals as keep it on its side of every
bound of its scheme, and of what is very high.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from tapfall.standards import VERY_HIGH_DIASTOLIC, VERY_HIGH_SYSTOLIC
from tapfall.visit.average import DECIMALS
from tapfall.visit.category import diastolic_bounds, systolic_bounds
from tapfall.visit.result import Average, Counted, Mean, Placed, Visit
from tapfall.visit.schemes import SCHEMES, Scheme
from tapfall.wording import whole

#: Stands below every average.
HOW = (
    "Ranges hold 95 %: the mean of the readings' own ranges, for their errors may be shared. "
    "They hold the pressure at these readings; how it changes with the hours is not in them. "
    "The category is that of the unrounded average, from each bound up to the next; rounding, "
    "also that to 2 mmHg, is for display only."
)

Measure = Literal["systolic", "diastolic"]


def scheme_shown(visit: Visit) -> Scheme:
    """The scheme by whose bounds the pressures of a visit are shown."""
    return SCHEMES[visit.scheme.name]


def is_single(visit: Visit) -> bool:
    """Whether one reading alone counts, which is no average."""
    return visit.average is not None and visit.average.count == 1


def what_words(visit: Visit) -> str:
    """What the pressures of a visit are.

    Examples
    --------
    >>> from tapfall.model import Diastolic, Reading, State, Status, Threshold
    >>> from tapfall.visit import Arm, Taken, visit
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> reading = Reading(
    ...     status=Status.OK, first_silence=nothing, muffling=nothing,
    ...     systolic=Threshold(state=State.OBSERVED, mmhg=128.0),
    ...     diastolic=Diastolic(state=State.OBSERVED, mmhg=82.0))
    >>> what_words(visit([Taken(reading=reading, arm=Arm.LEFT)] * 2))
    'average of 2 readings, left arm'
    """
    average = visit.average
    if average is None:
        return "no reading could be averaged"
    arm = "" if average.arm is None else f", {arm_words(average)}"
    if is_single(visit):
        return f"a single reading, no average{arm}"
    return f"average of {average.count} readings{arm}"


def arm_words(average: Average) -> str:
    """The arm of an average."""
    return "arm not known" if average.arm is None else f"{average.arm} arm"


def averaged_words(visit: Visit) -> str:
    """What begins the words on the rule of averaging: that nothing was averaged, or nothing."""
    return "nothing: a single reading. " if is_single(visit) else ""


def doubt_words(placed: Placed) -> str:
    """How sure a category is; nothing where it is.

    Examples
    --------
    >>> doubt_words(Placed(category="stage 1", systolic="stage 1", diastolic="normal",
    ...     certain=False, could_be=("stage 1", "stage 2")))
    '; category uncertain: stage 1 or stage 2'
    """
    if placed.certain:
        return ""
    several = len(placed.could_be) > 1
    why = " or ".join(placed.could_be) if several else "the range is not known"
    return f"; category uncertain: {why}"


def mean_words(scheme: Scheme, measure: Measure, mean: Mean) -> tuple[str, str | None]:
    """A mean and its range in mmHg, each on its side of every bound; None for no range.

    Examples
    --------
    >>> mean = Mean(mmhg=180.04, low_mmhg=178.0, high_mmhg=182.21)
    >>> mean_words(SCHEMES["acc-aha-2025"], "systolic", mean)
    ('180.04', '178.0 to 182.2')
    """
    bounds, very_high = _bounds(scheme, measure)

    def shown(mmhg: float) -> str:
        return shown_mmhg(mmhg, bounds, very_high, decimals=1)

    if mean.low_mmhg is None or mean.high_mmhg is None:
        return shown(mean.mmhg), None
    return shown(mean.mmhg), f"{shown(mean.low_mmhg)} to {shown(mean.high_mmhg)}"


def _bounds(scheme: Scheme, measure: Measure) -> tuple[tuple[float, ...], float]:
    """The bounds of a scheme for one pressure, and from where it is very high, mmHg."""
    if measure == "systolic":
        return systolic_bounds(scheme), VERY_HIGH_SYSTOLIC.value
    return diastolic_bounds(scheme), VERY_HIGH_DIASTOLIC.value


def shown_pair(scheme: Scheme, systolic_mmhg: float | None, diastolic_mmhg: float | None) -> str:
    """Return pressures as they are shown: whole mmHg, with decimals where those would mislead.

    Examples
    --------
    >>> from tapfall.visit import SCHEMES
    >>> shown_pair(SCHEMES["acc-aha-2025"], 139.6, 84.4)
    '139.6/84'
    """
    return "/".join(
        "?" if value is None else shown_mmhg(value, *_bounds(scheme, measure))
        for value, measure in _by_measure(systolic_mmhg, diastolic_mmhg)
    )


def _by_measure(
    systolic_mmhg: float | None, diastolic_mmhg: float | None
) -> tuple[tuple[float | None, Measure], ...]:
    return (systolic_mmhg, "systolic"), (diastolic_mmhg, "diastolic")


def shown_reading(scheme: Scheme, one: Counted) -> str:
    """Return the pressures of a reading of a visit as they are shown, bounds as bounds.

    Examples
    --------
    >>> from tapfall.model import Diastolic, Reading, State, Status, Threshold
    >>> from tapfall.visit import SCHEMES, Taken, visit
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> reading = Reading(
    ...     status=Status.REVIEW, first_silence=nothing, muffling=nothing,
    ...     systolic=Threshold(state=State.NOT_REACHED, low_mmhg=171.2),
    ...     diastolic=Diastolic(state=State.OBSERVED, mmhg=88.0))
    >>> shown_reading(SCHEMES["acc-aha-2025"], visit([Taken(reading=reading)]).readings[0])
    'at least 171 / 88'
    """
    most, least = one.diastolic_at_most_mmhg, one.systolic_at_least_mmhg
    if most is None and least is None:
        return shown_pair(scheme, one.systolic_mmhg, one.diastolic_mmhg)
    upper, lower = shown_pair(
        scheme,
        one.systolic_mmhg if least is None else least,
        one.diastolic_mmhg if most is None else most,
    ).split("/")
    return " / ".join(
        (
            upper if least is None else f"at least {upper}",
            lower if most is None else f"at most {lower}",
        )
    )


def shown_mmhg(
    mmhg: float, bounds_mmhg: Sequence[float], very_high_mmhg: float, *, decimals: int = 0
) -> str:
    """Return a pressure with as few decimals as keep it on its side of every bound.

    Whole mmHg where they do (halves go up), else one decimal, and more only where one
    would cross the bound as well; at least ``decimals``.

    Examples
    --------
    >>> [shown_mmhg(one, (140.0,), 180.0) for one in (138.5, 139.5, 139.96, 140.4, 180.3)]
    ['139', '139.5', '139.96', '140', '180.3']
    """
    for many in range(decimals, DECIMALS):
        rounded = round(mmhg, many) if many else float(whole(mmhg))
        same = all((mmhg >= bound) == (rounded >= bound) for bound in bounds_mmhg)
        if same and (mmhg > very_high_mmhg) == (rounded > very_high_mmhg):
            return f"{rounded:.{many}f}"
    return f"{mmhg:.{DECIMALS}f}"


def even_pair(average: Average) -> str:
    """An average to the nearest even numbers, as pressures are written down.

    Examples
    --------
    >>> from tapfall.visit.average import mean_of
    >>> high, low = (mean_of([(mmhg, None, None)]) for mmhg in (129.0, 128.9))
    >>> even_pair(Average(arm=None, count=2, review_count=0, systolic=high, diastolic=low,
    ...     pulse_pressure_mmhg=0.1, mean_arterial_mmhg=128.9))
    '130/128'
    """
    return "/".join(f"{2 * whole(one.mmhg / 2.0)}" for one in (average.systolic, average.diastolic))
