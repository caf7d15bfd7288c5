"""One case for each clause of the definitions, whole: which beats sound, and what follows.

``x`` is a beat that sounds, ``.`` a silent one, from the top of the cuff down.
Unless told otherwise the cuff falls by 3 mmHg from beat to beat, from 150.
"""

from __future__ import annotations

import itertools
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear.rules import Ruled, apply_rules, expected_beats, without_far_sounds

NONE = -1


def ruled_of(story: str, step_mmhg: float = 3.0) -> Ruled:
    """The rules applied to one story."""
    heard = np.array([[one == "x" for one in story]])
    return apply_rules(heard, 150.0 - step_mmhg * np.arange(len(story)))


def told(ruled: Ruled, row: int = 0) -> dict[str, object]:
    """All that the rules say about one story, as plain values."""
    return {
        "first": int(ruled.first[row]),
        "last": int(ruled.last[row]),
        "alternating": (bool(ruled.alternating_first[row]), bool(ruled.alternating_last[row])),
        "seen": (bool(ruled.systolic_seen[row]), bool(ruled.diastolic_seen[row])),
        "gap": (int(ruled.gap_upper[row]), int(ruled.gap_lower[row])),
        "lone": bool(ruled.lone_above[row]),
    }


def case(
    first: int,
    last: int,
    *,
    alternating: tuple[bool, bool] = (False, False),
    seen: tuple[bool, bool] = (True, True),
    gap: tuple[int, int] = (NONE, NONE),
    lone: bool = False,
) -> dict[str, object]:
    """What is expected of a story; the ordinary unless said otherwise."""
    return {
        "first": first,
        "last": last,
        "alternating": alternating,
        "seen": seen,
        "gap": gap,
        "lone": lone,
    }


CASES = {
    # Systolic: the first audible beat whose next expected beat is audible too;
    # diastolic: the last beat of the last run of at least two.
    "ordinary": ("...xxxxxx...", case(3, 8)),
    "two sounds are enough": ("..xx...", case(2, 3)),
    # A lone sound above does not count and is flagged.
    "isolated sound": (".x..xxxx...", case(4, 7, lone=True)),
    "isolated sound, then a dropout": ("..x.xxxx...", case(4, 7, lone=True)),
    "two isolated sounds": (".x..x...xxx...", case(8, 10, lone=True)),
    # A lone sound below is not the last sound.
    "lone sound below": ("..xxxx...x...", case(2, 5)),
    # One missing beat is a dropout.
    "dropout of one beat": ("..xxx.xxx...", case(2, 8)),
    "two dropouts of one beat": ("..xx.xx.xx...", case(2, 9)),
    # Alternate beats: three of them count where no pair is earlier.
    "alternating at the top": ("..x.x.xxxx...", case(2, 9, alternating=(True, False))),
    "alternating at the bottom": ("..xxxx.x.x...", case(2, 9, alternating=(False, True))),
    "alternating throughout": ("..x.x.x.x...", case(2, 8, alternating=(True, True))),
    "only two on alternate beats": ("..x.x..xxx...", case(7, 9, lone=True)),
    "a pair earlier than alternate beats": ("..xx.x.x...", case(2, 7, alternating=(False, True))),
    # Silent gap: at least two beats and 4 mmHg between runs of at least two.
    "gap": ("..xxx....xxx...", case(2, 11, gap=(4, 9))),
    "gap of two beats": ("..xxx..xxx...", case(2, 9, gap=(4, 7))),
    "the widest of two gaps": ("..xx..xx.....xx...", case(2, 14, gap=(7, 13))),
    "the widest gap first": ("..xx......xx...xx...", case(2, 16, gap=(3, 10))),
    "of two gaps alike the upper one": ("..xx...xx...xx...", case(2, 13, gap=(3, 7))),
    "a run with dropouts below a gap": ("..xx.x....x.xx...", case(2, 13, gap=(5, 10))),
    "two on alternate beats make no run": ("..xxx....x.x....xx...", case(2, 17, gap=(4, 16))),
    "three on alternate beats make one": ("..xxx....x.x.x....xx...", case(2, 19, gap=(4, 9))),
    "lone sound within a gap": ("..xx....x....xx...", case(2, 14, gap=(3, 13))),
    # Not reached: fewer than two silent beats above the first sound, fewer than
    # three below the last.
    "sounds from the top": ("xxxxx...", case(0, 4, seen=(False, True))),
    "one silent beat above": (".xxxxx...", case(1, 5, seen=(False, True))),
    "two silent beats above": ("..xxxxx...", case(2, 6)),
    "sounds to the end": ("..xxxxx", case(2, 6, seen=(True, False))),
    "one silent beat below": ("..xxxxx.", case(2, 6, seen=(True, False))),
    "two silent beats below": ("..xxxxx..", case(2, 6, seen=(True, False))),
    "three silent beats below": ("..xxxxx...", case(2, 6)),
    "sounds throughout": ("xxxxxx", case(0, 5, seen=(False, False))),
    # A lone sound is not silence either.
    "lone sound at the top, one silent beat": (
        "x.xxxxx...",
        case(2, 6, seen=(False, True), lone=True),
    ),
    "lone sound among the last beats": ("..xxxxx.x.", case(2, 6, seen=(True, False))),
    # Nothing that counts.
    "silence": ("......", case(NONE, NONE, seen=(False, False))),
    "one sound": ("...x...", case(NONE, NONE, seen=(False, False))),
    "lone sounds only": (".x..x...x.", case(NONE, NONE, seen=(False, False))),
    "two on alternate beats only": ("..x.x...", case(NONE, NONE, seen=(False, False))),
    "very short": ("xx", case(0, 1, seen=(False, False))),
    "one beat": ("x", case(NONE, NONE, seen=(False, False))),
}


