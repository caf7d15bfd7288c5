"""Sum rows of scores up into the result of a group."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scipy.stats import binomtest

from tests.accuracy.scoring import Score, ValueScore

#: Confidence from which a value is called sure.
SURE = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Some of all, with its exact (Clopper-Pearson) 95 % bounds."""

    some: int
    all: int

    @property
    def value(self) -> float | None:
        """The share, ``None`` of nothing."""
        return self.some / self.all if self.all else None

    @property
    def bounds(self) -> tuple[float, float]:
        """Exact 95 % bounds; (0, 1) of nothing."""
        if not self.all:
            return 0.0, 1.0
        interval = binomtest(self.some, self.all).proportion_ci(0.95, method="exact")
        return float(interval.low), float(interval.high)


def share(answers: Iterable[bool]) -> Share:
    """Count the true ones."""
    listed = list(answers)
    return Share(some=sum(listed), all=len(listed))


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueResult:
    """One pressure over a group; errors in mmHg, estimate minus truth."""

    right: Share
    right_of_given: Share
    abstained: Share
    covered: Share
    bias_mmhg: float | None
    sd_mmhg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tenth:
    """Values whose confidence falls in one bin of width 0.1."""

    low: float
    values: int
    mean_confidence: float
    wrong: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How far confidence means what it says.

    ``expected_error`` is the expected calibration error over ten bins of equal
    width 0.1; ``sure_wrong`` the share wrong among confidences of at least 0.97.
    """

    values: int
    expected_error: float | None
    sure_wrong: Share
    tenths: tuple[Tenth, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupResult:
    """Everything printed of one group.

    ``hidden`` are the values that only one of the two truths has: they may be
    withheld, so a success there may be a wise silence.  Where there is a gap, success
    wants it found as well, ``right_with_gap`` both values alone.  ``step_mmhg`` is the
    median fall of the cuff per beat: the limit of what any listener can resolve.
    """

    group: str
    recordings: int
    failures: int
    success: Share
    systolic: ValueResult
    diastolic: ValueResult
    precision: Share
    recall: Share
    gap_found: Share
    right_with_gap: Share
    false_gaps: Share
    into_gap_ok: Share
    unreadable: Share
    hidden: Share
    status_ok: Share
    calibration: Calibration
    step_mmhg: float | None
    seconds: float


def value_result(values: Sequence[ValueScore]) -> ValueResult:
    """Sum up one pressure."""
    wanted = [value for value in values if value.wanted]
    errors = [value.error_mmhg for value in values if value.error_mmhg is not None]
    return ValueResult(
        right=share(value.right for value in wanted),
        right_of_given=share(value.right for value in values if value.given),
        abstained=share(not value.given for value in wanted),
        covered=share(value.covered for value in values if value.covered is not None),
        bias_mmhg=statistics.fmean(errors) if errors else None,
        sd_mmhg=statistics.stdev(errors) if len(errors) > 1 else None,
    )


def calibration(values: Sequence[ValueScore]) -> Calibration:
    """Compare confidence with the share within 4 mmHg, over all values given."""
    pairs = [
        (value.estimate.confidence, value.near)
        for value in values
        if value.near is not None
        and value.estimate is not None
        and value.estimate.confidence is not None
    ]
    tenths = []
    for index in range(10):
        inside = [pair for pair in pairs if min(int(pair[0] * 10 + 1e-9), 9) == index]
        if inside:
            tenths.append(
                Tenth(
                    low=index / 10,
                    values=len(inside),
                    mean_confidence=math.fsum(c for c, _ in inside) / len(inside),
                    wrong=share(not near for _, near in inside),
                )
            )
    away = [
        tenth.values * abs(tenth.mean_confidence - 1 + (tenth.wrong.value or 0.0))
        for tenth in tenths
    ]
    return Calibration(
        values=len(pairs),
        expected_error=math.fsum(away) / len(pairs) if pairs else None,
        sure_wrong=share(not near for confidence, near in pairs if confidence >= SURE),
        tenths=tuple(tenths),
    )


def group_result(group: str, rows: Sequence[Score]) -> GroupResult:
    """Sum up the rows of one group."""
    systolic = [row.systolic for row in rows]
    diastolic = [row.diastolic for row in rows]
    hits = sum(row.beats.hits for row in rows)
    steps = [row.step_mmhg for row in rows if row.step_mmhg is not None]
    return GroupResult(
        group=group,
        recordings=len(rows),
        failures=sum(row.failure is not None for row in rows),
        success=share(row.success for row in rows),
        systolic=value_result(systolic),
        diastolic=value_result(diastolic),
        precision=Share(some=hits, all=hits + sum(row.beats.false for row in rows)),
        recall=Share(some=hits, all=hits + sum(row.beats.missed for row in rows)),
        gap_found=share(row.gap_found for row in rows if row.gap_found is not None),
        right_with_gap=share(
            row.systolic.right and row.diastolic.right for row in rows if row.gap_found is not None
        ),
        false_gaps=share(row.false_gap for row in rows if row.false_gap is not None),
        into_gap_ok=share(row.into_gap_ok for row in rows if row.into_gap_ok is not None),
        unreadable=share(row.unreadable_right for row in rows if row.unreadable_right is not None),
        hidden=share(value.hidden for value in [*systolic, *diastolic]),
        status_ok=share(row.status == "ok" for row in rows),
        calibration=calibration([*systolic, *diastolic]),
        step_mmhg=statistics.median(steps) if steps else None,
        seconds=statistics.fmean(row.seconds for row in rows) if rows else 0.0,
    )


def results(rows: Sequence[Score]) -> tuple[GroupResult, ...]:
    """One result per group in the order of appearance, then ``all`` of them."""
    names = list(dict.fromkeys(row.group for row in rows))
    each = [group_result(name, [row for row in rows if row.group == name]) for name in names]
    return (*each, group_result("all", rows))
