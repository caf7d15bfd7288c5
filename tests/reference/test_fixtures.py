"""Every committed recording is read right by its own truth.

The truth is the simulator's (``synth_fixtures/NAME.truth.json``), the judgement
of right and wrong that of :mod:`tests.accuracy.scoring`.
"""

from __future__ import annotations

import json

import pytest

from tapfall.model import Flag, State, Status
from tapfall.synth import Truth, truth_from_dict
from tests.accuracy.scoring import score
from tests.ear.heard import FOLDER, NAMES, fixture_reading


def truth_of(name: str) -> Truth:
    """The fixture's truth."""
    return truth_from_dict(json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")))


def test_the_readings_are_right() -> None:
    # All but one at most: a silence of two beats is at the limit of what is found.
    wrong = [name for name in NAMES if not score(truth_of(name), fixture_reading(name)).success]
    assert len(wrong) <= 1, wrong


@pytest.mark.parametrize("name", NAMES)
def test_no_value_given_is_wrong(name: str) -> None:
    found = score(truth_of(name), fixture_reading(name))
    for one in (found.systolic, found.diastolic):
        assert one.right or not one.given


@pytest.mark.parametrize("name", NAMES)
def test_no_gap_is_made_up(name: str) -> None:
    assert score(truth_of(name), fixture_reading(name)).false_gap in (None, False)


@pytest.mark.parametrize("name", NAMES)
def test_most_sounding_beats_are_found_and_few_made_up(name: str) -> None:
    truth = truth_of(name)
    found = score(truth, fixture_reading(name)).beats
    sounding = found.hits + found.missed
    if truth.in_noise.readable:
        assert found.hits >= 0.75 * sounding
    assert found.false <= 0.2 * max(sounding, 5)


@pytest.mark.parametrize("name", NAMES)
def test_a_lag_is_reported_where_there_is_one_and_only_there(name: str) -> None:
    truth, reading = truth_of(name), fixture_reading(name)
    assert (Flag.LAG_CORRECTED in reading.flags) == (truth.lag_s != 0.0)
    assert (reading.lag is None) == (reading.status is Status.UNREADABLE)
    if reading.lag is not None:
        assert reading.lag.seconds == pytest.approx(truth.lag_s, abs=0.25)


@pytest.mark.parametrize("name", NAMES)
def test_the_systolic_is_not_called_observed_where_it_was_not(name: str) -> None:
    true = truth_of(name).in_quiet
    if true.systolic.state is State.NOT_REACHED:
        assert fixture_reading(name).systolic.state is not State.OBSERVED
    if true.diastolic.state is State.NOT_REACHED:
        assert fixture_reading(name).diastolic.state is not State.OBSERVED
