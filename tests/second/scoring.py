"""One reading beside its truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapfall.model import Reading, State, Status, Threshold
from tests.second.made import Range, Truth

#: A value is right within this of the range of the truth.
NEAR_MMHG = 4.0
#: Confidence from which a value is called sure.
SURE = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One pressure: the range of its truth, ``None`` where it has none, and what was read."""

    truth_mmhg: Range | None
    mmhg: float | None
    low_mmhg: float | None
    high_mmhg: float | None
    confidence: float | None
    state: str
    right: bool

    @property
    def near(self) -> bool:
        """Whether a value was given and lies near the truth."""
        return _near(self.mmhg, self.truth_mmhg)

    @property
    def sure(self) -> bool:
        """Whether a value was given with high confidence."""
        return self.mmhg is not None and (self.confidence or 0.0) >= SURE

    @property
    def covered(self) -> bool | None:
        """Whether the 95 % interval meets the truth; ``None`` where one of them is missing."""
        if self.truth_mmhg is None or self.mmhg is None:
            return None
        if self.low_mmhg is None or self.high_mmhg is None:
            return None
        return _overlap((self.low_mmhg, self.high_mmhg), self.truth_mmhg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One recording; a failed one holds the trace in ``failure`` and no values.

    ``gap_false`` says that a gap was reported where the truth has none, neither without
    nor in the noise; ``log_rate_hz`` is ``None`` where the recording itself failed.
    """

    kind: str
    seed: int
    log_rate_hz: float | None
    status: str = ""
    systolic: Value | None = None
    diastolic: Value | None = None
    gaps_true: int = 0
    gaps_found: int = 0
    gap_false: bool = False
    failure: str = ""

    @property
    def right(self) -> bool:
        """Whether both pressures came out right."""
        return len(self.values) == 2 and all(value.right for value in self.values)

    @property
    def wanted(self) -> list[Value]:
        """The pressures that a reading should give; none above a gap it was inflated into."""
        values = [self.diastolic] if self.kind == "into_gap" else [self.systolic, self.diastolic]
        return [value for value in values if value is not None and value.truth_mmhg is not None]

    @property
    def values(self) -> list[Value]:
        """Both pressures, none where the recording failed."""
        return [value for value in (self.systolic, self.diastolic) if value is not None]


def score(kind: str, seed: int, truth: Truth, reading: Reading) -> Row:
    """Judge one reading.

    A pressure that was not reached should have that state, a recording without sounds
    should be unreadable; one inflated into a gap should not be ``ok``, which stands for
    its systolic.
    """
    systolic_right = _right(truth.systolic_mmhg, reading.systolic)
    diastolic_right = _right(truth.diastolic_mmhg, reading.diastolic)
    if kind == "into_gap":
        systolic_right = reading.status is not Status.OK
    if kind == "no_sounds":
        systolic_right = diastolic_right = reading.status is Status.UNREADABLE
    found = [(gap.lower_mmhg, gap.upper_mmhg) for gap in reading.gaps]
    known = _upwards([*truth.quiet.gaps_mmhg, *truth.noise.gaps_mmhg])
    return Row(
        kind=kind,
        seed=seed,
        log_rate_hz=truth.log_rate_hz,
        status=reading.status.value,
        systolic=_value(truth.systolic_mmhg, reading.systolic, right=systolic_right),
        diastolic=_value(truth.diastolic_mmhg, reading.diastolic, right=diastolic_right),
        gaps_true=len(truth.gaps_mmhg),
        gaps_found=sum(_meets(gap, found) for gap in _upwards(truth.gaps_mmhg)),
        gap_false=not all(_meets(gap, known) for gap in found),
    )


def _right(truth_mmhg: Range | None, read: Threshold) -> bool:
    if truth_mmhg is None:
        return read.mmhg is None and read.state is State.NOT_REACHED
    return _near(read.mmhg, truth_mmhg)


def _near(mmhg: float | None, truth_mmhg: Range | None) -> bool:
    if mmhg is None or truth_mmhg is None:
        return False
    return truth_mmhg[0] - NEAR_MMHG <= mmhg <= truth_mmhg[1] + NEAR_MMHG


def _value(truth_mmhg: Range | None, read: Threshold, *, right: bool) -> Value:
    return Value(
        truth_mmhg=truth_mmhg,
        mmhg=read.mmhg,
        low_mmhg=read.low_mmhg,
        high_mmhg=read.high_mmhg,
        confidence=read.confidence,
        state=read.state.value,
        right=right,
    )


def _upwards(gaps_mmhg: Sequence[Range]) -> list[Range]:
    return [(lower, upper) for upper, lower in gaps_mmhg]


def _overlap(one: Range, other: Range) -> bool:
    return one[0] <= other[1] + 1e-6 and one[1] + 1e-6 >= other[0]


def _meets(one: Range, others: Sequence[Range]) -> bool:
    return any(_overlap(one, other) for other in others)
