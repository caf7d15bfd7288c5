"""Stories drawn anew begin and end as often as the networks say, and nothing else moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import ends
from tapfall.ear.bell import Bell
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.network import BeatNetwork, Layer
from tapfall.ear.phases import decode
from tapfall.ear.rules import Ruled, apply_rules

BEATS = 24
CUFF_MMHG = 150.0 - 3.0 * np.arange(BEATS)
#: Clear silence, four beats that may sound or not, clear sounds, two such beats, silence.
ODDS = np.array([-6.0] * 6 + [-0.5, 0.3, 0.0, 0.4] + [6.0] * 6 + [0.5, -0.3] + [-6.0] * 6)


def saying(odds: np.ndarray) -> BeatNetwork:
    """A network that says so much at each beat, whatever else it is told."""
    count = odds.size
    kernel = np.zeros((1, 1, count, 1), np.float32)
    kernel[0, 0, :, 0] = odds
    layer = Layer(kernel=kernel, bias=np.zeros(1, np.float32), dilation=(1, 1))
    return BeatNetwork(mean=np.zeros(count), spread=np.ones(count), members=((layer,),))


def drawn(
    monkeypatch: pytest.MonkeyPatch, first: np.ndarray, last: np.ndarray
) -> tuple[Ruled, np.ndarray]:
    """The stories, and which of them are told where the networks say this of each beat."""
    ruled = apply_rules(decode(ODDS).paths(), CUFF_MMHG)
    said = replace(CALIBRATION, first_sound=saying(first), last_sound=saying(last))
    monkeypatch.setattr(ends, "CALIBRATION", said)
    order = ends.drawn_anew(ruled, ends.end_shares(ruled, BEATS), np.eye(BEATS))
    return ruled, order


def test_where_nothing_is_said_every_story_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    _, order = drawn(monkeypatch, np.zeros(BEATS), np.zeros(BEATS))
    assert np.array_equal(order, np.arange(order.size))


def test_stories_begin_as_often_as_said(monkeypatch: pytest.MonkeyPatch) -> None:
    said = np.zeros(BEATS)
    said[7], said[9] = np.log(3.0), np.log(0.5)
    ruled, order = drawn(monkeypatch, said, np.zeros(BEATS))
    before, last_before = ends.end_shares(ruled, BEATS)
    after, last_after = ends.end_shares(ruled.some(order), BEATS)
    wanted = before * np.exp(said)
    wanted *= before.sum() / wanted.sum()
    assert before[7] > 0.05 < before[9]
    assert after == pytest.approx(wanted, abs=0.01)
    assert last_after == pytest.approx(last_before, abs=0.03)


def test_how_many_reach_silence_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    # Sounds that may go on to the end: some stories have no diastolic.
    monkeypatch.setattr("tests.ear.test_ends.ODDS", np.r_[ODDS[:16], [1.0, 0.5, 0.0, 0.3] * 2])
    said = 3.0 * np.sin(np.arange(BEATS))
    ruled, order = drawn(monkeypatch, said, said)
    seen = ruled.diastolic_seen.mean()
    assert 0.05 < seen < 0.95
    assert ruled.some(order).diastolic_seen.mean() == pytest.approx(seen, abs=0.03)


def test_no_beat_is_named_that_no_story_names(monkeypatch: pytest.MonkeyPatch) -> None:
    said = np.zeros(BEATS)
    said[2] = 5.0
    ruled, order = drawn(monkeypatch, said, said)
    assert not (ruled.first == 2).any()
    assert not (ruled.some(order).first == 2).any()


def test_measures_are_finite_whatever_the_stories_say() -> None:
    story = decode(ODDS)
    ruled = apply_rules(story.paths(), CUFF_MMHG)
    for heard in (story.heard, np.zeros(BEATS), np.ones(BEATS)):
        for bell in (None, Bell(cuff_mmhg=CUFF_MMHG[::-1], size_mmhg=-np.ones(BEATS))):
            measures = ends.end_measures(
                ends.end_shares(ruled, BEATS),
                1e3 * ODDS,
                heard,
                CUFF_MMHG,
                np.zeros(BEATS),
                np.ones(BEATS),
                bell is not None,
                bell,
            )
            assert measures.shape == (BEATS, len(ends.ENDS))
            assert np.isfinite(measures).all()


@pytest.mark.parametrize("count", [0, 1, 3])
def test_where_no_story_has_an_end_all_are_told(count: int) -> None:
    none = np.zeros(count)
    ruled = apply_rules(np.zeros((40, count), bool), none)
    shares = ends.end_shares(ruled, count)
    measures = ends.end_measures(shares, none, none, none, none, none, True, None)
    assert np.array_equal(ends.drawn_anew(ruled, shares, measures), np.arange(40))
