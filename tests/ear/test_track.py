"""The delay's track: weak beats may sound later than their neighbours."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.delaymap import DelayMap
from tapfall.ear.evidence import Expectation
from tapfall.ear.onsets import NOTHING, STEP_S
from tapfall.ear.track import LATEST_AFTER_S, let_beats_move

SEEN = np.ones(9, bool)
DELAY_S = -0.14 + STEP_S * np.arange(58)


def charted(sound_s: list[float | None]) -> DelayMap:
    """A map with one sound in each row, or none."""
    odds = np.full((len(sound_s), DELAY_S.size), NOTHING)
    for row, at_s in enumerate(sound_s):
        if at_s is not None:
            odds[row, np.abs(DELAY_S - at_s).argmin()] = 5.0
    return DelayMap(log_odds=odds, delay_s=DELAY_S)


def on_track(count: int) -> Expectation:
    return Expectation(
        reference_s=np.arange(count, dtype=float),
        delay_s=np.full(count, 0.02),
        spread_s=np.full(count, 0.01),
        slope_s_per_mmhg=0.0015,
    )


def test_a_beat_that_sounds_later_is_expected_there() -> None:
    expected, moved_s = let_beats_move(on_track(4), charted([0.02, 0.08, 0.02, None]), SEEN[:4])
    assert moved_s == pytest.approx([0, 0.06, 0, 0], abs=STEP_S)
    assert expected.delay_s == pytest.approx([0.02, 0.08, 0.02, 0.02], abs=STEP_S)


@pytest.mark.parametrize("at_s", [0.02 + LATEST_AFTER_S + 3 * STEP_S, -0.04, 0.03])
def test_a_sound_elsewhere_moves_nothing(at_s: float) -> None:
    _, moved_s = let_beats_move(on_track(1), charted([at_s]), SEEN[:1])
    assert moved_s.tolist() == [0]


def test_a_sound_on_the_track_counts_first() -> None:
    both = charted([0.02])
    both.log_odds[0, np.abs(DELAY_S - 0.08).argmin()] = 5.0
    assert let_beats_move(on_track(1), both, SEEN[:1])[1].tolist() == [0]


def test_a_beat_that_the_log_does_not_show_may_be_early() -> None:
    _, moved_s = let_beats_move(on_track(2), charted([-0.08, -0.08]), np.array([False, True]))
    assert moved_s == pytest.approx([-0.1, 0], abs=STEP_S)
