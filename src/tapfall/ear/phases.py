"""Hidden Markov model along the deflation: silence, sounds, gap, silence.

States run from left to right: silence above, a first sound, sounds with
missed beats between, perhaps a silent gap and sounds again, and silence
below.  Lone sounds may come in silence.  Paths drawn from the posterior carry
all that the verdict needs: they are whole stories, to which the rules of the
trade apply as they stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tapfall.model import FloatArray

#: The evidence has already seen the beats around each one: what the chain holds
#: likely counts only by this power (tuned on development recordings).
PRIOR_WEIGHT = 0.3
#: Evidence of one beat for or against, at most (tuned: one odd beat must not decide).
MOST_LOG_ODDS = 8.0
#: Chance per beat that silence above ends, and that sounds end: some 12-20 beats each.
START, STOP = 1 / 14, 1 / 16
#: Chance that sounds are there from the top; that they go on to the end needs none.
FROM_TOP = 0.05
#: Chance of a missed beat (ectopic, alternating, faint) and of a lone sound.
MISS, LONE = 0.04, 0.015
#: Chance that the sounds begin on every second beat (alternans, bigeminy), and that
#: such a beat is the last before every beat sounds (our choice).
ALTERNATE, ALTERNATE_ENDS = 0.2, 0.2
#: Chance per beat of falling into a gap; 21 % of hypertensives have one
#: (Cavallini 1996), some 20 beats each.
GAP, GAP_ENDS = 0.05, 0.25
#: Paths drawn from the posterior; with 400, drawn one by one, other draws moved the end of
#: an interval by up to 4 mmHg, these by 1 (measured on noisy recordings).
PATHS = 1000
#: Beats for which numbers are made at a time.
SPREAD_ROWS = 64
#: The model's states, in order.
STATES = (
    "above", "above-lone", "every-second", "between", "a-first", "a-sound", "a-miss",
    "gap1", "gap2", "gap-lone",
    "b-first", "b-sound", "b-miss", "below", "below-lone",
)  # fmt: skip
#: Which states hear a sound: one of the run, or a lone one.
SOUNDS = np.array([name.endswith(("first", "second", "sound", "lone")) for name in STATES])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Story:
    """Posterior of one decoding.

    ``heard`` is the probability of a sound at each beat, shape ``(n,)``, given
    that there is a run of them, ``gain_nats`` the evidence for one; ``forward`` is
    that of each state given the beats up to each, shape ``(n, len(STATES))``.
    """

    heard: FloatArray
    gain_nats: float
    forward: FloatArray

    def paths(self) -> np.ndarray:
        """Draws of whether each beat sounds, shape ``(PATHS, n)``, equal every time."""
        return _draw(_CHAIN, self.forward)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Transition, start and end of the states; each of ``len(STATES)``."""

    transition: FloatArray
    start: FloatArray
    end: FloatArray


def build_chain() -> Chain:
    """Lay out the transitions between the states.

    Returns
    -------
    Chain
        Rows of the transition sum to one.

    Examples
    --------
    >>> chain = build_chain()
    >>> bool(np.allclose(chain.transition.sum(axis=1), 1.0))
    True
    """
    at = {name: i for i, name in enumerate(STATES)}
    move = np.zeros((len(STATES), len(STATES)))

    def go(source: str, **chances: float) -> None:
        for target, chance in chances.items():
            move[at[source], at[target.replace("_", "-")]] = chance

    go("above", above=1 - START - LONE, above_lone=LONE, a_first=START * (1 - ALTERNATE))
    move[at["above"], at["every-second"]] = START * ALTERNATE
    move[at["every-second"], at["between"]] = 1 - ALTERNATE_ENDS
    move[at["every-second"], at["a-sound"]] = ALTERNATE_ENDS
    move[at["between"], at["every-second"]] = 1.0
    go("above-lone", above=1.0)
    go("a-first", a_sound=1 - MISS, a_miss=MISS)
    go("a-sound", a_sound=1 - STOP - MISS - GAP, a_miss=MISS, below=STOP, gap1=GAP)
    go("a-miss", a_sound=1.0)
    go("gap1", gap2=1.0)
    go("gap2", gap2=1 - GAP_ENDS - LONE, gap_lone=LONE, b_first=GAP_ENDS)
    go("gap-lone", gap2=1.0)
    go("b-first", b_sound=1 - MISS, b_miss=MISS)
    go("b-sound", b_sound=1 - STOP - MISS, b_miss=MISS, below=STOP)
    go("b-miss", b_sound=1.0)
    go("below", below=1 - LONE, below_lone=LONE)
    go("below-lone", below=1.0)
    start = np.zeros(len(STATES))
    start[at["above"]], start[at["a-first"]] = 1 - FROM_TOP, FROM_TOP
    end = np.zeros(len(STATES))
    for name in ("a-sound", "b-sound", "a-miss", "b-miss", "below", "below-lone"):
        end[at[name]] = 1.0
    return Chain(transition=move, start=start, end=end)


