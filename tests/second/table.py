"""Rows as tables of at most 110 columns, and as a file of one line per recording."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.running import write_csv
from tests.second.scoring import Row, Value

#: Rate from which a log shows the cuff's pulse well (our choice).
QUICK_LOG_HZ = 12.0

LEGEND = """\
both, sys, dia: % right: within 4 mmHg of the range of the truth, or told as not reached; without
sounds: unreadable; into_gap: sys is right where the status is not ok.  held: % of the pressures to
be given that were withheld; ok: % with status ok; gaps: found/true; false: recordings with a gap
that the truth has not; cov: % of the 95 % intervals that meet the truth; sure: wrong/all of the
values with confidence from 0.97 up.  A recording that failed counts as wrong."""

_HEAD = (
    f"{'kind':<22}{'n':>6}{'both':>6}{'sys':>6}{'dia':>6}{'held':>6}{'ok':>6}"
    f"{'gaps':>8}{'false':>7}{'cov sys':>9}{'cov dia':>9}{'sure':>10}"
)


def percent(answers: Iterable[bool]) -> str:
    """A share as a whole percentage; 100 and 0 only where they are exact."""
    listed = list(answers)
    if not listed:
        return "-"
    whole = round(100 * sum(listed) / len(listed))
    if not all(listed):
        whole = min(whole, 99)
    return str(max(whole, 1) if any(listed) else whole)


def _covered(values: Iterable[Value | None]) -> str:
    found = [value.covered for value in values if value is not None]
    return percent(covered for covered in found if covered is not None)


def line(name: str, rows: Sequence[Row]) -> str:
    """One line of the table."""
    sure = [value for row in rows for value in row.values if value.sure]
    cells = [
        (len(rows), 6),
        (percent(row.right for row in rows), 6),
        (percent(bool(row.systolic and row.systolic.right) for row in rows), 6),
        (percent(bool(row.diastolic and row.diastolic.right) for row in rows), 6),
        (percent(value.mmhg is None for row in rows for value in row.wanted), 6),
        (percent(row.status == "ok" for row in rows), 6),
        (f"{sum(row.gaps_found for row in rows)}/{sum(row.gaps_true for row in rows)}", 8),
        (sum(row.gap_false for row in rows), 7),
        (_covered(row.systolic for row in rows), 9),
        (_covered(row.diastolic for row in rows), 9),
        (f"{sum(not value.near for value in sure)}/{len(sure)}", 10),
    ]
    return f"{name[:21]:<22}" + "".join(f"{cell:>{width}}" for cell, width in cells)


def block(title: str, rows: Sequence[Row]) -> str:
    """A table of one line per kind and one for all."""
    kinds = list(dict.fromkeys(row.kind for row in rows))
    rule = "-" * len(_HEAD)
    lines = [line(kind, [row for row in rows if row.kind == kind]) for kind in kinds]
    return "\n".join([title, _HEAD, rule, *lines, rule, line("all", rows)])


def table(rows: Sequence[Row]) -> str:
    """Two blocks, by how quick the log is; one without recordings is left out."""
    quick = [row for row in rows if _log_rate_hz(row) >= QUICK_LOG_HZ]
    slow = [row for row in rows if _log_rate_hz(row) < QUICK_LOG_HZ]
    blocks = [
        block(title, part)
        for title, part in (
            (f"logs from {QUICK_LOG_HZ:g} Hz up", quick),
            (f"logs slower than {QUICK_LOG_HZ:g} Hz", slow),
        )
        if part
    ]
    return "\n\n".join([*blocks, LEGEND])


def _log_rate_hz(row: Row) -> float:
    """A recording that could not be made stands in the first block."""
    return math.inf if row.log_rate_hz is None else row.log_rate_hz


def failures(rows: Sequence[Row]) -> str:
    """The trace of every recording that raised."""
    return "\n".join(
        f"\nFAILED {row.kind} seed {row.seed}\n{row.failure}".rstrip()
        for row in rows
        if row.failure
    )


def _cells(row: Row) -> dict[str, object]:
    cells: dict[str, object] = {
        "kind": row.kind,
        "seed": row.seed,
        "log_rate_hz": row.log_rate_hz,
        "status": row.status,
        "right": int(row.right),
    }
    for name, value in (("systolic", row.systolic), ("diastolic", row.diastolic)):
        low, high = (value.truth_mmhg if value else None) or (None, None)
        numbers = {
            "true_low_mmhg": low,
            "true_high_mmhg": high,
            "mmhg": value.mmhg if value else None,
            "low_mmhg": value.low_mmhg if value else None,
            "high_mmhg": value.high_mmhg if value else None,
            "confidence": value.confidence if value else None,
        }
        for key, number in numbers.items():
            cells[f"{name}_{key}"] = None if number is None else round(number, 4)
        cells[f"{name}_state"] = value.state if value else ""
        cells[f"{name}_right"] = int(value.right) if value else ""
    cells["gaps_true"], cells["gaps_found"] = row.gaps_true, row.gaps_found
    cells["gap_false"] = int(row.gap_false)
    cells["failure"] = row.failure.strip().rpartition("\n")[2]
    return cells


def save_rows(rows: Sequence[Row], path: Path) -> None:
    """Write one line per recording."""
    write_csv([_cells(row) for row in rows], path)
