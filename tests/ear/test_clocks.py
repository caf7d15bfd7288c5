"""Stories on clocks that are a few milliseconds off."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tapfall.ear.clocks import CLOCKS, apply_to_clocks, clocks
from tapfall.ear.rules import Ruled, apply_rules, expected_beats

EARLY = [0.8] * 12 + [0.5, 1.1] + [0.8] * 12
NEAR = [0.8] * 12 + [0.64, 0.96] + [0.8] * 12


def beats(intervals_s: list[float]) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(intervals_s)])


def same(one: Ruled, two: Ruled) -> bool:
    names = [field.name for field in dataclasses.fields(Ruled)]
    return all(np.array_equal(getattr(one, name), getattr(two, name)) for name in names)


def stories(count: int, beats: int) -> np.ndarray:
    rng = np.random.default_rng(3)
    heard = np.zeros((count, beats), bool)
    for row in heard:
        begin, end = sorted(rng.integers(3, beats - 4, 2))
        row[begin : end + 1] = True
    return heard


def test_without_error_every_clock_is_the_plain_one() -> None:
    time_s = beats(NEAR)
    assert (clocks(time_s, 0.0) == expected_beats(time_s)).all()


@pytest.mark.parametrize("intervals_s", [[0.8] * 30, EARLY])
def test_clocks_agree_where_no_interval_is_near_the_bound(intervals_s: list[float]) -> None:
    found = clocks(beats(intervals_s), 0.007)
    assert (found == expected_beats(beats(intervals_s))).all()


def test_clocks_differ_about_an_interval_at_the_bound_alone() -> None:
    found = clocks(beats(NEAR), 0.007)
    share = found.mean(axis=0)
    assert found.shape == (CLOCKS, 27)
    assert 0.0 < share[13] < 1.0
    assert (np.delete(share, 13) == 1.0).all()


def test_clocks_are_the_same_every_time() -> None:
    assert np.array_equal(clocks(beats(NEAR), 0.01), clocks(beats(NEAR), 0.01))


def test_stories_of_one_clock_are_ruled_as_before() -> None:
    cuff_mmhg = np.arange(150.0, 96.0, -2.0)
    paths = stories(64, 27)
    expected = np.ones((CLOCKS, 27), bool)
    assert same(apply_to_clocks(paths, cuff_mmhg, expected), apply_rules(paths, cuff_mmhg))


def test_indices_count_the_beats_that_a_clock_leaves_out() -> None:
    cuff_mmhg = np.arange(150.0, 96.0, -2.0)
    heard = np.zeros((CLOCKS, 27), bool)
    heard[:, 6:12] = heard[:, 15:20] = True
    expected = np.ones((CLOCKS, 27), bool)
    expected[:, 3] = False
    ruled = apply_to_clocks(heard, cuff_mmhg, expected)
    assert set(ruled.first) == {6}
    assert set(ruled.last) == {19}
    assert set(ruled.gap_upper) == {11}
    assert set(ruled.gap_lower) == {15}


def test_each_story_is_ruled_on_its_own_clock() -> None:
    # A lone sound, a silent beat, then sounds: the first sound counts as systolic only on
    # the clocks that leave the silent beat out.
    cuff_mmhg = np.arange(150.0, 96.0, -2.0)
    heard = np.zeros((2 * CLOCKS, 27), bool)
    heard[:, 6] = heard[:, 8:15] = True
    expected = np.ones((CLOCKS, 27), bool)
    expected[::2, 7] = False
    ruled = apply_to_clocks(heard, cuff_mmhg, expected)
    assert ruled.first.tolist() == [6, 8] * CLOCKS
    assert ruled.lone_above.tolist() == [False, True] * CLOCKS


def test_a_doubtful_beat_stands_on_as_many_clocks_as_it_is_likely() -> None:
    real = np.ones(27)
    real[8], real[20] = 0.5, 0.0
    found = clocks(beats([0.8] * 26), 0.0, real)
    assert found[:, 8].sum() == CLOCKS // 2
    assert not found[:, 20].any()
    assert np.delete(found, [8, 20], axis=1).all()


def test_without_a_made_up_beat_the_one_after_a_pause_is_no_early_one() -> None:
    # A pause of a fibrillating heart, and in its middle a beat that the log does not show:
    # with it the sound after the pause comes early, without it the sound is expected.
    time_s = beats([1.0] * 8 + [0.75, 0.75] + [1.0] * 8)
    real = np.ones(time_s.size)
    real[9] = 0.5
    after = clocks(time_s, 0.0, real)[:, 10]
    assert after.sum() == CLOCKS // 2
