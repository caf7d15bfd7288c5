"""What is said of a value that was read at a sound which does not make it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapfall.lesson import Answer, Answers, Habit, KeyBeat, KeyItem, Mode, mark, pass_rule
from tapfall.lesson.anchors import ways_of
from tapfall.lesson.errors import ALONE, TO_ZERO, misses
from tapfall.lesson.marks_page import marks_html
from tapfall.lesson.marktables import VALUE_COLUMNS, value_rows
from tapfall.lesson.words import marked_text
from tapfall.model import Phase
from tests.lesson.test_mark import key_of

STEP_MMHG = 3.0


def heard(pattern: str, first_mmhg: float = 160.0) -> KeyItem:
    """An item whose beats sound (1) or not (0), the value those that stand in a row or as 2."""
    beats = tuple(
        KeyBeat(
            time_s=float(n), mmhg=first_mmhg - STEP_MMHG * n, audible=one != "0", phase=Phase.K1
        )
        for n, one in enumerate(pattern)
    )
    marked = [beat.mmhg for beat, one in zip(beats, pattern, strict=True) if one == "2"]
    return KeyItem(
        name="item-01",
        systolic_mmhg=marked[0],
        diastolic_mmhg=marked[-1],
        k4_mmhg=None,
        gaps=(),
        offset_mmhg=7.0,
        step_mmhg=STEP_MMHG,
        beats=beats,
        shows=(Habit.READ_PULSE,),
    )


def said(item: KeyItem, systolic: float, diastolic: float) -> Answer:
    return Answer(
        item=item.name,
        systolic_mmhg=systolic + item.offset_mmhg,
        diastolic_mmhg=diastolic + item.offset_mmhg,
        marks_s=(),
        replays=0,
    )


ISOLATED = heard("0000010" + "2" * 20 + "0010000")


def test_a_sound_alone_is_no_silence() -> None:
    high, low = ISOLATED.systolic_mmhg or 0.0, ISOLATED.diastolic_mmhg or 0.0
    for off in (-1.0, 0.0, 2.0):
        read = said(ISOLATED, high + 2 * STEP_MMHG + off, low - 3 * STEP_MMHG + off)
        systolic, diastolic = misses(ISOLATED, read)
        assert (systolic.alone, systolic.kind, systolic.advice) == (True, None, ALONE["systolic"])
        assert (diastolic.alone, diastolic.kind) == (True, None)
        assert diastolic.advice == ALONE["diastolic"]
    assert "first of two sounds in a row" in ALONE["systolic"]
    assert "last of two sounds in a row" in ALONE["diastolic"]


def test_no_advice_says_that_nothing_sounded_where_something_did() -> None:
    for number, beat in enumerate(ISOLATED.beats):
        systolic, _ = misses(ISOLATED, said(ISOLATED, beat.mmhg, 60.0))
        if beat.audible and number < 7 and not systolic.right:
            assert systolic.alone


def test_a_silent_bounce_is_the_needle_also_beside_a_sound_alone() -> None:
    item = heard("00001000" + "2" * 20 + "000000")
    high = item.systolic_mmhg or 0.0
    systolic, _ = misses(item, said(item, high + 2 * STEP_MMHG, 60.0))
    assert (systolic.alone, systolic.kind) == (False, Habit.READ_PULSE)
    places = dict(ways_of(item, "systolic")[Habit.READ_PULSE][1])
    assert high + STEP_MMHG in places
    assert high + 4 * STEP_MMHG not in places
    assert sum(places.values()) == pytest.approx(1.0)


def test_where_every_beat_before_sounds_no_needle_is_read() -> None:
    item = heard("1" * 3 + "2" * 20 + "000")
    ways = ways_of(item, "systolic")[Habit.READ_PULSE]
    assert all(place > item.beats[0].mmhg for place, _ in ways[1])
    assert Habit.READ_PULSE not in ways_of(heard("1" * 9 + "2" * 9), "systolic")


def test_sounds_down_to_zero_are_no_single_ones() -> None:
    item = heard("0000" + "2" * 12 + "1" * 12)
    item = replace(item, k4_mmhg=item.diastolic_mmhg)
    low = item.diastolic_mmhg or 0.0
    _, diastolic = misses(item, said(item, item.systolic_mmhg or 0.0, low - 18.0))
    assert (diastolic.advice, diastolic.alone) == (TO_ZERO, False)


def test_a_sound_alone_is_told_in_text_page_and_table() -> None:
    high, low = ISOLATED.systolic_mmhg or 0.0, ISOLATED.diastolic_mmhg or 0.0
    answers = Answers(
        set_id="ab12",
        learner="k-1",
        saved="2026-01-05T10:00:00Z",
        mode=Mode.EXAMINE,
        answers=(said(ISOLATED, high + 2 * STEP_MMHG, low),),
    )
    marked = mark(key_of([ISOLATED]), [answers], pass_rule("expert-1991"))
    (cause,) = marked.sessions[0].causes
    assert (cause.alone, cause.habit, cause.count) == (True, None, 1)
    assert "Takes a sound that does not count" in " ".join(marked_text(marked).split())
    assert "takes a sound that does not count: 1" in marks_html(marked, "marks.html")
    row = dict(zip(VALUE_COLUMNS, next(iter(value_rows(marked))), strict=True))
    assert row["what"] == "takes a sound that does not count"
