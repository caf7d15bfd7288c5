"""Make, read and score recordings, over several processes if asked."""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from functools import partial

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Reading, Recording
from tests.running import Case, run_cases
from tests.second.made import Made, make
from tests.second.scoring import Row, score


def read(made: Made) -> Reading:
    """What tapfall reads from a recording."""
    cuff = CuffLog(time_s=made.log.time_s, pressure_mmhg=made.log.pressure_mmhg)
    return take_reading(Recording(samples=made.samples, rate_hz=float(made.rate_hz), cuff=cuff))


def read_case(case: Case, least_log_hz: float = 0.0) -> Row | None:
    """Make, read and score one; ``None`` where its log is slower than asked for.

    Anything raised makes a failed row.
    """
    log_rate_hz = None
    try:
        made = make(*case)
        log_rate_hz = made.log.rate_hz
        if log_rate_hz < least_log_hz:
            return None
        return score(*case, made.truth, read(made))
    except Exception:
        return _failed(case, log_rate_hz)


def read_cases(cases: Sequence[Case], *, workers: int = 1, least_log_hz: float = 0.0) -> list[Row]:
    """Rows in the order of the cases, without those whose log is too slow."""
    rows = run_cases(
        partial(read_case, least_log_hz=least_log_hz), cases, workers=workers, lost=_lost
    )
    return [row for row in rows if row is not None]


def _lost(case: Case) -> Row:
    return _failed(case, None)


def _failed(case: Case, log_rate_hz: float | None) -> Row:
    kind, seed = case
    trace = traceback.format_exc()
    return Row(kind=kind, seed=seed, log_rate_hz=log_rate_hz, failure=trace)
