"""The model along the deflation: which moves exist, and what evidence leads to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear.phases import SOUNDS, STATES, build_chain, decode, weakened
from tapfall.ear.rules import apply_rules

#: Log odds that decide.
STRONG = 4.0


def odds_of(story: str, strength: float = STRONG) -> np.ndarray:
    """Evidence for a sound at each ``x``, against one at each ``.``, none at ``?``."""
    return np.array([{"x": strength, ".": -strength, "?": 0.0}[one] for one in story])


def text(heard: np.ndarray) -> str:
    """Beats that sound as ``x``."""
    return "".join("x" if one else "." for one in heard)


# --- the chain ---------------------------------------------------------------------------


def reachable(move: np.ndarray, start: int) -> set[int]:
    """States that can follow a state, however late."""
    found: set[int] = set()
    open_states = [start]
    while open_states:
        for target in np.flatnonzero(move[open_states.pop()] > 0).tolist():
            if target not in found:
                found.add(target)
                open_states.append(target)
    return found


def test_rows_are_chances() -> None:
    chain = build_chain()
    assert chain.transition.shape == (len(STATES), len(STATES))
    assert (chain.transition >= 0).all()
    assert chain.transition.sum(axis=1) == pytest.approx(np.ones(len(STATES)))
    assert (chain.start >= 0).all()
    assert chain.start.sum() == pytest.approx(1.0)
    assert (chain.end >= 0).all()
    assert chain.end.max() > 0


def test_every_state_can_be_reached_and_left_for_an_end() -> None:
    chain = build_chain()
    starts = np.flatnonzero(chain.start > 0).tolist()
    ends = set(np.flatnonzero(chain.end > 0).tolist())
    from_start = set(starts).union(*(reachable(chain.transition, one) for one in starts))
    assert from_start == set(range(len(STATES)))
    for state in range(len(STATES)):
        assert ends & (reachable(chain.transition, state) | {state})


def test_no_sound_of_the_run_follows_the_silence_below() -> None:
    chain = build_chain()
    later = {STATES[i] for i in reachable(chain.transition, STATES.index("below"))}
    assert later == {"below", "below-lone"}


def test_a_run_starts_with_two_sounds_or_on_alternate_beats() -> None:
    # The first sound counts only where the next, or the one after it, sounds.
    chain = build_chain()
    for first in [i for i, name in enumerate(STATES) if name.endswith("first")]:
        for after in np.flatnonzero(chain.transition[first] > 0).tolist():
            then = np.flatnonzero(chain.transition[after] > 0)
            assert SOUNDS[after] or SOUNDS[then].all()


def test_a_gap_lasts_at_least_two_beats() -> None:
    # From a sound above to the first sound below there are two silent steps at least.
    chain = build_chain()
    above = [i for i, name in enumerate(STATES) if name.startswith("a-")]
    below = [i for i, name in enumerate(STATES) if name.startswith("b-")]
    move = (chain.transition > 0).astype(int)
    for steps in (1, 2):
        paths = np.linalg.matrix_power(move, steps)
        assert paths[np.ix_(above, below)].sum() == 0
    assert np.linalg.matrix_power(move, 3)[np.ix_(above, below)].sum() > 0


def test_a_weakened_chain_allows_what_the_chain_allows() -> None:
    chain = build_chain()
    weak = weakened(chain)
    assert ((weak.transition > 0) == (chain.transition > 0)).all()
    assert ((weak.start > 0) == (chain.start > 0)).all()
    possible = chain.transition > 0
    assert (weak.transition[possible] >= chain.transition[possible]).all()


# --- clear cases -------------------------------------------------------------------------


CLEAR = (
    "......xxxxxxxxxx......",
    "....xxxx....",
    "...xxxxxxxxxxxxxxxxxxxxxxxx...",
    ".......xxxxxxxxxxxxxx",
    "......xxxxx.xxxxx......",
    "......xxxxx......xxxxxxxx......",
    "....xxxxxx..xxxxxxxx.....",
)


@pytest.mark.parametrize("story", CLEAR)
def test_clear_evidence_is_believed(story: str) -> None:
    found = decode(odds_of(story))
    assert text(found.heard > 0.5) == story
    assert found.gain_nats > 3


@pytest.mark.parametrize("story", CLEAR)
def test_most_stories_tell_what_is_clear(story: str) -> None:
    found = decode(odds_of(story, 8.0))
    stories = [text(path) for path in found.paths()]
    assert stories.count(story) > 0.5 * len(stories)


def test_sounds_from_the_top_are_believed() -> None:
    found = decode(odds_of("xxxxxxxxxxxx......"))
    assert text(found.heard > 0.5) == "xxxxxxxxxxxx......"


@pytest.mark.parametrize("story", ["..x.........xxxxxxxxxx......", "......xxxxxxxxxx........x..."])
def test_a_lone_sound_is_heard_but_does_not_count(story: str) -> None:
    found = decode(odds_of(story, 8.0))
    assert text(found.heard > 0.5) == story
    ruled = apply_rules(found.paths(), np.arange(150.0, 150.0 - 2 * len(story), -2.0))
    assert np.median(ruled.first) == story.index("xx")
    assert np.median(ruled.last) == story.rindex("xx") + 1


def test_a_beat_without_evidence_goes_with_its_neighbours() -> None:
    found = decode(odds_of("......xxxx?xxxxx......?..."))
    assert text(found.heard > 0.5) == "......xxxxxxxxxx.........."


def test_a_gap_is_a_story_of_two_runs() -> None:
    found = decode(odds_of("......xxxxxx........xxxxxxxxx......"))
    inside = found.paths()[:, 6:29]
    assert np.mean(inside[:, 0] & inside[:, -1] & ~inside[:, 6:14].any(axis=1)) > 0.8


# --- the null model ----------------------------------------------------------------------


@pytest.mark.parametrize("n", [2, 6, 20, 60])
def test_silence_is_no_run(n: int) -> None:
    found = decode(np.full(n, -STRONG))
    assert found.gain_nats < 0


@pytest.mark.parametrize("story", ["....x.........", "..x......x.......x......"])
def test_lone_sounds_are_no_run(story: str) -> None:
    assert decode(odds_of(story)).gain_nats < decode(odds_of("...xxxx.......")).gain_nats - 3


def test_without_evidence_nothing_is_sure() -> None:
    found = decode(np.zeros(30))
    assert ((found.heard > 0.05) & (found.heard < 0.95)).all()


def test_more_sounds_make_a_run_likelier() -> None:
    stories = ["." * 8 + "x" * k + "." * (22 - k) for k in range(1, 12)]
    runs = [decode(odds_of(story, 2.0)).gain_nats for story in stories]
    assert (np.diff(runs) > 0).all()


# --- draws -------------------------------------------------------------------------------


def test_draws_are_equal_every_time() -> None:
    odds = np.random.default_rng(4).normal(0.0, 2.0, 40)
    one = decode(odds)
    decode(-odds)
    two = decode(odds.copy())
    assert np.array_equal(one.paths(), two.paths())
    assert np.array_equal(one.heard, two.heard)
    assert one.gain_nats == two.gain_nats


def test_draws_do_not_touch_the_global_generator() -> None:
    np.random.seed(3)  # noqa: NPY002
    before = np.random.get_state()[1].copy()  # noqa: NPY002
    decode(odds_of(CLEAR[0]))
    assert np.array_equal(np.random.get_state()[1], before)  # noqa: NPY002


@settings(max_examples=40, deadline=None)
@given(odds=st.lists(st.floats(-60.0, 60.0), min_size=2, max_size=50))
def test_any_evidence_gives_chances_and_draws_that_agree(odds: list[float]) -> None:
    found = decode(np.array(odds))
    assert np.isfinite(found.gain_nats)
    assert np.isfinite(found.gain_nats)
    assert ((found.heard >= 0) & (found.heard <= 1 + 1e-9)).all()
    assert found.paths().shape[1] == len(odds)
    # A share of N draws lies within five of its standard deviations.
    spread = np.sqrt(found.heard * (1 - found.heard) / found.paths().shape[0])
    assert (np.abs(found.paths().mean(axis=0) - found.heard) <= 5 * spread + 0.01).all()


@settings(max_examples=40, deadline=None)
@given(
    odds=st.lists(st.floats(-4.0, 4.0), min_size=6, max_size=30),
    at=st.integers(0, 29),
    more=st.floats(0.1, 2.0),
)
def test_more_evidence_for_a_sound_never_makes_it_less_likely(
    odds: list[float], at: int, more: float
) -> None:
    plain = np.array(odds)
    raised = plain.copy()
    raised[at % plain.size] += more
    at %= plain.size
    assert decode(raised).heard[at] >= decode(plain).heard[at] - 1e-9
