"""How early a systolic can be promised, what the promise rests on, and when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tapfall.ear import Listener, early
from tapfall.ear.announcer import SETTLE, Announced, kept
from tapfall.ear.compose import LEAST_PRESENCE, unreadable
from tapfall.ear.early import EARLY
from tapfall.ear.hand import LOOK_S, Hand, Move
from tapfall.ear.live import (
    LATER_S,
    QUICK_JUDGEMENTS,
    SOON_S,
    Live,
    hear_judged,
    judgement_is_due,
)
from tapfall.ear.reader import Judged
from tapfall.events import Event, EventKind
from tapfall.model import Reason, Settings
from tests.ear.heard import NAMES, fixture, fixture_reading


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[dict[str, float]]]:
    """Every set of measures that a promise was asked of, by name."""
    seen: list[dict[str, float]] = []
    plain = early.early_measures

    def spy(*arguments: Any) -> np.ndarray:
        found = plain(*arguments)
        seen.append(dict(zip(EARLY, found.tolist(), strict=True)))
        return found

    monkeypatch.setattr(early, "early_measures", spy)
    yield seen


def told(name: str) -> tuple[Event, ...]:
    recording = fixture(name)
    listener = Listener(rate_hz=recording.rate_hz)
    events = listener.push_cuff(recording.cuff.time_s, recording.cuff.pressure_mmhg)
    events += listener.push_audio(recording.samples)
    listener.finish()
    return events + listener.events()


def test_the_measures_tell_the_first_sound_from_the_silence_above_it(
    measured: list[dict[str, float]],
) -> None:
    told("ordinary")
    assert len(measured) >= 5
    assert all(np.isfinite(list(one.values())).all() for one in measured)
    last = measured[-1]
    assert min(last["odds_at_0"], last["odds_at_1"]) > 0 > last["odds_at_-1"]
    assert last["odds_inside"] == min(last[f"odds_at_{step}"] for step in (0, 1, 2))
    assert last["odds_beyond"] == max(last["odds_at_-1"], last["odds_at_-2"])
    assert last["heard_inside"] > 0.9 > 0.2 > last["heard_beyond"]
    # The cuff falls on, and more sounds come.
    for name in ("sounds", "fall_since_mmhg"):
        assert last[name] > measured[0][name] + 3


@pytest.mark.parametrize("name", ["no_sounds", "under_inflated"])
def test_nothing_is_promised_where_no_systolic_is_read(name: str) -> None:
    assert EventKind.SYSTOLIC_SETTLED not in [event.kind for event in told(name)]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_settled_is_read_in_the_end(name: str) -> None:
    settled = [event for event in told(name) if event.kind is EventKind.SYSTOLIC_SETTLED]
    for event in settled:
        assert event.probability >= SETTLE["systolic"]
        assert event.mmhg is not None and kept(event.mmhg, fixture_reading(name).systolic)


def test_a_systolic_is_settled_before_it_is_sure_by_itself_that_sounds_are_there(
    measured: list[dict[str, float]],
) -> None:
    events = told("ordinary")
    kinds = [event.kind for event in events]
    at = kinds.index(EventKind.SYSTOLIC_SETTLED)
    # Its sounds were told first, and so few that the presence alone would not have done.
    assert EventKind.SOUND_HEARD in kinds[:at] and EventKind.SYSTOLIC_LIKELY in kinds[:at]
    sounds = [event for event in events[:at] if event.kind is EventKind.SOUND_HEARD]
    assert 3 <= len(sounds) <= 6
    least = np.log(LEAST_PRESENCE / (1 - LEAST_PRESENCE))
    assert any(one["presence"] < least for one in measured if one["sounds"] <= len(sounds))


def live_after(judged: Judged, live: Live, at_s: float) -> Live:
    return hear_judged(live, judged, at_s, 0.0)[0]


def test_while_sounds_stir_every_look_is_judged_so_often_and_no_more() -> None:
    nothing = unreadable(Reason.NO_SOUNDS, Settings())
    live = Live(hand=Hand(begin_s=0.0, move=Move.FALLING, levels_mmhg=(120.0,) * 20))
    live = live_after(Judged(reading=nothing), live, 10.0)
    assert (live.due_s, live.quick) == (10.0 + SOON_S, QUICK_JUDGEMENTS)
    for turn in range(QUICK_JUDGEMENTS):
        live = live_after(Judged(reading=nothing, stirring=True), live, 11.0)
        assert (live.due_s, live.quick) == (11.0 + LOOK_S, QUICK_JUDGEMENTS - 1 - turn)
    live = live_after(Judged(reading=nothing, stirring=True), live, 12.0)
    assert (live.due_s, live.quick) == (12.0 + LATER_S, 0)


def test_looks_go_on_for_a_beat_after_a_sound() -> None:
    nothing = unreadable(Reason.NO_SOUNDS, Settings())
    live = Live(hand=Hand(begin_s=0.0, move=Move.FALLING, levels_mmhg=(120.0,) * 20))
    live = live_after(Judged(reading=nothing, stirring=True), live, 10.0)
    live = live_after(Judged(reading=nothing), live, 10.75)
    assert live.due_s == 10.75 + LOOK_S
    live = live_after(Judged(reading=nothing), live, 11.0)
    assert live.due_s == 11.0 + SOON_S


def test_where_it_was_listened_far_enough_no_judgement_is_waited_for() -> None:
    settled = Announced(last_sound_s=20.0, diastolic_settled_mmhg=80.0)
    levels = tuple(np.arange(70.0, 55.0, -0.75).tolist())

    def due(count: int, told: Announced) -> bool:
        hand = Hand(begin_s=0.0, move=Move.FALLING, levels_mmhg=levels[:count])
        return judgement_is_due(Live(hand=hand, told=told, due_s=100.0), 30.0)

    passed = [count for count in range(1, len(levels) + 1) if due(count, settled)]
    assert len(passed) == 1  # at one look: 20 mmHg below
    assert Hand(begin_s=0.0, levels_mmhg=levels[: passed[0]]).level_mmhg <= 60.0
    assert not due(passed[0], replace(settled, far_enough=True))
    assert not due(passed[0], Announced())
