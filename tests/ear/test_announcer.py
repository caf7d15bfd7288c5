"""What a provisional reading lets be told, rule by rule."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from tapfall.ear import announcer
from tapfall.ear.announcer import Announced, close, hear, kept
from tapfall.ear.hand import Hand, Move
from tapfall.ear.pulses import Pulses
from tapfall.ear.reader import Judged
from tapfall.events import EventKind
from tapfall.model import (
    Beat,
    Diastolic,
    Flag,
    Gap,
    Phase,
    Quality,
    Reading,
    State,
    Status,
    Threshold,
)

TOP_MMHG, STEP_MMHG = 150.0, 2.5
#: Sizes of the cuff's pulse: it grows, and it has grown and falls.
GROWING = np.linspace(1.0, 3.0, 14)
FALLING = np.concatenate([np.linspace(1.0, 3.0, 9), np.linspace(2.8, 1.2, 9)])


#: The probability that a value holds, here whatever the test says.
HOLDS = [0.999]


@pytest.fixture(autouse=True)
def sure(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[float]]:
    """Every value holds, until the test says otherwise."""
    HOLDS[0] = 0.999
    monkeypatch.setattr(announcer, "diastolic_promise", lambda measures: HOLDS[0])
    yield HOLDS


def judged(pattern: str, sizes: np.ndarray | None, gaps: tuple[Gap, ...] = ()) -> Judged:
    """A provisional reading whose beats sound where the pattern has an x."""
    beats = tuple(
        Beat(
            time_s=20.0 + 0.8 * i,
            cuff_mmhg=TOP_MMHG - STEP_MMHG * i,
            heard=0.98 if mark == "x" else 0.02,
            phase=Phase.K2 if mark == "x" else Phase.SILENT,
        )
        for i, mark in enumerate(pattern)
    )
    sounds = [beat for beat in beats if beat.heard > 0.5]
    silent = len(pattern) - 1 - pattern.rindex("x") if sounds else 0
    missing = Threshold(state=State.UNDETERMINED)

    def at(beat: Beat) -> dict[str, float]:
        mmhg = beat.cuff_mmhg
        low, high = mmhg - 2, mmhg + 2
        known = {"mmhg": mmhg, "low_mmhg": low, "high_mmhg": high}
        return {**known, "confidence": 0.95, "time_s": beat.time_s}

    systolic = missing
    if sounds and pattern.index("x") < 2:
        systolic = Threshold(state=State.NOT_REACHED, low_mmhg=sounds[0].cuff_mmhg)
    elif sounds:
        systolic = Threshold(state=State.OBSERVED, **at(sounds[0]))
    diastolic = Diastolic(state=State.NOT_REACHED)
    if silent >= 3:
        diastolic = Diastolic(state=State.OBSERVED, **at(sounds[-1]))
    reading = Reading(
        status=Status.REVIEW,
        systolic=systolic,
        diastolic=diastolic,
        first_silence=missing,
        muffling=missing,
        beats=beats,
        gaps=gaps,
        quality=Quality(signal_to_noise_db=20.0, deflation_mmhg_per_beat=STEP_MMHG),
    )
    pulses = None
    if sizes is not None:
        pulses = Pulses(
            time_s=np.arange(float(sizes.size)),
            size_mmhg=sizes,
            seen=np.ones(sizes.size, bool),
            real=np.ones(sizes.size),
            usable=True,
            error_s=0.0,
        )
    return Judged(reading=reading, pulses=pulses, promise=HOLDS[0])


def hand_at(level_mmhg: float, move: Move = Move.FALLING, *, again: bool = False) -> Hand:
    return Hand(begin_s=0.0, move=move, levels_mmhg=(level_mmhg,) * 20, again=again)


def kinds(
    pattern: str,
    sizes: np.ndarray | None,
    told: Announced | None = None,
    *,
    move: Move = Move.FALLING,
    level_mmhg: float | None = None,
    again: bool = False,
    gaps: tuple[Gap, ...] = (),
) -> tuple[Announced, list[EventKind]]:
    """State and kinds of events but single sounds, now being right after the last beat."""
    level = TOP_MMHG - STEP_MMHG * len(pattern) if level_mmhg is None else level_mmhg
    hand = hand_at(level, move, again=again)
    state, events = hear(told or Announced(), judged(pattern, sizes, gaps), hand, 60.0)
    return state, [e.kind for e in events if e.kind is not EventKind.SOUND_HEARD]


BOTH = [EventKind.SYSTOLIC_LIKELY, EventKind.SYSTOLIC_SETTLED]


def test_nothing_is_told_of_silence() -> None:
    state, events = hear(Announced(), judged("......", GROWING), hand_at(130.0), 60.0)
    assert (state, events) == (Announced(), ())


def test_every_sound_is_told_once() -> None:
    state, events = hear(Announced(), judged("...xx.x", GROWING), hand_at(130.0), 60.0)
    heard = [event for event in events if event.kind is EventKind.SOUND_HEARD]
    assert [event.time_s for event in heard] == [22.4, 23.2, 24.8]
    _, again = hear(state, judged("...xx.xx", GROWING), hand_at(128.0), 61.0)
    heard = [event for event in again if event.kind is EventKind.SOUND_HEARD]
    assert [event.time_s for event in heard] == [25.6]


def test_a_systolic_is_likely_then_settled_when_it_will_hold(sure: list[float]) -> None:
    sure[0] = 0.9
    state, found = kinds("....xxxx", GROWING)
    assert found == [EventKind.SYSTOLIC_LIKELY]
    sure[0] = 0.999
    state, found = kinds("....xxxxx", GROWING, state)
    assert found == [EventKind.SYSTOLIC_SETTLED]
    assert state.systolic_settled_mmhg == TOP_MMHG - 4 * STEP_MMHG
    assert kinds("....xxxxxx", GROWING, state)[1] == []


def test_nothing_is_settled_after_inflating_again() -> None:
    assert kinds("....xxxxx", GROWING, again=True)[1] == [EventKind.SYSTOLIC_LIKELY]
    assert EventKind.DIASTOLIC_SETTLED not in kinds("....xxxxx......", FALLING, again=True)[1]


def test_sounds_from_the_top_ask_to_start_again_once() -> None:
    state, found = kinds("xxxxx", GROWING)
    assert found == [EventKind.START_AGAIN]
    assert kinds("xxxxxx", GROWING, state)[1] == []


@pytest.mark.parametrize("silent", [2, 3, 6, 12])
def test_silence_before_the_pulse_is_past_its_peak_is_a_gap_and_no_diastolic(silent: int) -> None:
    state, found = kinds("....xxxx" + "." * silent, GROWING)
    assert found == [*BOTH, EventKind.GAP_SUSPECTED]
    state, found = kinds("....xxxx" + "." * silent + "xx", GROWING, state)
    assert found == [EventKind.GAP_ENDED]
    # Another silence further down can be another gap.
    _, found = kinds("....xxxx" + "." * silent + "xxxx..", GROWING, state)
    assert found == [EventKind.GAP_SUSPECTED]


def test_one_silent_beat_is_no_gap() -> None:
    assert kinds("....xxxx.", GROWING)[1] == BOTH


def test_a_gap_that_was_over_before_it_was_suspected_is_told_whole() -> None:
    gap = Gap(
        upper_mmhg=132.5,
        lower_mmhg=125.0,
        upper_low_mmhg=131.0,
        upper_high_mmhg=134.0,
        lower_low_mmhg=124.0,
        lower_high_mmhg=127.0,
        confidence=0.9,
    )
    state, found = kinds("....xxxx..xxxx", GROWING, gaps=(gap,))
    assert found == [*BOTH, EventKind.GAP_SUSPECTED, EventKind.GAP_ENDED]
    assert kinds("....xxxx..xxxxx", GROWING, state, gaps=(gap,))[1] == []


def test_a_diastolic_is_likely_after_three_silent_beats_and_settled_after_five() -> None:
    state, found = kinds("....xxxxxxx..", FALLING)
    assert found == BOTH
    state, found = kinds("....xxxxxxx...", FALLING, state)
    assert found == [EventKind.DIASTOLIC_LIKELY]
    state, found = kinds("....xxxxxxx....", FALLING, state)
    assert found == []
    _, found = kinds("....xxxxxxx.....", FALLING, state)
    assert found == [EventKind.DIASTOLIC_SETTLED]


def test_five_silent_beats_within_less_than_10_mmhg_settle_nothing() -> None:
    last_mmhg = TOP_MMHG - 10 * STEP_MMHG
    _, found = kinds("....xxxxxxx.....", FALLING, level_mmhg=last_mmhg - 9.0)
    assert EventKind.DIASTOLIC_SETTLED not in found


@pytest.mark.parametrize(
    ("level_mmhg", "move", "settled"),
    [
        (90.0, Move.FALLING, False),
        (41.0, Move.FALLING, False),
        (39.0, Move.FALLING, True),
        (90.0, Move.RELEASED, True),
    ],
)
def test_without_a_pulse_only_the_release_or_40_mmhg_settle_a_diastolic(
    level_mmhg: float, move: Move, settled: bool
) -> None:
    _, found = kinds("....xxxxxxx.......", None, move=move, level_mmhg=level_mmhg)
    assert (EventKind.DIASTOLIC_SETTLED in found) is settled
    assert EventKind.GAP_SUSPECTED not in found


def test_it_is_told_once_when_the_cuff_is_20_mmhg_below_a_settled_diastolic() -> None:
    last_mmhg = TOP_MMHG - 10 * STEP_MMHG
    state, found = kinds("....xxxxxxx......", FALLING, level_mmhg=last_mmhg - 15)
    assert EventKind.LISTENED_FAR_ENOUGH not in found
    state, found = kinds("....xxxxxxx........", FALLING, state, level_mmhg=last_mmhg - 20)
    assert found == [EventKind.LISTENED_FAR_ENOUGH]
    assert kinds("....xxxxxxx.........", FALLING, state)[1] == []


@pytest.mark.parametrize(
    ("final", "holds"),
    [
        (Threshold(state=State.OBSERVED, mmhg=124.0), True),
        (Threshold(state=State.OBSERVED, mmhg=124.1), False),
        (Threshold(state=State.OBSERVED, mmhg=115.9), False),
        (Threshold(state=State.UNDETERMINED), False),
        (Threshold(state=State.NOT_REACHED, low_mmhg=124.0), True),
        (Threshold(state=State.NOT_REACHED, low_mmhg=125.0), False),
        (Threshold(state=State.NOT_REACHED, high_mmhg=116.0), True),
        (Threshold(state=State.NOT_REACHED, high_mmhg=115.0), False),
    ],
)
def test_a_promise_of_120_is_kept_within_4_mmhg(final: Threshold, holds: bool) -> None:
    assert kept(120.0, final) is holds


def test_the_end_tells_every_broken_promise() -> None:
    reading = judged("....xxxxxxx......", FALLING).reading
    told = Announced(systolic_settled_mmhg=140.0, diastolic_settled_mmhg=95.0)
    revised, events = close(told, reading, hand_at(0.0), 80.0)
    assert revised
    assert [event.kind for event in events] == [EventKind.REVISED, EventKind.DONE]
    assert events[0].mmhg == reading.diastolic.mmhg
    revised, events = close(Announced(), reading, hand_at(0.0), 80.0)
    assert not revised
    assert [event.kind for event in events] == [EventKind.DONE]
    assert Flag.REVISED not in reading.flags
