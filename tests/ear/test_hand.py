"""What the log alone tells about the hand on the valve."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.hand import LOOK_S, Hand, Move, watch
from tapfall.events import EventKind

Corners = list[tuple[float, float]]


def told(corners: Corners, pulse_mmhg: float = 0.0) -> list[tuple[str, float]]:
    """Events of a log that runs straight between corners, with a pulse on it."""
    times, levels = zip(*corners, strict=True)
    hand, found = Hand(begin_s=0.0), []
    for at_s in np.arange(0.0, times[-1], LOOK_S).tolist():
        level = float(np.interp(at_s, times, levels)) + pulse_mmhg * np.sin(7.5 * at_s)
        hand, events = watch(hand, at_s, level)
        found += [(event.kind.value, event.time_s) for event in events]
        assert all(event.told_s == at_s and event.probability == 1.0 for event in events)
    return found


def kinds(corners: Corners, pulse_mmhg: float = 0.0) -> list[str]:
    return [kind for kind, _ in told(corners, pulse_mmhg)]


@pytest.mark.parametrize("pulse_mmhg", [0.0, 1.0, 2.0])
def test_a_taught_deflation_tells_its_start_only(pulse_mmhg: float) -> None:
    found = told([(0, 20), (6, 180), (8, 180), (50, 60), (51, 0), (60, 0)], pulse_mmhg)
    assert [kind for kind, _ in found] == ["deflation_started"]
    assert found[0][1] == pytest.approx(8.0, abs=2.0)


@pytest.mark.parametrize(
    ("rate", "kind"),
    [(6.0, "deflation_too_fast"), (1.0, "deflation_too_slow"), (2.5, None), (3.5, None)],
)
def test_the_pace_is_told_once(rate: float, kind: str | None) -> None:
    found = kinds([(0, 20), (6, 180), (7, 180), (7 + 60 / rate, 120)])
    assert found == ["deflation_started", *([kind] if kind else [])]


def test_a_pause_is_told_and_again_after_it_has_gone_on() -> None:
    corners: Corners = [(0, 20), (6, 180), (16, 150), (22, 150), (32, 120), (38, 120), (44, 100)]
    assert kinds(corners) == ["deflation_started", "deflation_paused", "deflation_paused"]


@pytest.mark.parametrize("rate", [0.4, 0.5, 0.6])
@pytest.mark.parametrize("swing_mmhg", [0.3, 0.6, 1.0])
def test_a_cuff_that_creeps_is_not_told_with_every_breath(rate: float, swing_mmhg: float) -> None:
    creeping: Corners = [
        (16 + s, 150 - rate * s + swing_mmhg * np.sin(1.6 * s)) for s in np.arange(0.0, 160.0, 0.5)
    ]
    found = kinds([(0, 20), (6, 180), *creeping])
    assert len(found) <= 4


def test_inflating_again_midway_asks_to_start_again() -> None:
    corners: Corners = [(0, 20), (6, 180), (26, 120), (28, 150), (29, 150), (50, 90)]
    assert kinds(corners) == ["deflation_started", "start_again", "deflation_started"]


@pytest.mark.parametrize("fall_s", [0.7, 1.5, 3.0])
def test_inflation_and_release_is_a_run_up_and_asks_for_nothing(fall_s: float) -> None:
    down_s = 7 + fall_s
    corners: Corners = [(0, 20), (6, 140), (7, 140), (down_s, 5), (12, 5), (18, 180), (19, 180)]
    found = kinds([*corners, (50, 90)])
    assert "start_again" not in found
    assert found[-1] == "deflation_started"


@pytest.mark.parametrize("rate", [30.0, 60.0, 120.0, 400.0])
def test_a_stream_may_begin_in_a_release(rate: float) -> None:
    assert kinds([(0, 150), (150 / rate, 0), (10, 0)]) == []


def test_a_cuff_that_presses_for_three_minutes_is_told_once() -> None:
    found = told([(0, 20), (6, 180), (250, 180)])
    assert found == [(EventKind.CUFF_HELD_TOO_LONG.value, 180.25)]


def test_a_hold_and_a_release_are_known() -> None:
    hand = Hand(begin_s=0.0)
    moves = {}
    times, levels = (0, 6, 12, 32, 33, 40), (20, 180, 180, 120, 5, 0)
    for at_s in np.arange(0.0, 40.0, LOOK_S).tolist():
        hand, _ = watch(hand, at_s, float(np.interp(at_s, times, levels)))
        moves[at_s] = hand.move
    assert moves[3.0] is Move.INFLATING
    assert moves[9.0] is Move.HOLDING
    assert moves[20.0] is Move.FALLING
    assert moves[33.5] is Move.RELEASED
