"""Pulse waves of a wider family than the simulator's: what is told from a wave must not be its own.

The upstroke rises by any incomplete beta function, at times onto a plateau; the run-off is more or
less hollow, with up to two bumps (reflected waves) and a notch (shapes as in text books, from
memory; the ranges are our choice).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.synth.scenario import Person

UPSTROKE_S, MOST_UPSTROKE = (0.06, 0.26), 0.35
#: Powers of the upstroke, time constant of the run-off over the rest of the beat, plateau.
POWERS, RUN_OFF, PLATEAU_S = (1.0, 3.2), (0.2, 1.5), (0.0, 0.12)
#: Bumps and the notch: seconds after the top, height, width in seconds.
BUMP = ((0.05, 0.3), (-0.2, 0.35), (0.03, 0.1))
NOTCH = ((0.12, 0.3), (0.0, 0.3), (0.012, 0.04))
#: They grow from the top on within so many seconds, and fade as long before the next foot.
GROW_S, FADE_S = 0.04, 0.1
LOWEST = -0.2

_SHARES = np.linspace(0.0, 1.0, 401)

Train = Callable[[np.ndarray, np.ndarray, Person], np.ndarray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wave:
    """One kind of wave; ``half`` is the share of the upstroke after which half of it has risen."""

    heights: np.ndarray
    half: float
    run_off: float
    plateau_s: float
    bumps: tuple[tuple[float, float, float], ...]

    def train(self, time_s: np.ndarray, foot_s: np.ndarray, person: Person) -> np.ndarray:
        """Heights of the waves of all beats, in place of ``tapfall.synth.artery.pulse_train``."""
        index = np.clip(np.searchsorted(foot_s, time_s, side="right") - 1, 0, foot_s.size - 2)
        after_s = time_s - foot_s[index]
        top_s = after_s - person.upstroke_s
        late_s = np.maximum(top_s - self.plateau_s, 0.0)
        rest_s = np.diff(foot_s)[index] - person.upstroke_s - self.plateau_s
        rest_s = np.maximum(rest_s, 0.05)
        least = np.exp(-1 / self.run_off)
        fall = (np.exp(-late_s / (self.run_off * rest_s)) - least) / (1 - least)
        there = np.clip(late_s / GROW_S, 0, 1) * np.clip((rest_s - late_s) / FADE_S, 0, 1)
        for centre_s, height, width_s in self.bumps:
            fall = fall + there * height * np.exp(-0.5 * ((top_s - centre_s) / width_s) ** 2)
        rise = np.interp(after_s / person.upstroke_s, _SHARES, self.heights)
        tail = np.where(late_s > 0, np.maximum(fall, LOWEST), 1.0)
        return np.where(after_s <= 0, 0.0, np.where(top_s < 0, rise, tail))


def draw_wave(rng: np.random.Generator) -> Wave:
    """Draw one kind of wave."""
    heights = special.betainc(rng.uniform(*POWERS), rng.uniform(*POWERS), _SHARES)
    bumps = [
        (rng.uniform(*BUMP[0]), rng.uniform(*BUMP[1]), rng.uniform(*BUMP[2]))
        for _ in range(int(rng.integers(0, 3)))
    ]
    centre_s, depth, width_s = (rng.uniform(*one) for one in NOTCH)
    return Wave(
        heights=heights,
        half=float(np.interp(0.5, heights, _SHARES)),
        run_off=float(np.exp(rng.uniform(*np.log(RUN_OFF)))),
        plateau_s=float(rng.uniform(*PLATEAU_S)) if rng.random() < 0.5 else 0.0,
        bumps=(*bumps, (centre_s, -depth, width_s)),
    )


def draw_upstroke_s(rng: np.random.Generator, person: Person) -> float:
    """Draw how long the pressure rises: of a fast heart no more than a part of its beat."""
    return float(min(rng.uniform(*UPSTROKE_S), MOST_UPSTROKE * 60 / person.heart_rate_per_min))