def weakened(chain: Chain) -> Chain:
    """The chain with each chance taken to ``PRIOR_WEIGHT``; what cannot be still cannot."""

    def less(chance: FloatArray) -> FloatArray:
        return np.where(chance > 0, chance**PRIOR_WEIGHT, 0.0)

    return Chain(transition=less(chain.transition), start=less(chain.start), end=chain.end)


_CHAIN = weakened(build_chain())


def decode(log_odds: FloatArray) -> Story:
    """Forward-backward over the beats.

    Parameters
    ----------
    log_odds
        Log odds of a sound over silence at each beat, shape ``(n,)``.

    Returns
    -------
    Story
        Posterior over which beats sound.

    Examples
    --------
    >>> odds = np.full(20, -4.0)
    >>> odds[6:14] = 4.0
    >>> [int(h > 0.5) for h in decode(odds).heard]
    [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0]
    """
    chain = _CHAIN
    n = log_odds.shape[0]
    bounded = np.clip(log_odds, -MOST_LOG_ODDS, MOST_LOG_ODDS)
    emission = np.where(SOUNDS[None, :], bounded[:, None], 0.0)
    shift = emission.max(axis=1, keepdims=True)
    likelihood = np.exp(emission - shift)
    forward = np.empty_like(likelihood)
    scale = np.empty(n)
    state = chain.start * likelihood[0]
    for i in range(n):
        if i:
            state = (forward[i - 1] @ chain.transition) * likelihood[i]
        scale[i] = state.sum()
        forward[i] = state / scale[i]
    finish = float(forward[-1] @ chain.end)
    log_run = float(np.log(scale).sum() + shift.sum() + np.log(max(finish, 1e-300)))
    gain = log_run - _log_quiet(bounded)
    backward = np.empty_like(likelihood)
    backward[-1] = chain.end
    for i in range(n - 2, -1, -1):
        message = chain.transition @ (likelihood[i + 1] * backward[i + 1])
        backward[i] = message / message.max()
    posterior = forward * backward
    posterior /= posterior.sum(axis=1, keepdims=True)
    return Story(
        heard=posterior[:, SOUNDS].sum(axis=1),
        gain_nats=gain,
        forward=forward,
    )


def _log_quiet(bounded: FloatArray) -> float:
    """Log evidence of the rival: nothing but silence and lone noises."""
    move = np.array([[1 - LONE, LONE], [1.0, 0.0]]) ** PRIOR_WEIGHT * np.array([[1, 1], [1, 0]])
    vector = np.array([1.0, 0.0])
    total = 0.0
    for i, odds in enumerate(np.exp(bounded).tolist()):
        vector = (vector @ move if i else vector) * np.array([1.0, odds])
        weight = float(vector.sum())
        total += np.log(weight)
        vector /= weight
    return total


@lru_cache(maxsize=8)
def _spread(blocks: int) -> FloatArray:
    """Numbers between 0 and 1, at each beat spread evenly over the paths in an order of its own."""
    drawn = np.random.Generator(np.random.PCG64(20)).random((blocks * SPREAD_ROWS, PATHS))
    return np.asarray((np.argsort(drawn, axis=1) + 0.5) / PATHS)


def _draw(chain: Chain, forward: FloatArray) -> np.ndarray:
    """Draw whole paths backwards from the posterior; fixed numbers, so equal every time."""
    n = forward.shape[0]
    uniform = _spread(-(-n // SPREAD_ROWS))[:n]
    heard = np.zeros((PATHS, n), bool)
    weight = forward[-1] * chain.end
    edges = np.cumsum(weight)
    state = np.searchsorted(edges, uniform[-1] * edges[-1])
    heard[:, -1] = SOUNDS[state]
    every = np.cumsum(forward[:-1, :, None] * chain.transition, axis=1)
    for i in range(n - 2, -1, -1):
        chosen = every[i][:, state]
        state = np.argmax(chosen > uniform[i] * chosen[-1], axis=0)
        heard[:, i] = SOUNDS[state]
    return heard