@pytest.mark.parametrize("name", CASES)
def test_the_definitions(name: str) -> None:
    story, expected = CASES[name]
    assert told(ruled_of(story)) == expected


@pytest.mark.parametrize(
    ("story", "step_mmhg", "gap"),
    [
        # Two beats of silence, but 3 mmHg from sound to sound.
        ("..xxx..xxx...", 1.0, (NONE, NONE)),
        # 7 mmHg from sound to sound, 5 from the first silent beat to the last.
        ("..xxx......xxx...", 1.0, (4, 11)),
        # Exactly 4 mmHg, and a quarter less.
        ("..xxx...xxx...", 1.0, (4, 8)),
        ("..xxx..xxx...", 1.25, (NONE, NONE)),
        # 4.2 mmHg.
        ("..xxx..xxx...", 1.4, (4, 7)),
        # 15 mmHg, but one silent beat.
        ("..xxx.xxx...", 7.5, (NONE, NONE)),
        ("..xxx..xxx...", 7.5, (4, 7)),
    ],
)
def test_a_gap_needs_two_beats_and_4_mmhg(
    story: str, step_mmhg: float, gap: tuple[int, int]
) -> None:
    assert told(ruled_of(story, step_mmhg))["gap"] == gap


def test_silence_next_to_a_lone_sound_is_no_gap() -> None:
    # A gap lies between runs of at least two beats.
    assert told(ruled_of(".x....xxxx...."))["gap"] == (NONE, NONE)
    assert told(ruled_of("..xxxx....x..."))["gap"] == (NONE, NONE)


@pytest.mark.parametrize("order", [1, -1])
def test_many_stories_are_judged_one_by_one(order: int) -> None:
    width = max(len(story) for story, _ in CASES.values())
    stories = [story.ljust(width, ".") for story, _ in CASES.values()][::order]
    heard = np.array([[one == "x" for one in story] for story in [*stories, *stories]])
    together = apply_rules(heard, 150.0 - 3.0 * np.arange(width))
    for row, story in enumerate([*stories, *stories]):
        assert told(together, row) == told(ruled_of(story))


