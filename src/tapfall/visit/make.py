"""Several readings as one visit: a pure function."""

from __future__ import annotations

from collections.abc import Sequence

from tapfall.model import State, Threshold
from tapfall.technique import is_simulated
from tapfall.visit.advice import cautions, more_readings, notes
from tapfall.visit.arms import ACC_AHA_ARMS, arm_to_use, compare_arms
from tapfall.visit.average import average_of, both_of, left_out
from tapfall.visit.category import place
from tapfall.visit.guidelines import TAKE_SENTENCES, Guideline, guideline_of, taken_by
from tapfall.visit.result import ArmsCompared, Average, Cited, Counted, Placed, Visit
from tapfall.visit.schemes import Scheme, scheme_of
from tapfall.visit.taken import Arm, Taken, in_order

#: What is used unless another is named (our choice: both of one guideline).
DEFAULT = "acc-aha-2025"


def visit(
    readings: Sequence[Taken],
    *,
    average: str = DEFAULT,
    scheme: str = DEFAULT,
    include_review: bool = False,
) -> Visit:
    """Average the readings of a visit and place the average in a scheme of categories.

    Each arm is averaged by itself.  Only readings of status ``ok`` are averaged; nothing
    is made up for the others.  The category comes from the unrounded average of two or
    more readings, never from a single one.

    Parameters
    ----------
    readings
        The readings, one or more; ordered by their times where each has one.
    average
        A guideline that says which readings are averaged, from :data:`GUIDELINES`.
    scheme
        A scheme of categories, from :data:`SCHEMES`.
    include_review
        Whether readings of status ``review`` count where both pressures were observed.

    Returns
    -------
    Visit
        The average in mmHg is None where no reading could be used, or the guideline
        wants stable readings and there are none.

    Raises
    ------
    SettingError
        No readings, an unknown name, a value that is not finite, or times of two kinds.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import Scenario, simulate
    >>> reading = take_reading(simulate(Scenario(seed=3)).recording)
    >>> found = visit([Taken(reading=reading, arm=Arm.LEFT, label="arm.json")])
    >>> found.average.count, found.placed, found.why_not_placed
    (1, None, 'A category needs two readings or more; only one counts.')
    """
    guideline, classes = guideline_of(average), scheme_of(scheme)
    ordered = in_order(readings)
    why = list(left_out(ordered, include_review))
    chosen: dict[Arm | None, tuple[int, ...]] = {}
    usable: dict[Arm | None, tuple[int, ...]] = {}
    for arm in (Arm.LEFT, Arm.RIGHT, None):
        places = tuple(p for p, one in enumerate(ordered) if one.arm is arm and why[p] is None)
        values = [both_of(ordered[p].reading) for p in places]
        usable[arm] = places
        chosen[arm] = tuple(places[p] for p in taken_by(guideline.take, values))
        for p in set(places) - set(chosen[arm]):
            why[p] = f"{guideline.title} takes {TAKE_SENTENCES[guideline.take]}"
    averages = {
        arm: average_of(arm, [ordered[p].reading for p in places])
        for arm, places in chosen.items()
        if places
    }
    both = Arm.LEFT in averages and Arm.RIGHT in averages
    arms = compare_arms(averages[Arm.LEFT], averages[Arm.RIGHT]) if both else None
    used = _for_the_visit(averages, arms, guideline, classes)
    if used is not None:
        for arm in averages:
            for p in chosen[arm] if arm is not used.arm else ():
                why[p] = "averaged for its own arm"
    placed, why_not_placed = _placed(classes, used)
    series = {arm: tuple(ordered[p] for p in places) for arm, places in usable.items() if places}
    return Visit(
        guideline=cited_guideline(guideline),
        scheme=cited_scheme(classes),
        include_review=include_review,
        readings=tuple(_counted(one, no) for one, no in zip(ordered, why, strict=True)),
        averages=tuple(averages.values()),
        average=used,
        arms=arms,
        placed=placed,
        why_not_placed=why_not_placed,
        more=more_readings(guideline, series, {arm: len(chosen[arm]) for arm in series}, used),
        notes=notes(guideline, classes, ordered, series, used, arms),
        cautions=cautions(ordered, used),
    )


def cited_guideline(one: Guideline) -> Cited:
    """Name a guideline with its rule."""
    rule = f"of {one.readings} readings or more {TAKE_SENTENCES[one.take]}"
    return Cited(name=one.name, title=one.title, date=one.date, source=one.source, rule=rule)


def cited_scheme(one: Scheme) -> Cited:
    """Name a scheme with its categories."""
    rule = ", ".join(category.name for category in one.categories)
    return Cited(name=one.name, title=one.title, date=one.date, source=one.source, rule=rule)


def _for_the_visit(
    averages: dict[Arm | None, Average],
    arms: ArmsCompared | None,
    guideline: Guideline,
    scheme: Scheme,
) -> Average | None:
    """The average that stands for the visit: of the higher arm, known arms before unknown."""
    if arms is not None:
        rule = guideline.arms or scheme.arms or ACC_AHA_ARMS
        return arm_to_use(rule, averages[Arm.LEFT], averages[Arm.RIGHT], arms)
    known = [one for one in averages.values() if one.arm is not None]
    return next(iter([*known, *averages.values()]), None)


def _placed(scheme: Scheme, average: Average | None) -> tuple[Placed | None, str | None]:
    if average is None:
        return None, "There is no average."
    if average.count < 2:
        return None, "A category needs two readings or more; only one counts."
    return place(scheme, average.systolic, average.diastolic), None


def _bound(threshold: Threshold, mmhg: float | None) -> float | None:
    return mmhg if threshold.state is State.NOT_REACHED else None


def _counted(one: Taken, why_not: str | None) -> Counted:
    systolic, diastolic = one.reading.systolic, one.reading.diastolic
    return Counted(
        label=one.label,
        arm=one.arm,
        time=None if one.time is None else one.time.isoformat(),
        status=one.reading.status,
        systolic_mmhg=systolic.mmhg,
        diastolic_mmhg=diastolic.mmhg,
        systolic_at_least_mmhg=_bound(systolic, systolic.low_mmhg),
        diastolic_at_most_mmhg=_bound(diastolic, diastolic.high_mmhg),
        diastolic_rule=one.reading.diastolic.rule,
        rhythm=one.reading.rhythm,
        averaged=why_not is None,
        why_not=why_not,
        simulated=is_simulated(one.reading),
    )
