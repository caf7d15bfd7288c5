"""Every beat against every delay: where in this map do sounds lie?

Rows are beats, columns delays after each beat's reference.  Korotkoff sounds
form one line through the rows that drifts slowly as the cuff falls, begins and
ends; heart sounds stand at one delay in every row; noise forms no line.  A
small convolutional network, fitted on simulated recordings, reads the map and
gives each cell the odds of a sound that starts there against no sound in that
row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.network import run_layers
from tapfall.ear.onsets import NOTHING, STEP_S, Onsets
from tapfall.model import FloatArray

#: Fall of the cuff that counts as one.
FALL_MMHG = 5.0
#: Odds beyond this add nothing to a path but overflow.
_SURE = 500.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DelayMap:
    """Log odds of a sound at each beat and delay against none in that beat.

    ``log_odds`` has shape ``(n, k)``, ``delay_s``, whose step is that of the onsets, ``(k,)``.
    """

    log_odds: FloatArray
    delay_s: FloatArray

    def between(self, first_s: float, last_s: float) -> DelayMap:
        """Only the delays between two."""
        inside = (self.delay_s >= first_s) & (self.delay_s <= last_s)
        return DelayMap(log_odds=self.log_odds[:, inside], delay_s=self.delay_s[inside])

    def rows(self, chosen: np.ndarray) -> DelayMap:
        """Only some beats."""
        return DelayMap(log_odds=self.log_odds[chosen], delay_s=self.delay_s)

    def gains(self) -> FloatArray:
        """What a path gains at each cell: its evidence with its neighbours', never below 0."""
        padded = np.pad(self.log_odds, ((0, 0), (1, 1)), constant_values=NOTHING)
        odds = np.exp(np.minimum(padded, _SURE))
        return np.asarray(np.log1p(odds[:, :-2] + odds[:, 1:-1] + odds[:, 2:]))

    def near(
        self, delay_s: FloatArray, reach_s: float | FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Log odds of a sound within reach of each beat's delay, and its likeliest delay."""
        away = np.abs(self.delay_s[None, :] - delay_s[:, None])
        within = away <= np.maximum(np.asarray(reach_s), 0.5 * STEP_S)[..., None]
        odds = np.where(within, self.log_odds, NOTHING)
        weight = np.exp(odds - odds.max(axis=1, keepdims=True))
        weight[~within] = 0.0
        total = weight.sum(axis=1)
        some = total > 0
        total = np.where(some, total, 1.0)
        # The likeliest cell and its neighbours place the sound between the steps.
        best = np.argmax(np.where(within, odds, -np.inf), axis=1)
        weight[np.abs(np.arange(self.delay_s.size)[None, :] - best[:, None]) > 1] = 0.0
        place = (weight @ self.delay_s) / np.maximum(weight.sum(axis=1), 1e-12)
        return (
            np.where(some, odds.max(axis=1) + np.log(total), NOTHING),
            np.where(some, place, delay_s),
        )

    def near_and_elsewhere(
        self, delay_s: FloatArray, reach_s: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Log odds of a sound within reach of each beat's delay, and at any other delay."""
        within = np.abs(self.delay_s[None, :] - delay_s[:, None]) <= reach_s[:, None]
        odds = np.exp(self.log_odds)
        nothing = np.exp(NOTHING)
        near = np.where(within, odds, 0.0).sum(axis=1) + nothing
        elsewhere = np.where(within, 0.0, odds).sum(axis=1) + nothing
        return np.log(near), np.log(elsewhere)

    def along(self, delay_s: FloatArray, offset_s: FloatArray) -> FloatArray:
        """Log odds of a sound so much later than each beat's delay; shape ``(n, offsets)``.

        Examples
        --------
        >>> delay_s = STEP_S * np.arange(3)
        >>> chart = DelayMap(log_odds=np.array([[0.0, 1.0, 2.0]]), delay_s=delay_s)
        >>> chart.along(np.array([STEP_S]), delay_s).tolist()
        [[1.0, 2.0, -12.0]]
        """
        place = (delay_s[:, None] + offset_s[None, :] - self.delay_s[0]) / STEP_S
        index = np.rint(place).astype(np.intp)
        inside = (index >= 0) & (index < self.delay_s.size)
        row = np.arange(delay_s.size)[:, None]
        found = self.log_odds[row, np.clip(index, 0, self.delay_s.size - 1)]
        return np.where(inside, found, NOTHING)

    def around(self, delay_s: FloatArray, offset_s: FloatArray) -> FloatArray:
        """Log odds of a sound about so much later than each beat's delay; shape ``(n, offsets)``.

        About is within half a step of the offsets, which are even.
        """
        reach_s = 0.5 * float(offset_s[1] - offset_s[0])
        places = (delay_s[:, None] + offset_s[None, :]).ravel()
        rows = np.repeat(np.arange(delay_s.size), offset_s.size)
        found = self.rows(rows).near(places, reach_s)[0]
        return np.asarray(found.reshape(delay_s.size, offset_s.size))


def always_there(level: NDArray[np.floating]) -> NDArray[np.floating]:
    """What every beat brings, learned where the cuff is highest and lowest.

    Conducted heart sounds come at one delay whatever the cuff does; a
    Korotkoff sound is missing at the top or at the bottom, or has moved.

    Parameters
    ----------
    level
        Level at fixed delays, shape ``(n, ...)``: beats in order of time.

    Returns
    -------
    ndarray
        The smaller of the medians of the first and the last beats, shape ``(...)``.

    Examples
    --------
    >>> always_there(np.array([[1.0, 0.0]] * 4 + [[1.0, 5.0]] * 8)).tolist()
    [1.0, 0.0]
    """
    # The outermost beats may lie under pump or valve, or be no beats at all.
    inner = level[1:-1] if level.shape[0] > 8 else level
    count = max(3, inner.shape[0] // 4)
    lower = np.minimum(np.median(inner[:count], axis=0), np.median(inner[-count:], axis=0))
    return np.asarray(lower)


def _cells(
    reference_s: FloatArray,
    span_s: tuple[float, float],
    start_s: float,
    step_s: float,
    count: int,
) -> tuple[FloatArray, NDArray[np.intp], NDArray[np.bool_]]:
    """Delays of a map, the frame each cell falls on (the nearest there is), and if it is one."""
    delay_s = np.arange(span_s[0], span_s[1] + STEP_S / 2, STEP_S)
    index = np.rint((reference_s[:, None] + delay_s[None, :] - start_s) / step_s).astype(np.intp)
    return delay_s, np.clip(index, 0, count - 1), (index >= 0) & (index < count)


def plain_map(onsets: Onsets, reference_s: FloatArray, span_s: tuple[float, float]) -> DelayMap:
    """A map of what each instant looks like by itself; its beats know nothing of each other.

    Parameters
    ----------
    onsets
        Marks over audio time.
    reference_s
        Reference time of each beat, audio time, shape ``(n,)``.
    span_s
        First and last delay.

    Returns
    -------
    DelayMap
        Shape ``(n, k)``.
    """
    count = onsets.log_odds.size
    delay_s, index, inside = _cells(reference_s, span_s, onsets.start_s, STEP_S, count)
    return DelayMap(log_odds=np.where(inside, onsets.log_odds[index], NOTHING), delay_s=delay_s)


def delay_map(
    bands: Bands,
    reference_s: FloatArray,
    fall_mmhg: FloatArray,
    span_s: tuple[float, float],
    kind: str,
) -> DelayMap:
    """Lay out and read the map.

    Parameters
    ----------
    bands
        Levels over audio time.
    reference_s
        Reference time of each beat, audio time, shape ``(n,)``.
    fall_mmhg
        Fall of the cuff before each beat, shape ``(n,)``.
    span_s
        First and last delay.
    kind
        What the references are: ``pulses`` of the cuff, or ``sounds``.

    Returns
    -------
    DelayMap
        Shape ``(n, k)``.
    """
    frames = bands.level.shape[0]
    delay_s, index, inside = _cells(reference_s, span_s, bands.start_s, HOP_S, frames)
    level = bands.level[index].astype(np.float32)
    level[~inside] = 0.0
    count = level.shape[2]
    values = np.zeros((*level.shape[:2], 2 * count + 2), np.float32)
    values[:, :, :count] = level
    values[:, :, count : 2 * count] = always_there(level)[None]
    values[:, :, 2 * count] = (fall_mmhg / FALL_MMHG)[:, None]
    values[:, :, 2 * count + 1] = inside
    odds = run_layers(values, CALIBRATION.layers[kind])
    return DelayMap(log_odds=np.where(inside, odds, NOTHING).astype(float), delay_s=delay_s)
