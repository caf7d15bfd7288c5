"""Print results: one table of at most 110 columns, then what needs a line of its own."""

from __future__ import annotations

from collections.abc import Sequence

from tests.accuracy.results import SURE, Calibration, GroupResult, Share, ValueResult
from tests.accuracy.scoring import Score

LEGEND = """\
all: % right of all wanted; giv: % right of those given; abs: % without a value; cov: % of the 95 %
intervals that hold the threshold; bias, sd: mmHg, an error is 0 inside the span of the two truths;
ok: % with status ok; P, R: % precision and recall of sounding beats; step: mmHg per beat, the limit
of resolution; ece: expected calibration error of the confidence, ten bins of equal width 0.1."""

_HEAD = (
    f"{'':<21} {'success':<10}|{' systolic':<27}|{' diastolic':<27}|\n"
    f"{'group':<21} {'% 95 %':<10}|" + " all giv abs  bias   sd cov|" * 2 + " ok   P   R step  ece"
)


def percent(part: Share, width: int = 4) -> str:
    """A share as a whole percentage; 100 and 0 only where they are exact."""
    if part.value is None:
        return f"{'-':>{width}}"
    whole = round(100 * part.value)
    if part.some < part.all:
        whole = min(whole, 99)
    if part.some > 0:
        whole = max(whole, 1)
    return f"{whole:>{width}}"


def with_bounds(part: Share) -> str:
    """A share with its exact 95 % bounds, as ``87 80-92``."""
    if part.value is None:
        return "-"
    low, high = part.bounds
    return f"{percent(part, 3)} {100 * low:.0f}-{100 * high:.0f}"


def _in_words(part: Share) -> str:
    if not part.all:
        return "0/0"
    low, high = part.bounds
    return f"{part.some}/{part.all} = {percent(part, 0)} % ({100 * low:.1f} to {100 * high:.1f})"


def _number(value: float | None, form: str, width: int) -> str:
    text = "-" if value is None else format(value, form)
    return f"{text:>{width}}"


def _value(value: ValueResult) -> str:
    return (
        f"{percent(value.right)}{percent(value.right_of_given)}{percent(value.abstained)}"
        f"{_number(value.bias_mmhg, '+.1f', 6)}{_number(value.sd_mmhg, '.1f', 5)}"
        f"{percent(value.covered)}"
    )


def _line(result: GroupResult) -> str:
    return (
        f"{result.group[:21]:<21} {with_bounds(result.success):<10}|"
        f"{_value(result.systolic)}|{_value(result.diastolic)}|"
        f"{percent(result.status_ok, 3)}{percent(result.precision)}{percent(result.recall)}"
        f"{_number(result.step_mmhg, '.1f', 5)}"
        f"{_number(result.calibration.expected_error, '.2f', 5)}"
    )


def _special(results: Sequence[GroupResult]) -> list[str]:
    lines = [
        f"{result.group}: {label} {_in_words(part)}"
        for result in results[:-1]
        for part, label in (
            (result.right_with_gap, "both values right, the gap found or not"),
            (result.gap_found, "gap found"),
            (result.into_gap_ok, "inflated into a gap, yet ok with a value (target <= 2 %)"),
            (result.unreadable, "called unreadable"),
            (result.hidden, "values that the noise hides and that may be withheld"),
        )
        if part.all and (part.some or part is not result.hidden)
    ]
    return [*lines, f"false gaps, where the truth has none: {_in_words(results[-1].false_gaps)}"]


def calibration_lines(result: Calibration) -> list[str]:
    """The observed error of every tenth of confidence."""
    if not result.values:
        return ["confidence: no values"]
    expected = _number(result.expected_error, ".3f", 0)
    lines = [
        f"confidence of {result.values} values: expected calibration error {expected}",
        f"wrong among confidence >= {SURE}: {_in_words(result.sure_wrong)}",
        "  tenth     values  mean conf  % wrong, 95 %",
    ]
    lines += [
        f"  {tenth.low:.1f}-{tenth.low + 0.1:.1f} {tenth.values:>8}  {tenth.mean_confidence:>9.3f}"
        f"  {with_bounds(tenth.wrong)}"
        for tenth in result.tenths
    ]
    return lines


def table(results: Sequence[GroupResult]) -> str:
    """The whole print-out; the last result is taken as the sum of all."""
    rule = "-" * max(map(len, _HEAD.splitlines()))
    each = [_line(result) for result in results]
    seconds = results[-1].seconds
    sizes = sorted({result.recordings for result in results[:-1]})
    return "\n".join(
        [
            f"recordings in each group: {' or '.join(map(str, sizes))}",
            _HEAD,
            rule,
            *each[:-1],
            rule,
            each[-1],
            "",
            LEGEND,
            "",
            *_special(results),
            *calibration_lines(results[-1].calibration),
            f"mean time of one reading: {seconds:.3f} s",
        ]
    )


def failures(rows: Sequence[Score]) -> str:
    """The trace of every recording that raised, one below the other."""
    broken = [row for row in rows if row.failure is not None]
    return "\n".join(
        f"\nFAILED {row.group} seed {row.seed}\n{row.failure}".rstrip() for row in broken
    )
