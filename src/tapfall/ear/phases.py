"""Hidden Markov model along the deflation: silence, sounds, gap, silence.

States run from left to right: silence above, a first sound, sounds of some
level with missed beats between, perhaps a silent gap and sounds again, and
silence below.  Lone noises may pass for a sound in silence.  Paths drawn from
the posterior carry all that the verdict needs: they are whole stories, to
which the rules of the trade apply as they stand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.ear.evidence import LEVEL_STEP_DB, LEVELS
from tapfall.model import FloatArray

#: Beats are not independent: their evidence is tempered (tuned).
TEMPER = 0.6
#: Evidence of one beat for or against, at most (tuned: one odd beat must not decide).
LEAST_RATIO, MOST_RATIO = -4.5, 12.0
#: Prior that the recording holds no run of sounds at all (our choice).
NO_RUN = 0.3
#: Chance per beat that silence above ends, and that sounds end: some 12-20 beats each.
START, STOP = 1 / 14, 1 / 16
#: Chance that sounds are there from the top; that they go on to the end needs none.
FROM_TOP = 0.05
#: Chance of a missed beat (ectopic, alternating, faint) and of a lone noise.
MISS, LONE = 0.05, 0.015
#: Chance per beat of falling into a gap; 21 % of hypertensives have one
#: (Cavallini 1996), some 20 beats each.
GAP, GAP_ENDS = 0.006, 0.14
#: Change of level from beat to beat, scale of a two-sided exponential (tuned).
LEVEL_SCALE_DB = 3.5
#: Cost of a sound for each level below the third, in nats after tempering: a long
#: run of sounds that hardly stand out is mostly something else (tuned).
WEAK_COST = 0.22
#: Paths drawn from the posterior.
PATHS = 400


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Story:
    """Posterior of one decoding.

    ``heard`` is the probability of a sound at each beat, shape ``(n,)``, given
    that there is a run; ``run`` the probability that there is one; ``paths``
    draws, shape ``(PATHS, n)``, of whether each beat sounds; ``level`` the
    expected level index at each beat where it sounds, shape ``(n,)``.
    """

    heard: FloatArray
    run: float
    gain_nats: float
    paths: np.ndarray
    level: FloatArray


def _ladder() -> FloatArray:
    """Transition between levels, rows sum to one; shape ``(LEVELS, LEVELS)``."""
    index = np.arange(LEVELS)
    step_db = LEVEL_STEP_DB * np.abs(index[:, None] - index[None, :])
    kernel = np.exp(-step_db / LEVEL_SCALE_DB) + 0.002
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """The model's states: transition, start, end, and what each state hears."""

    transition: FloatArray
    start: FloatArray
    end: FloatArray
    level: np.ndarray
    counts: np.ndarray


SILENT, LONE_LEVEL = -1, -2


def build_chain() -> Chain:
    """Lay out the states and their transitions.

    Returns
    -------
    Chain
        ``level`` holds for each state the level it hears, ``SILENT`` or
        ``LONE_LEVEL`` (a noise of any level, not a sound of the run).

    Examples
    --------
    >>> chain = build_chain()
    >>> bool(np.allclose(chain.transition.sum(axis=1), 1.0))
    True
    """
    names: list[tuple[str, int]] = [("above", SILENT), ("above-lone", LONE_LEVEL)]
    for run in ("a", "b"):
        for kind in ("first", "sound", "miss"):
            names += [(f"{run}-{kind}", level) for level in range(LEVELS)]
    names += [("gap1", SILENT), ("gap2", SILENT), ("gap-lone", LONE_LEVEL)]
    names += [("below", SILENT), ("below-lone", LONE_LEVEL)]
    where: dict[str, list[int]] = {}
    for i, (name, _) in enumerate(names):
        where.setdefault(name, []).append(i)
    size = len(names)
    move = np.zeros((size, size))
    ladder = _ladder()
    # The first sound of a run tends to be weak (first and last are the weakest).
    entry = np.linspace(0.4, 1.6, LEVELS)
    entry /= entry.sum()
    above, above_lone = where["above"][0], where["above-lone"][0]
    below, below_lone = where["below"][0], where["below-lone"][0]
    gap1, gap2, gap_lone = where["gap1"][0], where["gap2"][0], where["gap-lone"][0]
    move[above, above] = 1 - START - LONE
    move[above, above_lone] = LONE
    move[above, where["a-first"]] = START * entry
    move[above_lone, above] = 1.0
    for run in ("a", "b"):
        first, sound, miss = where[f"{run}-first"], where[f"{run}-sound"], where[f"{run}-miss"]
        leave_gap = GAP if run == "a" else 0.0
        for level in range(LEVELS):
            f, s, m = first[level], sound[level], miss[level]
            move[f, sound] = (1 - MISS) * ladder[level]
            move[f, m] = MISS
            # Loud sounds seldom stop at once; faint ones do.
            stop = STOP * 2 * (level + 0.5) / LEVELS
            move[s, sound] = (1 - stop - MISS - leave_gap) * ladder[level]
            move[s, m] = MISS
            move[s, below] = stop
            move[s, gap1] = leave_gap
            move[m, sound] = ladder[level]
    move[gap1, gap2] = 1.0
    move[gap2, gap2] = 1 - GAP_ENDS - LONE
    move[gap2, gap_lone] = LONE
    move[gap2, where["b-first"]] = GAP_ENDS * entry
    move[gap_lone, gap2] = 1.0
    move[below, below] = 1 - LONE
    move[below, below_lone] = LONE
    move[below_lone, below] = 1.0
    start = np.zeros(size)
    start[above] = 1 - FROM_TOP
    start[where["a-first"]] = FROM_TOP / LEVELS
    end = np.zeros(size)
    for name in ("a-sound", "b-sound", "a-miss", "b-miss", "below", "below-lone"):
        end[where[name]] = 1.0
    counts = np.array([level >= 0 and not name.endswith("miss") for name, level in names])
    level = np.array([SILENT if name.endswith("miss") else lv for name, lv in names])
    return Chain(transition=move, start=start, end=end, level=level, counts=counts)