# --- the same rules, written down plainly ------------------------------------------------


def plainly(story: list[bool]) -> tuple[int, int]:
    """First and last beat that count, straight from the definitions."""
    n = len(story)
    counted: set[int] = set()
    begins = []
    for i in range(n):
        pair = story[i : i + 2] == [True, True]
        third = story[i : i + 5] == [True, False, True, False, True]
        if pair or third:
            begins.append(i)
            counted.update([i, i + 1] if pair else [i, i + 2, i + 4])
    return (min(begins), max(counted)) if begins else (NONE, NONE)


@settings(max_examples=300, deadline=None)
@given(story=st.lists(st.booleans(), min_size=1, max_size=24))
def test_first_and_last_are_those_of_the_plain_rules(story: list[bool]) -> None:
    found = told(ruled_of("".join("x" if one else "." for one in story)))
    assert (found["first"], found["last"]) == plainly(story)


@settings(max_examples=300, deadline=None)
@given(story=st.lists(st.booleans(), min_size=1, max_size=24))
def test_gaps_lie_between_the_first_and_the_last_sound(story: list[bool]) -> None:
    ruled = ruled_of("".join("x" if one else "." for one in story))
    upper, lower = int(ruled.gap_upper[0]), int(ruled.gap_lower[0])
    if upper == NONE:
        assert lower == NONE
    else:
        assert int(ruled.first[0]) <= upper < lower <= int(ruled.last[0])
        assert story[upper]
        assert story[lower]


# --- what sounds beyond any gap ----------------------------------------------------------


@pytest.mark.parametrize(
    ("story", "step_mmhg", "kept"),
    [
        # 57 mmHg of silence may be a gap, 63 may not; gaps: 10 to 50 mmHg (textbooks, from memory).
        ("..xx..................xxxx...", 3.0, "..xx..................xxxx..."),
        ("..xx....................xxxx...", 3.0, "........................xxxx..."),
        ("..xxxx....................xx...", 3.0, "..xxxx........................."),
        # A lone sound is left out as a pair is.
        ("..x..........xxxx...", 6.0, ".............xxxx..."),
        # One of three runs.
        ("xx..........xxxx..........xx", 6.5, "............xxxx............"),
        # No silence in itself is so wide.
        ("xx......xxxx......xx", 9.0, "........xxxx........"),
        ("xx.....xxxx.....xx", 9.0, "xx.....xxxx.....xx"),
        ("........", 9.0, "........"),
    ],
)
def test_sounds_beyond_any_gap_are_left_out(story: str, step_mmhg: float, kept: str) -> None:
    heard = np.array([[one == "x" for one in story]])
    cuff_mmhg = 250.0 - step_mmhg * np.arange(len(story))
    found = without_far_sounds(heard, cuff_mmhg, np.ones(len(story)))
    assert "".join(".x"[int(one)] for one in found[0]) == kept


def test_of_two_runs_the_one_for_which_most_speaks_is_kept() -> None:
    heard = np.array([[one == "x" for one in story] for story in ("xxxx.....xxx", "xxxx........")])
    cuff_mmhg = 250.0 - 12.0 * np.arange(12)
    log_odds = np.where(np.arange(12) < 6, 0.5, 5.0)
    found = without_far_sounds(heard, cuff_mmhg, log_odds)
    assert np.flatnonzero(found[0]).tolist() == [9, 10, 11]
    assert np.flatnonzero(found[1]).tolist() == [0, 1, 2, 3]  # nothing else in this story


# --- expected beats ----------------------------------------------------------------------


def beats(intervals: list[float]) -> np.ndarray:
    """Beat times from the intervals between them."""
    return np.concatenate([[0.0], np.cumsum(intervals)])


def test_even_beats_are_all_expected() -> None:
    assert expected_beats(beats([0.8] * 30)).all()


