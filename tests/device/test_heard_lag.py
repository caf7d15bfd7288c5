"""Clocks further apart than the search for a lag reaches, by what the hand is heard to do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.device import DeviceReport, DeviceState, Verdict, check_device
from tapfall.device.heard_lag import heard_lag
from tapfall.model import CuffLog, Recording
from tests.accuracy.run import simulated
from tests.ear.heard import NAMES, fixture, log_of

GOOD, LIMITS = DeviceState.GOOD, DeviceState.LIMITS
UNKNOWN = DeviceState.UNKNOWN
ROW = "lag beyond 2 s"


def apart(name: str, by_s: float) -> Recording:
    """A fixture whose log was stamped later."""
    return replace(fixture(name), cuff=log_of(fixture(name), shift_s=by_s))


def in_white_noise(name: str) -> Recording:
    """A fixture in which nothing that the hand does is heard."""
    samples = fixture(name).samples.astype(np.float64)
    noise = 0.3 * np.random.default_rng(2).standard_normal(samples.size)
    return replace(fixture(name), samples=samples + noise)


def state(report: DeviceReport, check: str) -> DeviceState:
    return report.finding(check).state


@pytest.mark.parametrize("by_s", [5.0, -5.0, 8.0, 12.0])
def test_clocks_seconds_apart_are_seen(by_s: float) -> None:
    report = check_device(apart("ordinary", by_s))
    assert report.trial.heard_lag_s == pytest.approx(by_s, abs=0.5)
    assert (state(report, ROW), state(report, "lag")) == (LIMITS, UNKNOWN)
    assert report.verdict is Verdict.LIMITED
    side = "earlier" if by_s > 0 else "later"
    assert f"are heard {abs(by_s):.0f} s {side} than the log has them" in report.why[0]
    assert "lag" in report.untold


def test_a_lag_that_looks_small_is_told_to_be_in_doubt() -> None:
    # Six beats and a little: what the reading finds is out by whole beats.
    report = check_device(apart("ordinary", 5.0))
    assert report.trial.lag_s is not None
    assert abs(report.trial.lag_s) < 2.0
    sentence = report.finding("lag").sentence
    assert sentence.endswith(
        "provided that the clocks are within 2 s of each other; it seems that they are not."
    )


def test_clocks_that_agree_are_heard_to() -> None:
    report = check_device(fixture("ordinary"))
    assert report.finding(ROW).found == "none"
    assert (state(report, ROW), state(report, "lag")) == (GOOD, GOOD)
    assert "provided that the clocks are within 2 s" in report.finding("lag").sentence


def test_where_nothing_is_heard_a_lag_beyond_the_search_is_left_open() -> None:
    report = check_device(in_white_noise("ordinary"))
    assert report.trial.heard_lag_s is None
    assert ROW in report.untold
    assert "make sure that the clocks are within 2 s" in report.finding(ROW).sentence


def test_a_lag_that_is_given_is_held_against_what_is_heard() -> None:
    right = check_device(apart("ordinary", 5.0), lag_s=5.0)
    assert (state(right, ROW), state(right, "lag")) == (GOOD, GOOD)
    assert right.trial.heard_lag_s == pytest.approx(5.0, abs=0.5)
    wrong = check_device(apart("ordinary", 5.0), lag_s=-1.0)
    assert state(wrong, ROW) is LIMITS
    assert wrong.trial.heard_lag_s == pytest.approx(5.0, abs=0.5)
    unheard = check_device(in_white_noise("ordinary"), lag_s=0.2)
    assert (unheard.finding(ROW).found, state(unheard, ROW)) == ("given", GOOD)


@pytest.mark.parametrize("name", NAMES)
def test_no_fixture_is_said_to_be_seconds_off(name: str) -> None:
    report = check_device(fixture(name))
    assert state(report, ROW) in (GOOD, UNKNOWN)
    assert state(report, "lag") is not UNKNOWN or report.trial.lag_s is None


@pytest.mark.parametrize("group", ["speech_4db", "friction_4db", "breath_6db", "coarse_log", "lag"])
@pytest.mark.parametrize("seed", [4100, 4101, 4102, 7301, 7302])
def test_other_noise_is_not_taken_for_the_hand(group: str, seed: int) -> None:
    one = simulated(group, seed).recording
    lag_s = heard_lag(one.samples, one.rate_hz, one.cuff)
    assert lag_s is None or abs(lag_s) <= 3.0


def test_nothing_is_told_without_a_whole_measurement() -> None:
    one = fixture("ordinary")
    rest = CuffLog(time_s=np.arange(0.0, 60.0, 0.1), pressure_mmhg=np.zeros(600))
    assert heard_lag(one.samples, one.rate_hz, rest) is None
    high = one.cuff.pressure_mmhg > 40.0
    inflated = CuffLog(time_s=one.cuff.time_s[high], pressure_mmhg=one.cuff.pressure_mmhg[high])
    assert heard_lag(one.samples, one.rate_hz, inflated) is None
    for count in (1, 100, 8000, 80_000):
        assert heard_lag(one.samples[:count], one.rate_hz, one.cuff) is None
    assert heard_lag(np.zeros_like(one.samples), one.rate_hz, one.cuff) is None


def test_samples_of_any_type_and_rows_that_repeat() -> None:
    one = fixture("ordinary")
    found = heard_lag(one.samples, one.rate_hz, one.cuff)
    whole = np.round(one.samples.astype(np.float64) * 2**15).astype(np.int16)
    twice = CuffLog(
        time_s=np.repeat(one.cuff.time_s, 2), pressure_mmhg=np.repeat(one.cuff.pressure_mmhg, 2)
    )
    assert heard_lag(whole, one.rate_hz, twice) == found