_CHAIN = build_chain()


def decode(log_ratio: FloatArray) -> Story:
    """Forward-backward over the beats, and paths drawn from the posterior.

    Parameters
    ----------
    log_ratio
        Shape ``(n, LEVELS)``: log likelihood of a sound at each level over
        that of silence.

    Returns
    -------
    Story
        Posterior over which beats sound.

    Examples
    --------
    >>> table = np.full((20, LEVELS), -4.0)
    >>> table[6:14] = 4.0
    >>> story = decode(table)
    >>> [int(h > 0.5) for h in story.heard]
    [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0]
    """
    chain = _CHAIN
    n = log_ratio.shape[0]
    bounded = TEMPER * np.clip(log_ratio, LEAST_RATIO, MOST_RATIO)
    any_level = special.logsumexp(bounded, axis=1) - np.log(LEVELS)
    emission = np.zeros((n, chain.level.size))
    cost = WEAK_COST * np.maximum(np.arange(LEVELS) - 2, 0)
    emission[:, chain.level >= 0] = (bounded - cost)[:, chain.level[chain.level >= 0]]
    # A lone noise explains a loud beat only in part: it owes nothing to the run.
    emission[:, chain.level == LONE_LEVEL] = any_level[:, None]
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
    # The rival: nothing but silence and lone noises.
    quiet = np.array([[1 - LONE, LONE], [1.0, 0.0]])
    vector = np.array([1.0, 0.0])
    log_quiet = 0.0
    for i in range(n):
        vector = (vector @ quiet if i else vector) * np.array([1.0, np.exp(any_level[i])])
        total = float(vector.sum())
        log_quiet += np.log(total)
        vector /= total
    gain = log_run - log_quiet
    run = float(special.expit(gain + np.log((1 - NO_RUN) / NO_RUN)))
    backward = np.empty_like(likelihood)
    backward[-1] = chain.end
    for i in range(n - 2, -1, -1):
        message = chain.transition @ (likelihood[i + 1] * backward[i + 1])
        backward[i] = message / message.max()
    posterior = forward * backward
    posterior /= posterior.sum(axis=1, keepdims=True)
    heard = posterior[:, chain.counts].sum(axis=1)
    level_of = np.where(chain.counts, chain.level, 0)
    level = posterior @ level_of / np.maximum(heard, 1e-9)
    return Story(
        heard=heard,
        run=run,
        gain_nats=gain,
        paths=_draw(chain, forward, n),
        level=level,
    )


def _draw(chain: Chain, forward: FloatArray, n: int) -> np.ndarray:
    """Draw whole paths backwards from the posterior; fixed numbers, so equal every time."""
    uniform = np.random.Generator(np.random.PCG64(20)).random((n, PATHS))
    heard = np.zeros((PATHS, n), bool)
    weight = forward[-1] * chain.end
    edges = np.cumsum(weight / weight.sum())
    state = np.searchsorted(edges, uniform[-1] * edges[-1])
    heard[:, -1] = chain.counts[state]
    for i in range(n - 2, -1, -1):
        weights = forward[i][:, None] * chain.transition[:, state]
        edges = np.cumsum(weights, axis=0)
        state = np.argmax(edges > uniform[i] * edges[-1], axis=0)
        heard[:, i] = chain.counts[state]
    return heard
