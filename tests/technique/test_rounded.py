"""Rows that are rounded stand still although the cuff falls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Finding, Recording
from tapfall.synth import load_builtin, simulate
from tapfall.technique import check_technique
from tapfall.technique.stillness import Stillness, Stop
from tests.technique.made import CORNERS, found, log_of


def rounded(recording: Recording, every: int, step_mmhg: float) -> Recording:
    """The recording with one in so many rows of its log, rounded."""
    time_s, mmhg = recording.cuff.time_s[::every], recording.cuff.pressure_mmhg[::every]
    log = CuffLog(time_s=time_s, pressure_mmhg=np.round(mmhg / step_mmhg) * step_mmhg)
    return replace(recording, cuff=log)


def told(recording: Recording, check: str) -> Finding:
    """What one check says of a recording."""
    reading = take_reading(recording)
    (one,) = (each for each in check_technique(recording, reading) if each.check == check)
    return one


@pytest.mark.parametrize(
    ("every", "step_mmhg"), [(10, 2.0), (5, 4.0), (5, 5.0), (1, 5.0), (10, 4.0), (2, 10.0)]
)
@pytest.mark.parametrize("seed", [60, 61, 62])
def test_an_even_fall_on_a_rounded_log_has_no_steps(
    seed: int, every: int, step_mmhg: float
) -> None:
    recording = simulate(replace(load_builtin("normal"), seed=seed)).recording
    cut = rounded(recording, every, step_mmhg)
    for check in ("steps", "pauses"):
        one = told(cut, check)
        assert one.state in ("ok", "unknown"), (check, one.found)
        if one.state == "unknown":
            assert one.found == f"rows rounded to {step_mmhg:g} mmHg explain the stops"


@pytest.mark.parametrize("seed", [60, 61])
def test_steps_are_told_unless_the_rounding_is_as_large(seed: int) -> None:
    recording = simulate(replace(load_builtin("stepped_deflation"), seed=seed)).recording
    assert told(recording, "steps").state == "fault"
    assert told(rounded(recording, 10, 1.0), "steps").state == "fault"
    # Steps of 5 mmHg and rows rounded to 5 mmHg look alike.
    assert told(rounded(recording, 5, 5.0), "steps").state == "unknown"


def test_a_long_pause_is_told_on_a_rounded_log_too() -> None:
    corners = [*CORNERS[:4], (32.0, 100.0), (37.0, 100.0), (57.0, 50.0), (58.0, 0.0), (66.0, 0.0)]
    one = told_log(corners, 10.0, 5.0)
    # Five seconds, and the two in which the fall comes a step further.
    assert (one.state, one.found) == ("fault", "7 s at 100 mmHg")


def told_log(corners: list[tuple[float, float]], rate_hz: float, step_mmhg: float) -> Finding:
    """What is said of the pauses of a log, rounded."""
    log = log_of(corners, rate_hz)
    mmhg = np.round(log.pressure_mmhg / step_mmhg) * step_mmhg
    return found("pauses", replace(log, pressure_mmhg=mmhg))


def test_what_is_explained_may_last_as_long_as_a_stop() -> None:
    # 1.25 steps of 5 mmHg at 2.5 mmHg/s, and a row: 2.6 s.
    stops = tuple(Stop(begin_s=10.0 * n, end_s=10.0 * n + 2.6, mmhg=100.0) for n in range(6))
    made = Stillness(stops=stops, lasts_s=60.0, rounding_mmhg=5.0, explained_s=2.61)
    assert (made.stepped, made.hides_steps, made.pauses, made.hides_pauses) == (
        False,
        True,
        (),
        True,
    )
    made = replace(made, explained_s=2.59)
    assert (made.stepped, made.hides_steps, made.hides_pauses) == (True, False, False)
    assert len(made.pauses) == 6
