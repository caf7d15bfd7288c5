"""Both arms: their difference, and what named guidelines make of it."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.visit.result import ArmsCompared, Average
from tapfall.visit.taken import Arm


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmRule:
    """What a guideline says of a difference between the arms.

    Parameters
    ----------
    title, source
        What it is called and where it was read.
    over_mmhg
        A systolic difference above it makes the higher arm the one to use.
    consistent
        Whether the difference has to be there in more than one reading of each arm.
    further_over_mmhg
        Above it further evaluation is to be considered; None where nothing is said.
    """

    title: str
    source: str
    over_mmhg: float
    consistent: bool
    further_over_mmhg: float | None = None


ACC_AHA_ARMS = ArmRule(
    title="ACC/AHA; AHA 2019",
    source="ACC/AHA checklist; AHA 2019 by a news summary: on the first visit both arms, "
    "afterwards the arm with the higher value",
    over_mmhg=0.0,
    consistent=False,
)

ISH_ARMS = ArmRule(
    title="ISH 2020",
    source="ISH 2020: a consistent difference above 10 mmHg, use the higher arm; above 20, "
    "consider further evaluation",
    over_mmhg=10.0,
    consistent=True,
    further_over_mmhg=20.0,
)

NICE_ARMS = ArmRule(
    title="NICE NG136",
    source="NICE NG136: a difference above 15 mmHg, repeat; still above 15, use the higher arm",
    over_mmhg=15.0,
    consistent=True,
)

#: Every published rule, in the order in which they are told.
ARM_RULES = (ACC_AHA_ARMS, ISH_ARMS, NICE_ARMS)

#: Readings of an arm from which a difference counts as consistent (our choice).
CONSISTENT_READINGS = 2


def compare_arms(left: Average, right: Average) -> ArmsCompared:
    """Compare the averages of two arms.

    The higher arm is the one with the higher systolic, and of two equal ones that with
    the higher diastolic.

    Examples
    --------
    >>> from tapfall.visit.average import mean_of
    >>> left, right = (mean_of([(s, None, None)]) for s in (140.0, 128.0))
    >>> low = mean_of([(80.0, None, None)])
    >>> found = compare_arms(
    ...     Average(arm=Arm.LEFT, count=2, review_count=0, systolic=left, diastolic=low,
    ...             pulse_pressure_mmhg=60.0, mean_arterial_mmhg=100.0),
    ...     Average(arm=Arm.RIGHT, count=2, review_count=0, systolic=right, diastolic=low,
    ...             pulse_pressure_mmhg=48.0, mean_arterial_mmhg=96.0))
    >>> found.sentences[1]
    'ISH 2020: consistently above 10 mmHg: use the left arm.'
    """
    systolic = round(left.systolic.mmhg - right.systolic.mmhg, 6)
    diastolic = round(left.diastolic.mmhg - right.diastolic.mmhg, 6)
    ahead = systolic or diastolic
    higher = None if ahead == 0.0 else Arm.LEFT if ahead > 0.0 else Arm.RIGHT
    repeated = min(left.count, right.count) >= CONSISTENT_READINGS
    return ArmsCompared(
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        higher=higher,
        sentences=tuple(_said(rule, higher, abs(systolic), repeated) for rule in ARM_RULES),
    )


def arm_to_use(rule: ArmRule, one: Average, other: Average, compared: ArmsCompared) -> Average:
    """Return the average of the arm that stands for the visit.

    It is the higher one; where a rule's bound is not passed and the higher arm has a
    single reading, the arm with more (our choice: what the rules leave open).
    """
    higher, lower = (one, other) if one.arm is compared.higher else (other, one)
    passed = abs(compared.systolic_mmhg) > rule.over_mmhg
    return lower if higher.count < 2 <= lower.count and not passed else higher


def _said(rule: ArmRule, higher: Arm | None, apart_mmhg: float, repeated: bool) -> str:
    head = f"{rule.title}:"
    if higher is None:
        return f"{head} the arms are equal."
    if not rule.consistent:
        return f"{head} from now on use the arm with the higher value, the {higher} one."
    if apart_mmhg <= rule.over_mmhg:
        return f"{head} not above {rule.over_mmhg:g} mmHg systolic."
    if not repeated:
        return f"{head} above {rule.over_mmhg:g} mmHg: repeat on both arms."
    text = f"{head} consistently above {rule.over_mmhg:g} mmHg: use the {higher} arm."
    if rule.further_over_mmhg is not None and apart_mmhg > rule.further_over_mmhg:
        text += f" Above {rule.further_over_mmhg:g}: consider further evaluation."
    return text
