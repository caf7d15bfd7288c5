"""What is found about the agreement of two methods: numbers, sources, requirements."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.study.agreement.coverage import CoveragePoint

#: Verdicts. A criterion is met by a sample; nothing here validates a method.
MET = "criterion met on this sample"
NOT_MET = "criterion not met on this sample"
NOT_COMPUTED = "not computed"
#: What a requirement is found to be.
FULFILLED, UNFULFILLED, NOT_TOLD = "met", "not met", "not told"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Rows of a group by what they hold.

    ``paired`` have two numbers; of the others with a reference the estimate is empty
    (``abstained``) or only bounded (``bounded``).  ``observers_apart`` have no reference
    because two observers are more than 4 mmHg apart, ``without_reference`` because nobody
    wrote one down.  ``subjects`` of the pairs is None where the table has no such column.
    """

    rows: int
    paired: int
    abstained: int
    bounded: int
    without_reference: int
    observers_apart: int
    subjects: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One number with its 95 % interval where it has one; ``value`` None where there is none."""

    name: str
    value: float | None
    low: float | None = None
    high: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """What a protocol wants of a sample, and what this one has."""

    wanted: str
    found: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One statistic: its numbers, what they rest on, and how many rows.

    ``used`` is how many pairs it was computed from: all of ``paired``, or one of each
    subject.  ``verdict`` is empty where the statistic judges nothing.
    """

    name: str
    source: str
    used: int
    paired: int
    abstained: int
    bounded: int
    numbers: tuple[Number, ...] = ()
    verdict: str = ""
    requirements: tuple[Requirement, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """Pairs at one place: the mean of both methods and the difference, estimate minus reference.

    Each pair has its own point, or, where they are many, ``pairs`` of them share one.
    """

    mean_mmhg: float
    difference_mmhg: float
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SharePoint:
    """The share of pairs whose difference is at most ``error_mmhg``."""

    error_mmhg: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The limits that the figure shows: the first ones of the results, by name."""

    name: str
    mean: Number
    lower: Number
    upper: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Digits:
    """How often values that somebody wrote down end in 0 to 9.

    ``counts`` has ten numbers, of whole values alone; chi-square, its p and the digit score
    (0 to 100) are those of the even digits, None where these are fewer than 25.
    """

    who: str
    values: int
    not_whole: int
    counts: tuple[int, ...]
    chi_square: float | None
    p_value: float | None
    score: float | None
    look: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """All that was found for one measure, in one condition; None for all together.

    ``points_step_mmhg`` is the grid that many points were gathered on, None where each
    pair has its own.
    """

    measure: str
    condition: str | None
    counts: Counts
    results: tuple[Result, ...]
    drawn: Drawn | None
    points: tuple[Point, ...]
    points_step_mmhg: float | None
    digits: tuple[Digits, ...]
    shares: tuple[SharePoint, ...]
    coverage: tuple[CoveragePoint, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """A table's agreement: its groups, the methods in words, and what it does not say.

    ``reference`` is ``observers``, or ``device`` where another device stands for them.  Of
    ``simulated`` of its ``rows`` it is known that no person was measured.
    """

    scheme: str
    reference: str
    rows: int
    simulated: int
    groups: tuple[Group, ...]
    methods: str
    notes: tuple[str, ...]