def test_an_early_beat_is_not_expected_and_the_one_after_its_pause_is() -> None:
    intervals = [0.8] * 20
    intervals[9:11] = [0.5, 1.1]
    kept = expected_beats(beats(intervals))
    assert np.flatnonzero(~kept).tolist() == [10]


def test_several_early_beats_apart_are_each_left_out() -> None:
    intervals = [0.8] * 30
    for at in (6, 14, 22):
        intervals[at : at + 2] = [0.55, 1.05]
    assert np.flatnonzero(~expected_beats(beats(intervals))).tolist() == [7, 15, 23]


@pytest.mark.parametrize(("share", "kept"), [(0.78, False), (0.82, True)])
def test_the_limit_is_80_percent_of_the_local_median(share: float, kept: bool) -> None:
    intervals = [1.0] * 21
    intervals[10] = share
    assert bool(expected_beats(beats(intervals))[11]) is kept


def plainly_expected(time_s: list[float]) -> list[bool]:
    """Expected beats straight from the definition; all where there are fewer than four."""
    interval_s = [later - earlier for earlier, later in itertools.pairwise(time_s)]
    kept = [True]
    for i, own_s in enumerate(interval_s):
        around_s = interval_s[max(i - 4, 0) : i] + interval_s[i + 1 : i + 5]
        kept.append(len(time_s) < 4 or own_s >= 0.8 * statistics.median(around_s))
    return kept[: len(time_s)]


@settings(max_examples=200, deadline=None)
@given(steps=st.lists(st.integers(60, 140), max_size=24))
def test_expected_beats_are_those_of_the_plain_definition(steps: list[int]) -> None:
    time_s = beats([step / 128 for step in steps])
    assert expected_beats(time_s).tolist() == plainly_expected(time_s.tolist())


@pytest.mark.parametrize(
    ("intervals", "kept"),
    [
        # Fewer than four beats tell no rhythm.
        ([1.0, 0.5], [True, True, True]),
        ([1.0, 1.0, 0.5], [True, True, True, False]),
        # Exactly 80 % is expected: 5/4 and 1 are exact in binary.
        ([1.25, 1.25, 1.0, 1.25, 1.25], [True] * 6),
    ],
)
def test_few_beats_and_the_bound_itself(intervals: list[float], kept: list[bool]) -> None:
    assert expected_beats(beats(intervals)).tolist() == kept


def test_the_median_is_that_of_eight_around() -> None:
    # Of the eight around the short one five are 0.8 s, so 0.7 is no less than 80 % of 0.8.
    # Of six around it half would be 0.8 and half 1.0 s, and so of ten: 80 % of 0.9 is 0.72.
    intervals = [1.0, 0.8, 1.0, 0.8, 1.0, 0.7, 0.8, 1.0, 0.8, 0.8, 1.0]
    assert bool(expected_beats(beats(intervals))[6])


def test_several_clocks_are_judged_one_by_one() -> None:
    rows = np.array(
        [beats([1.0] * 12), beats([1.0] * 5 + [0.6] + [1.0] * 6), beats([0.5] * 11 + [0.3])]
    )
    together = expected_beats(rows)
    assert together.shape == rows.shape
    assert [np.flatnonzero(~row).tolist() for row in together] == [[], [6], [12]]


def test_the_median_is_local() -> None:
    # A heart that quickens from 50 to 100 per minute has no ectopic beat.
    intervals = np.linspace(1.2, 0.6, 40).tolist()
    assert expected_beats(beats(intervals)).all()


@settings(max_examples=100, deadline=None)
@given(
    steps=st.lists(st.integers(20, 200), max_size=30),
    shift_s=st.integers(-500, 500),
    power=st.integers(-3, 3),
)
def test_neither_the_clock_nor_its_unit_matters(steps: list[int], shift_s: int, power: int) -> None:
    time_s = beats([step / 128 for step in steps])
    kept = expected_beats(time_s).tolist()
    assert len(kept) == time_s.size
    assert expected_beats((time_s + shift_s) * 2.0**power).tolist() == kept
