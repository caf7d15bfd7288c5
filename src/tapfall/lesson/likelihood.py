"""How likely a learner's readings are, with and without habits.

A reading is the pressure read at some place of the scale, with a normal scatter, rounded to
the marks of the dial; or a gross error, anywhere within 60 mmHg.  Scatter and share of gross
errors are the learner's own and unknown: everything is kept over a grid of them, each as
likely, and summed in the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tapfall.lesson.anchors import Way
from tapfall.lesson.nouns import Habit
from tapfall.model import FloatArray

#: A habit governs these shares of the readings, each as likely (our choice: what is done less
#: often is no habit; always would make one slip impossible).
SHARES = tuple(np.linspace(0.15, 0.98, 12).tolist())
#: Scatter of readings before they are rounded, SD in mmHg, each as likely (experts repeat
#: themselves with 0.9 to 2.2 mmHg, 30 filmed sequences; beginners scatter more).
SCATTERS_MMHG = (0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.7, 8.0)
#: Share of gross errors, each as likely, and how far either side of the truth they lie, mmHg
#: (our choice).
GROSS_SHARES, GROSS_MMHG = (0.02, 0.08, 0.2), 60.0
#: Dials are marked every 2 mmHg and odd values are slips, so often; a learner with a larger
#: share of odd values (those in 5 left out) reads to 1 mmHg (our choice).
SLIP_SHARE, ODD_SHARE = 0.03, 0.1
#: Steps that a rounding reader takes, mmHg.
ROUND_MMHG = (5.0, 10.0)
#: What one reading at a place of its own, or within a range, can say at most for a habit: the
#: log of its probability over that of a gross error, for middling values of both.
_MOST_AT_PLACE, _MOST_IN_RANGE = 5.0, 3.6
#: No place at all.
_NOWHERE: Way = ((0.0, 0.0),)
#: A habit can be judged where it would be found so surely: one-sided normal quantile of 95 %.
_SURE = 1.645


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One pressure that was read, as on the dial, and where habits would have read it.

    ``ways`` are on the true scale, ``offset_mmhg`` what the dial shows more; ``shows`` names
    the habits that can show on the item.
    """

    item: str
    read_mmhg: float
    true_mmhg: float
    offset_mmhg: float
    ways: Mapping[Habit, tuple[Way, ...]]
    shows: tuple[Habit, ...]

    def can_show(self, habit: Habit) -> bool:
        """Whether a habit would have changed it enough to be seen."""
        return habit in self.shows and (habit is Habit.ROUNDS or habit in self.ways)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A habit that the model has: in which of its two ways, and its share."""

    way: int
    share: float


class Likelihood:
    """Likelihood of the readings of one learner, over what is not known.

    Parameters
    ----------
    values
        The readings, one or more.
    """

    # Arrays have the shape (steps, scatters, values); the steps are the usual one, 5 and 10.

    def __init__(self, values: Sequence[Value]) -> None:
        self._values = tuple(values)
        self._read = np.array([one.read_mmhg for one in values])
        odd = (self._read % 2.0 == 1.0) & (self._read % 5.0 != 0.0)
        self._fine = bool(odd.mean() > ODD_SHARE)
        self._true = self._at([((one.true_mmhg, 1.0),) for one in values])
        even = np.full((1, len(values)), 1.0 / (2.0 * GROSS_MMHG))
        self._gross = self._steps(lambda step: even * step)
        self._known: dict[tuple[Habit, int], tuple[FloatArray, NDArray[np.bool_]]] = {}

    def evidence(self, habit: Habit, taken: Mapping[Habit, Taken]) -> tuple[float, Taken]:
        """Return the log of the Bayes factor of a habit, and how it would be taken up.

        Parameters
        ----------
        habit
            The habit; its two ways are each as likely, as are its shares.
        taken
            Habits that the model has already.
        """
        now = self._now(taken)
        without = _total(self._log(now, taken.get(Habit.ROUNDS)), (-2, -1))
        logs: list[float] = []
        means: list[Taken] = []
        shares = np.array(SHARES)[:, None, None]
        for way in (0, 1):
            if habit is Habit.ROUNDS:
                parts = self._log(now, Taken(way=way, share=0.0), shares)
            else:
                places, shows = self._places(habit, way)
                mixed = shares[:, None] * places + (1.0 - shares[:, None]) * now
                mixed = np.where(shows, mixed, now)
                parts = self._log(np.moveaxis(mixed, 1, 0), taken.get(Habit.ROUNDS))
            by_share = _total(parts, (-2, -1))
            total = float(_total(by_share, (-1,)))
            logs.append(total - math.log(len(SHARES)) - float(without))
            mean = float(np.exp(by_share - total) @ np.array(SHARES))
            means.append(Taken(way=way, share=mean))
        both = float(_total(np.array(logs), (-1,))) - math.log(2.0)
        return both, means[int(np.argmax(logs))]

    def surely_shown(self, habit: Habit, taken: Mapping[Habit, Taken], log_named: float) -> bool:
        """Whether a habit that governs every reading would be named 95 times in 100.

        Parameters
        ----------
        habit
            The habit.
        taken
            Habits that the model has, for the learner's scatter.
        log_named
            Log of the evidence from which on a habit is named.
        """
        if habit is Habit.ROUNDS:
            return True
        log = self._log(self._now(taken), taken.get(Habit.ROUNDS))
        weight = np.exp(_total(log, (-2,)) - _total(log, (-2, -1)))
        mean = spread = np.zeros(len(SCATTERS_MMHG))
        for one in self._values:
            if not one.can_show(habit):
                continue
            way = one.ways[habit][0]
            most = _MOST_AT_PLACE if len(way) == 1 else _MOST_IN_RANGE
            shift = sum(place * share for place, share in way) - one.true_mmhg
            # Log ratio of two normals d SDs apart: mean d^2 / 2, variance d^2.
            squared = (shift / np.array(SCATTERS_MMHG)) ** 2
            mean = mean + np.minimum(squared / 2.0, most)
            spread = spread + np.where(squared / 2.0 < most, squared, 0.0)
        least = mean - _SURE * np.sqrt(spread) - math.log(2.0 * len(SHARES))
        return float(weight @ (least >= log_named)) >= 0.5

    def _now(self, taken: Mapping[Habit, Taken]) -> FloatArray:
        """Probability of each reading that is no gross error, by the habits of the model."""
        now = self._true
        for habit, how in taken.items():
            if habit is not Habit.ROUNDS:
                places, shows = self._places(habit, how.way)
                now = np.where(shows, how.share * places + (1.0 - how.share) * now, now)
        return now

    def _places(self, habit: Habit, way: int) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Probability of each reading by one way of a habit, and which it can change."""
        if (habit, way) not in self._known:
            ways = [one.ways.get(habit) for one in self._values]
            self._known[habit, way] = (
                self._at([_NOWHERE if one is None else one[way % len(one)] for one in ways]),
                np.array([one is not None for one in ways]),
            )
        return self._known[habit, way]

    def _log(
        self, now: FloatArray, rounding: Taken | None, share: FloatArray | float | None = None
    ) -> FloatArray:
        """Log likelihood of all readings, shape (..., gross shares, scatters).

        ``now`` has the shape (steps, ..., scatters, values); ``share`` is that of rounding, if
        it is not the model's own, of shape (n, 1, 1).
        """
        if share is None:
            share = 0.0 if rounding is None else rounding.share
        step = 1 if rounding is None else 1 + rounding.way
        plain = (1.0 - share) * now[0] + share * now[step]
        gross = (1.0 - share) * self._gross[0] + share * self._gross[step]
        wild = np.array(GROSS_SHARES)[:, None, None]
        each = (1.0 - wild) * plain[..., None, :, :] + wild * gross[..., None, :, :]
        return np.asarray(np.log(each).sum(axis=-1))

    def _at(self, ways: Sequence[Way]) -> FloatArray:
        """Probability of each reading, taken at places of the true scale."""
        mmhg = np.zeros((max(map(len, ways)), len(ways)))
        share = np.zeros_like(mmhg)
        for n, (way, value) in enumerate(zip(ways, self._values, strict=True)):
            for m, (place, part) in enumerate(way):
                mmhg[m, n], share[m, n] = place + value.offset_mmhg, part
        scatter = np.array(SCATTERS_MMHG)[:, None, None]

        def mass(step: float) -> FloatArray:
            up = ndtr((self._read + step / 2.0 - mmhg) / scatter)
            down = ndtr((self._read - step / 2.0 - mmhg) / scatter)
            return np.asarray(((up - down) * share).sum(axis=1))

        return self._steps(mass)

    def _steps(self, mass: Callable[[float], FloatArray]) -> FloatArray:
        """Probability of each reading on every step, from the mass within a step about it."""

        def on(step: float) -> FloatArray:
            return np.where(self._read % step == 0.0, mass(step), 0.0)

        slip = 1.0 - SLIP_SHARE if self._fine else SLIP_SHARE
        usual = (1.0 - slip) * on(2.0) + slip * on(1.0)
        return np.stack([usual, *(on(step) for step in ROUND_MMHG)])


def _total(logs: FloatArray, axes: tuple[int, ...]) -> FloatArray:
    """Log of the sum of what the logs are of, over some axes."""
    top = logs.max()
    return np.asarray(np.log(np.exp(logs - top).sum(axis=axes)) + top)
