"""From many stories to one value and its interval, worked out by hand.

Unless told otherwise the cuff falls by 3 mmHg from beat to beat, from 150.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tapfall.ear.rules import apply_rules
from tapfall.ear.verdict import Edge, beat_below, diastolic_edge, edge, rounded, systolic_edge

CUFF_MMHG = 150.0 - 3.0 * np.arange(20)


def chosen(counts: dict[int, int], cuff_mmhg: np.ndarray = CUFF_MMHG, share: float = 1.0) -> Edge:
    """The threshold of so many stories at each beat, the silent beat being the one before."""
    index = np.repeat(list(counts), list(counts.values()))
    return edge(index, index - 1, cuff_mmhg, share, 0.0)


def stories(*told: tuple[str, int]) -> np.ndarray:
    """Rows of beats that sound, each story so many times."""
    return np.array([[one == "x" for one in story] for story, n in told for _ in range(n)])


def test_one_beat_in_all_stories_is_certain() -> None:
    found = chosen({5: 200})
    assert (found.index, found.mmhg, found.mass) == (5, 135.0, 1.0)


def test_the_value_holds_the_most_stories_within_4_mmhg() -> None:
    # Beat 9 has the most stories of its own, but 4 to 6 hold 60 of 100 within 3 mmHg.
    found = chosen({4: 20, 5: 20, 6: 20, 9: 40})
    assert (found.index, found.mmhg) == (5, 135.0)
    assert found.mass == pytest.approx(0.6)


def test_exactly_4_mmhg_is_within() -> None:
    # Two observers further apart than 4 mmHg are rejected (ISO 81060-2; from memory).
    assert chosen({4: 50, 5: 50}, 150.0 - 4.0 * np.arange(20)).mass == 1.0
    assert chosen({4: 97, 5: 3}, 150.0 - 4.25 * np.arange(20)).mass == pytest.approx(0.97)
    assert chosen({4: 50, 5: 50}, 150.0 - 3.75 * np.arange(20)).mass == 1.0
    # So few stories at the other beat move no value between the two.
    for apart_mmhg in (3.75, 4.0):
        found = chosen({4: 97, 5: 3}, 150.0 - apart_mmhg * np.arange(20))
        assert (found.index, found.mass) == (4, 1.0)


def test_of_two_beats_far_apart_and_alike_likely_the_value_lies_between() -> None:
    # 5.5 mmHg a beat: that at either is right half the time, that between them always.
    found = chosen({4: 48, 5: 52}, 150.0 - 5.5 * np.arange(20))
    assert (found.index, found.mmhg, found.mass) == (5, 150.0 - 5.5 * 4.5, 1.0)
    assert found.low_mmhg <= found.mmhg <= found.high_mmhg


def test_the_beat_is_read_where_little_speaks_for_another() -> None:
    # 4 in 100 more is no reason to leave the beat (our choice), 5 in 100 is one.
    cuff_mmhg = 150.0 - 5.5 * np.arange(20)
    assert chosen({4: 4, 5: 96}, cuff_mmhg).mmhg == cuff_mmhg[5]
    assert chosen({4: 5, 5: 95}, cuff_mmhg).mmhg == 0.5 * (cuff_mmhg[4] + cuff_mmhg[5])
    assert chosen({4: 39, 5: 961}, cuff_mmhg).mmhg == cuff_mmhg[5]
    assert chosen({4: 41, 5: 959}, cuff_mmhg).mmhg == 0.5 * (cuff_mmhg[4] + cuff_mmhg[5])


def test_no_value_lies_between_beats_that_it_could_not_hold_both() -> None:
    # 7.5 mmHg apart the middle is within 4 mmHg of both, but errors of the trend come on top.
    cuff_mmhg = 150.0 - 7.5 * np.arange(20)
    found = chosen({4: 48, 5: 52}, cuff_mmhg)
    assert (found.mmhg, found.mass) == (cuff_mmhg[5], 0.52)


def test_the_value_between_leaves_a_far_beat_out() -> None:
    cuff_mmhg = 150.0 - 5.0 * np.arange(20)
    found = chosen({1: 10, 6: 45, 7: 45}, cuff_mmhg)
    assert (found.mmhg, found.mass) == (117.5, pytest.approx(0.9))
    assert found.index in (6, 7)
    # Also where no beat has more stories than that one.
    found = chosen({1: 1, 6: 1, 7: 1}, cuff_mmhg)
    assert (found.index, found.mmhg) == (6, 117.5)


@pytest.mark.parametrize("from_mmhg", [150.0, 150.2, 142.6])
def test_the_outermost_beats_that_a_value_between_holds_are_among_its_own(from_mmhg: float) -> None:
    # 7.4 mmHg apart: the middle lies 3.7 from both (ours), or a last digit more.
    cuff_mmhg = from_mmhg - 7.4 * np.arange(20)
    found = chosen({1: 10, 4: 45, 5: 45}, cuff_mmhg)
    assert (found.index, found.mass) == (4, pytest.approx(0.9))
    assert found.mmhg == pytest.approx((cuff_mmhg[4] + cuff_mmhg[5]) / 2.0)


def test_the_first_silence_never_lies_above_a_value_between_beats() -> None:
    cuff_mmhg = np.array([85.0, 80.0, 78.5, 73.0, 70.0])
    found = chosen({1: 40, 2: 20, 3: 40}, cuff_mmhg)
    assert (found.index, found.mmhg) == (1, 76.5)
    assert beat_below(found, cuff_mmhg) == 3
    assert beat_below(chosen({1: 100}, cuff_mmhg), cuff_mmhg) == 2
    # A beat at the value is not above it.
    assert beat_below(found, np.array([85.0, 80.0, 78.5, 76.5, 73.0])) == 3


def test_among_nearly_equal_shares_the_likeliest_beat_is_taken() -> None:
    # Beat 5 holds all, beat 6 all but 2 in 100 and is likelier by itself.
    assert chosen({4: 2, 5: 40, 6: 58}).index == 6
    # All but 4 in 100 is not nearly all (3 in 100 is: our choice).
    assert chosen({4: 4, 5: 40, 6: 56}).index == 5
    assert chosen({4: 3, 5: 40, 6: 57}).index == 6


def test_a_beat_far_from_most_stories_is_never_taken() -> None:
    # One story at each of four beats: 8 to 10 lie together, 2 comes first and is alone.
    assert chosen({2: 1, 8: 1, 9: 1, 10: 1}).index == 9


def test_exactly_3_in_100_less_is_nearly_equal() -> None:
    # 32 and 31 of 32 stories: 1/32 = 0.03125 apart; 40 and 39 of 40: 0.025.
    assert chosen({4: 1, 5: 12, 6: 19}).index == 5
    assert chosen({4: 1, 5: 12, 6: 27}).index == 6
    # 36 and 35 of 36: 0.0278.
    assert chosen({4: 1, 5: 12, 6: 23}).index == 6


def test_the_mass_counts_the_stories_without_a_threshold() -> None:
    assert chosen({5: 100}, share=0.7).mass == pytest.approx(0.7)
    assert chosen({5: 50, 9: 50}, share=0.5).mass == pytest.approx(0.25)


def test_the_interval_of_a_sure_beat_spans_to_the_silent_one() -> None:
    # Anywhere between 135 (sounds) and 138 (silent): 2.5 to 97.5 % of 3 mmHg.
    found = chosen({5: 1000})
    assert found.low_mmhg == 135.0  # the value itself always lies in it
    assert found.high_mmhg == pytest.approx(135.0 + 0.975 * 3.0, abs=0.02)
    index = np.full(1000, 5)
    below = edge(index, index + 1, CUFF_MMHG, 1.0, 0.0)
    assert below.low_mmhg == pytest.approx(135.0 - 0.975 * 3.0, abs=0.02)
    assert below.high_mmhg == 135.0


@pytest.mark.parametrize("error_mmhg", [0.5, 2.0])
def test_the_error_of_the_trend_is_normal(error_mmhg: float) -> None:
    # Sounding and silent beat at one pressure: 1.96 standard deviations either way remain.
    index = np.full(20_000, 5)
    found = edge(index, index, CUFF_MMHG, 1.0, error_mmhg)
    half_mmhg = float(stats.norm.ppf(0.975)) * error_mmhg
    assert found.low_mmhg == pytest.approx(135.0 - half_mmhg, abs=0.01 * error_mmhg)
    assert found.high_mmhg == pytest.approx(135.0 + half_mmhg, abs=0.01 * error_mmhg)


def test_place_and_error_are_independent() -> None:
    # Uniform over 3 mmHg plus normal with 1 mmHg: the quantiles from drawing a million.
    index = np.full(1000, 5)
    found = edge(index, index - 1, CUFF_MMHG, 1.0, 1.0)
    rng = np.random.default_rng(1)
    drawn = 135.0 + 3.0 * rng.random(1_000_000) + rng.standard_normal(1_000_000)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert found.low_mmhg == pytest.approx(low, abs=0.1)
    assert found.high_mmhg == pytest.approx(high, abs=0.1)


def test_the_interval_spans_the_stories() -> None:
    # 10 of 100 stories lie 12 mmHg lower: beyond 2.5 in 100, so they belong to it.
    found = chosen({5: 900, 9: 100})
    assert found.index == 5
    assert 123.0 <= found.low_mmhg <= 126.0
    assert found.high_mmhg == pytest.approx(138.0, abs=0.2)


def test_the_same_stories_give_the_same_interval() -> None:
    first, again = chosen({4: 300, 5: 700}), chosen({4: 300, 5: 700})
    assert (first.low_mmhg, first.high_mmhg) == (again.low_mmhg, again.high_mmhg)


def test_systolic_and_diastolic_of_the_plain_story() -> None:
    ruled = apply_rules(stories(("....xxxxxxxxxx......", 400)), CUFF_MMHG)
    systolic = systolic_edge(ruled, CUFF_MMHG, 0.0)
    diastolic = diastolic_edge(ruled, CUFF_MMHG, 0.0)
    assert systolic is not None
    assert diastolic is not None
    assert (systolic.index, systolic.mmhg, systolic.mass) == (4, 138.0, 1.0)
    assert (systolic.low_mmhg, systolic.high_mmhg) == pytest.approx((138.0, 140.925), abs=0.02)
    assert (diastolic.index, diastolic.mmhg, diastolic.mass) == (13, 111.0, 1.0)
    assert (diastolic.low_mmhg, diastolic.high_mmhg) == pytest.approx((108.075, 111.0), abs=0.02)


def test_of_alternate_beats_the_strong_one_beyond_was_silent() -> None:
    # The weak beats between tell nothing: silence is sure two beats, 6 mmHg, away.
    ruled = apply_rules(stories(("....x.x.x.x.x.......", 400)), CUFF_MMHG)
    systolic = systolic_edge(ruled, CUFF_MMHG, 0.0)
    diastolic = diastolic_edge(ruled, CUFF_MMHG, 0.0)
    assert systolic is not None
    assert diastolic is not None
    assert systolic.mmhg == 138.0
    assert systolic.high_mmhg == pytest.approx(138.0 + 0.975 * 6.0, abs=0.03)
    assert diastolic.mmhg == 114.0
    assert diastolic.low_mmhg == pytest.approx(114.0 - 0.975 * 6.0, abs=0.03)


def test_at_the_very_ends_of_the_clock() -> None:
    # Two silent beats above and three below are the least: all that the clock holds.
    cuff_mmhg = CUFF_MMHG[:10]
    ruled = apply_rules(stories(("..x.x.x...", 400)), cuff_mmhg)
    systolic = systolic_edge(ruled, cuff_mmhg, 0.0)
    diastolic = diastolic_edge(ruled, cuff_mmhg, 0.0)
    assert systolic is not None
    assert diastolic is not None
    assert (systolic.index, diastolic.index) == (2, 6)
    assert systolic.high_mmhg == pytest.approx(144.0 + 0.975 * 6.0, abs=0.03)
    assert diastolic.low_mmhg == pytest.approx(132.0 - 0.975 * 6.0, abs=0.03)


def test_stories_that_did_not_reach_a_threshold_lower_its_mass() -> None:
    # One in four sounds from the top, one in two to the end.
    told = stories(("xxxxxxxxxxxxxx......", 1), ("....xxxxxxxxxx......", 1))
    told = np.concatenate([told, stories(("....xxxxxxxxxxxxxxxx", 2))])
    ruled = apply_rules(told, CUFF_MMHG)
    systolic = systolic_edge(ruled, CUFF_MMHG, 0.0)
    diastolic = diastolic_edge(ruled, CUFF_MMHG, 0.0)
    assert systolic is not None
    assert diastolic is not None
    assert (systolic.mmhg, systolic.mass) == (138.0, 0.75)
    assert (diastolic.mmhg, diastolic.mass) == (111.0, 0.5)


def test_where_no_story_reached_it_there_is_none() -> None:
    ruled = apply_rules(stories(("xxxxxxxxxxxxxxxxxxxx", 4)), CUFF_MMHG)
    assert systolic_edge(ruled, CUFF_MMHG, 0.0) is None
    assert diastolic_edge(ruled, CUFF_MMHG, 0.0) is None


def test_pressures_keep_two_decimals() -> None:
    assert rounded(120.126) == 120.13
    assert rounded(120.124) == 120.12
