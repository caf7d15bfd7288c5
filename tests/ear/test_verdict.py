"""From many stories to one value and its interval, worked out by hand.

Unless told otherwise the cuff falls by 3 mmHg from beat to beat, from 150.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tapfall.ear.rules import apply_rules
from tapfall.ear.verdict import (
    AROUND_MMHG,
    Edge,
    beat_below,
    diastolic_edge,
    edge,
    rounded,
    systolic_edge,
)

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
    index = np.repeat([4, 5, 6], [30, 40, 30])
    found = edge(index, index - 1, 150.0 - 4.0 * np.arange(20), 1.0, 0.0)
    assert (found.index, found.mmhg, found.mass) == (5, 130.0, 1.0)
    found = edge(index, index - 1, 150.0 - 4.9 * np.arange(20), 1.0, 0.0)
    assert (found.index, found.mass) == (5, pytest.approx(0.7))


def test_between_beats_far_apart_the_value_lies_nearer_to_the_likelier() -> None:
    # 5.5 mmHg a beat: that at either is right half the time, that between them always.  4 mmHg
    # less what errors take (0.75) from the other beat is as far as it has to go.
    found = chosen({4: 48, 5: 52}, 150.0 - 5.5 * np.arange(20))
    assert (found.index, found.mmhg, found.mass) == (5, 128.0 - 3.25, 1.0)
    assert found.low_mmhg <= found.mmhg <= found.high_mmhg
    found = chosen({4: 52, 5: 48}, 150.0 - 5.5 * np.arange(20))
    assert (found.index, found.mmhg, found.mass) == (4, 122.5 + 3.25, 1.0)


def test_the_beat_is_read_where_little_speaks_for_another() -> None:
    # To hold the other beat as well the value has to go 2.25 mmHg: for 21.25 in 1000 (our choice).
    cuff_mmhg = 150.0 - 5.5 * np.arange(20)
    assert chosen({4: 21, 5: 979}, cuff_mmhg).mmhg == cuff_mmhg[5]
    assert chosen({4: 22, 5: 978}, cuff_mmhg).mmhg == cuff_mmhg[4] - 3.25


def test_no_value_lies_between_beats_that_it_could_not_hold_both() -> None:
    # 9 mmHg apart no value is within 4 mmHg of both, whatever the errors are.
    cuff_mmhg = 150.0 - 9.0 * np.arange(20)
    found = chosen({4: 48, 5: 52}, cuff_mmhg)
    assert (found.mmhg, found.mass) == (cuff_mmhg[5], 0.52)


def test_where_errors_may_help_the_value_goes_as_far_as_it_keeps_its_own() -> None:
    # 7.5 mmHg apart the middle is within 4 mmHg of both, but errors of the trend come on top: one
    # of the two is kept for sure, and the other is a matter of luck.
    found = chosen({4: 48, 5: 52}, 150.0 - 7.5 * np.arange(20))
    assert (found.index, found.mmhg, found.mass) == (5, 112.5 + 3.25, 0.52)


def test_the_value_between_leaves_a_far_beat_out() -> None:
    cuff_mmhg = 150.0 - 5.0 * np.arange(20)
    found = chosen({1: 10, 6: 45, 7: 45}, cuff_mmhg)
    assert (found.index, found.mmhg, found.mass) == (6, 115.0 + 3.25, pytest.approx(0.9))
    # Also where no beat has more stories than that one.
    found = chosen({1: 1, 6: 1, 7: 1}, cuff_mmhg)
    assert (found.index, found.mmhg) == (6, 118.25)


@pytest.mark.parametrize("seed", range(40))
def test_no_other_value_holds_more_stories_for_its_distance(seed: int) -> None:
    # Against a search in small steps, with the error as a normal one of the same spread.
    rng = np.random.default_rng(seed)
    cuff_mmhg = 150.0 - np.cumsum(rng.uniform(1.0, 6.0, 20))
    index = np.sort(rng.choice(20, 1000, p=rng.dirichlet(np.full(20, 0.15))))
    found = edge(index, index - 1, cuff_mmhg, 1.0, 0.0)
    spread_mmhg = AROUND_MMHG / np.sqrt(3)

    def right(value_mmhg: float) -> float:
        away = cuff_mmhg[index] - value_mmhg
        inside = stats.norm.cdf(4.0 - away, scale=spread_mmhg)
        return float(np.mean(inside - stats.norm.cdf(-4.0 - away, scale=spread_mmhg)))

    best = max(right(value) for value in np.arange(cuff_mmhg.min(), cuff_mmhg.max(), 0.1).tolist())
    # It stays at the likeliest beat for 1 in 100, and 5 in 1000 for each of up to 5 mmHg; the
    # two errors differ by as much again.
    assert right(found.mmhg) >= best - 0.05
    assert np.abs(cuff_mmhg[found.index] - found.mmhg) <= 4.0


def test_the_first_silence_never_lies_above_a_value_between_beats() -> None:
    cuff_mmhg = np.array([85.0, 80.0, 78.5, 73.0, 70.0])
    found = chosen({1: 40, 2: 20, 3: 40}, cuff_mmhg)
    assert (found.index, found.mmhg) == (1, 76.75)
    assert beat_below(found, cuff_mmhg) == 3
    assert beat_below(chosen({1: 100}, cuff_mmhg), cuff_mmhg) == 2
    # A beat at the value is not above it.
    assert beat_below(found, np.array([85.0, 80.0, 78.5, 76.75, 73.0])) == 3


def test_among_nearly_equal_shares_the_likeliest_beat_is_taken() -> None:
    # Beat 5 holds all, beat 6 all but 3 in 1000 and is likelier by itself.
    assert chosen({4: 3, 5: 407, 6: 590}).mmhg == 132.0
    # All but 4 in 100 is not nearly all (3 in 100 is: our choice).
    assert chosen({4: 4, 5: 40, 6: 56}).mmhg == 135.0
    # From the likelier beat it goes as far as holds the far one.
    assert chosen({4: 3, 5: 40, 6: 57}).mmhg == 138.0 - 3.25


def test_a_beat_far_from_most_stories_is_never_taken() -> None:
    # One story at each of four beats: 8 to 10 lie together, 2 comes first and is alone.
    assert chosen({2: 1, 8: 1, 9: 1, 10: 1}).index == 9


def test_exactly_3_in_100_less_is_nearly_equal() -> None:
    # 32 and 31 of 32 stories: 1/32 = 0.03125 apart; 40 and 39 of 40: 0.025.
    assert chosen({4: 1, 5: 12, 6: 19}).mmhg == 135.0
    assert chosen({4: 1, 5: 12, 6: 27}).index == 6
    # 36 and 35 of 36: 0.0278.
    assert chosen({4: 1, 5: 12, 6: 23}).index == 6
    # From the likelier beat it goes as far as holds the far one.
    assert chosen({4: 1, 5: 12, 6: 23}).mmhg == 138.0 - 3.25


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
