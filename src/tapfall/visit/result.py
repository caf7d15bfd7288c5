"""What a visit says: frozen dataclasses, units in names."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.model import Rhythm, Rule, Status
from tapfall.visit.taken import Arm


@dataclass(frozen=True, slots=True, kw_only=True)
class Cited:
    """A guideline or scheme by name, with its date, its source and its rule in words."""

    name: str
    title: str
    date: str
    source: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """One reading of the visit, and whether it is in the average.

    ``why_not`` says why it is not; values that were not observed are None.  Where sounds
    were there from the top, or to the end, the bound is known.  ``simulated`` is true where
    the reading says of itself that no person was measured.
    """

    label: str
    arm: Arm | None
    time: str | None
    status: Status
    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    systolic_at_least_mmhg: float | None
    diastolic_at_most_mmhg: float | None
    diastolic_rule: Rule
    rhythm: Rhythm
    averaged: bool
    why_not: str | None
    simulated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean pressure, unrounded, with its 95 % interval where every reading has one."""

    mmhg: float
    low_mmhg: float | None
    high_mmhg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Average:
    """The average of one arm; of a single reading it is that reading.

    ``count`` readings are in it, ``review_count`` of them of status ``review``.
    """

    arm: Arm | None
    count: int
    review_count: int
    systolic: Mean
    diastolic: Mean
    pulse_pressure_mmhg: float
    mean_arterial_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmsCompared:
    """Left minus right, the higher arm, and what each published rule says."""

    systolic_mmhg: float
    diastolic_mmhg: float
    higher: Arm | None
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The category of an average.

    ``systolic`` and ``diastolic`` are the categories of each pressure alone; the higher
    one counts.  ``certain`` is false where the interval of the average reaches into
    another category, or is not known; ``could_be`` lists every category it touches.
    """

    category: str
    systolic: str
    diastolic: str
    certain: bool
    could_be: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Several readings as one.

    ``average`` is that of the arm that stands for the visit, ``averages`` holds one for
    each arm.  ``more`` says why further readings are advised, ``notes`` what else has to
    be known, ``cautions`` what goes with every use.
    """

    guideline: Cited
    scheme: Cited
    include_review: bool
    readings: tuple[Counted, ...]
    averages: tuple[Average, ...]
    average: Average | None
    arms: ArmsCompared | None
    placed: Placed | None
    why_not_placed: str | None
    more: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
