"""Beats kept in step by what every beat brings.

High above systolic and far below diastolic the cuff shows little pulse or none, and in noise a
pulse is placed some hundredths of a second off: the beats of the log drift there, and what
comes with every one of them (conducted heart sounds) forms no line on the map of delays, or one
that seems to begin and end as Korotkoff sounds do.  Where it is loud it tells itself where the
beats are: those unseen are laid out anew, one after the other, and all are straightened.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import signal

from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.pulses import SHORTEST_RR_S, Pulses
from tapfall.model import FloatArray

#: What beats bring is learned from so many at the edge of those that are seen.
NEAR_BEATS = 12
#: A stretch of seen beats begins where so many of so many neighbours are seen.
SEEN_OF = 7, 8
#: Each is looked at from so long before its pulse to so long after it, in intervals, every
#: second frame: nearly a whole beat, so that no sound enters twice.
BEFORE, AFTER, EVERY = 0.35, 0.55, 2
#: So many levels tell as much as one: frames overlap, and a sound fills several bands.
ALIKE = 16.0
#: What stands out of the beats' median by less than so many of its errors is noise; variance of a
#: median over that of a mean.
STANDS_OUT, OF_MEDIAN = 2.0, 1.6
#: Evidence of the place of the usual beat from which there is something to keep step by, nats
#: (tuned on the second simulator and on calibration seeds: from 2 to 12 the same of its recordings
#: with heart sounds come out right, from 8 on few others change).
LEAST_NATS = 8.0
#: With less than this share of it by the usual beat alone nothing is laid against the sound, which
#: takes most of the time (of 120 recordings of the second simulator that kept step none had less
#: than one and a half times as much, of 140 others one had more than half).
WORTH_A_LOOK = 0.5
#: Spread of an interval about those before it, as a log: the least that is taken, the most at which
#: beats are laid out (sinus rhythm breathes by a tenth, fibrillation scatters by a third;
#: physiology), and how much of it is tried.
LEAST_SPREAD, MOST_SPREAD, REACH = 0.03, 0.25, 3.0
#: How far a beat may be moved, and how far it usually has to be, seconds (errors of pulses in
#: noisy logs; tuned: with 0.02 to 0.04 the same).
MOST_MOVE_S, USUAL_MOVE_S = 0.08, 0.03
#: How likely a beat that was laid out is one (in a steady rhythm 95 of 100 that the log does not
#: show; measured for `pulses`).
LAID_OUT = 0.95
#: Beats are laid out so far beyond the first and last pulse, in intervals; one so near to a pulse
#: is that pulse (our choice).
BEYOND, SAME_PULSE_S = 0.3, 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """How well what beats bring fits at any time, nats; shape ``(n,)``, a frame each."""

    nats: FloatArray
    start_s: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """At some times; the mean where that is beyond the sound."""
        index = np.rint((time_s - self.start_s) / HOP_S).astype(np.intp)
        inside = (index >= 0) & (index < self.nats.size)
        found = self.nats[np.clip(index, 0, self.nats.size - 1)]
        return np.where(inside, found, self.nats.mean())


def _levels_around(bands: Bands, time_s: FloatArray, interval_s: float) -> FloatArray:
    """Levels around those times that lie well in the sound, shape ``(n, k, bands)``."""
    count = int((BEFORE + AFTER) * interval_s / (EVERY * HOP_S))
    first = np.rint((time_s - BEFORE * interval_s - bands.start_s) / HOP_S).astype(np.intp)
    index = first[:, None] + EVERY * np.arange(count)[None, :]
    inside = (index[:, 0] >= 0) & (index[:, -1] < bands.level.shape[0])
    return np.asarray(bands.level[index[inside]])


def _fit(
    bands: Bands, levels: FloatArray, usual: FloatArray, beats: int, interval_s: float
) -> tuple[_Fit | None, float]:
    """Lay what so many beats usually bring, ``(k, bands)``, against all of the sound.

    ``None`` where that is too short or the usual beat worth too little; and what one is worth,
    nats. ``levels`` are those around beats.
    """
    some = levels[:: max(1, levels.shape[0] // 12)]  # a few tell the variance
    variance = float(np.mean((some - np.median(some, axis=0)) ** 2)) + 1e-3
    error = float(np.sqrt(OF_MEDIAN * variance / beats))
    brought = np.where(np.abs(usual) > STANDS_OUT * error, usual, 0.0)
    worth = float(np.sum(brought**2)) / (ALIKE * variance)
    wave = np.zeros((EVERY * brought.shape[0] - EVERY + 1, brought.shape[1]), np.float32)
    if worth < WORTH_A_LOOK * LEAST_NATS or wave.shape[0] > bands.level.shape[0]:
        return None, worth
    wave[::EVERY] = brought / (ALIKE * variance)
    level = bands.level.astype(np.float32)
    fits = signal.fftconvolve(level, wave[::-1], mode="valid", axes=0).sum(axis=1)
    return _Fit(nats=fits.astype(float), start_s=bands.start_s + BEFORE * interval_s), worth


def _walk(
    bands: Bands, seen_s: FloatArray, to_s: float, spread: float, interval_s: float
) -> list[float] | None:
    """Lay out beats from the last of some seen ones on to a time before or after them.

    ``None`` where the seen ones bring too little to keep step by.
    """
    levels = _levels_around(bands, seen_s, interval_s)
    if levels.shape[0] < NEAR_BEATS // 2:
        return None
    usual = np.median(levels, axis=0)
    fit, _ = _fit(bands, levels, usual - usual.mean(axis=0), levels.shape[0], interval_s)
    if fit is None or fit.at(seen_s).mean() - fit.nats.mean() < LEAST_NATS:
        return None
    way = float(np.sign(to_s - seen_s[-1])) or 1.0
    intervals_s = np.abs(np.diff(seen_s)).tolist()
    at_s = float(seen_s[-1])
    laid_s: list[float] = []
    while True:
        near_s = float(np.median(intervals_s[-4:]))
        ratio = np.arange(-REACH * spread, REACH * spread + 1e-9, HOP_S / near_s)
        tried = at_s + way * np.maximum(near_s * np.exp(ratio), SHORTEST_RR_S)
        next_s = float(tried[int(np.argmax(fit.at(tried) - 0.5 * (ratio / spread) ** 2))])
        if way * (to_s - next_s) < 0:
            return laid_s
        # One odd interval is not the rhythm of the next ones.
        intervals_s.append(float(np.clip(abs(next_s - at_s), 0.8 * near_s, 1.25 * near_s)))
        laid_s.append(next_s)
        at_s = next_s


def _lay_out_unseen(bands: Bands, pulses: Pulses, time_s: FloatArray) -> Pulses:
    """Lay out anew what lies above and below the stretch of seen pulses; times of the sound.

    Pulses that are seen beyond it are kept where a beat is laid out next to them. An uneven
    rhythm tells nothing of where the next beat lies: there the pulses stay as they are.
    """
    seen = pulses.seen
    run = np.convolve(seen, np.ones(SEEN_OF[1]), "valid") >= SEEN_OF[0]
    begins = np.flatnonzero(run & seen[: run.size])
    ends = np.flatnonzero(run & seen[SEEN_OF[1] - 1 :]) + SEEN_OF[1] - 1
    as_given = replace(pulses, time_s=time_s)
    if not begins.size or not ends.size or seen.sum() < 2 * NEAR_BEATS:
        return as_given
    first, last = int(begins[0]), int(ends[-1])
    interval = np.diff(time_s)[seen[1:] & seen[:-1]]
    spread = float(np.quantile(np.abs(np.diff(np.log(interval))), 0.68))
    if spread > MOST_SPREAD:
        return as_given
    spread, usual_s = max(spread, LEAST_SPREAD), float(np.median(interval))
    above_s = below_s = None
    if first > 1:
        near_s = time_s[first : first + NEAR_BEATS][::-1]
        above_s = _walk(bands, near_s, time_s[0] - BEYOND * usual_s, spread, usual_s)
    if last < seen.size - 2:
        near_s = time_s[max(last - NEAR_BEATS + 1, 0) : last + 1]
        below_s = _walk(bands, near_s, time_s[-1] + BEYOND * usual_s, spread, usual_s)
    begin = 0 if above_s is None else first
    end = seen.size if below_s is None else last + 1
    laid_s = np.concatenate([(above_s or [])[::-1], time_s[begin:end], below_s or []])
    nearest = np.abs(laid_s[:, None] - time_s[None, :]).argmin(axis=1)
    near = np.abs(laid_s - time_s[nearest]) <= SAME_PULSE_S
    return replace(
        pulses,
        time_s=laid_s,
        size_mmhg=np.where(near, pulses.size_mmhg[nearest], 0.0),
        seen=near & seen[nearest],
        real=np.where(near & seen[nearest], 1.0, LAID_OUT),
    )


def _straightened(bands: Bands, time_s: FloatArray) -> tuple[FloatArray, float | None]:
    """Move each beat to where what they all bring fits best, and how well it does, nats a beat.

    That is the best fit within reach over the mean there; where the usual beat alone is worth
    little, what it is worth. ``None`` where too few beats lie in the sound to tell.
    """
    interval_s = float(np.median(np.diff(time_s)))
    levels = _levels_around(bands, time_s, interval_s)
    if levels.shape[0] < 2 * NEAR_BEATS:
        return time_s, None
    quarter = max(NEAR_BEATS // 2, levels.shape[0] // 4)
    # Korotkoff sounds are missing above or below, or have moved.
    usual = np.minimum(np.median(levels[:quarter], axis=0), np.median(levels[-quarter:], axis=0))
    usual = np.maximum(usual - np.median(usual, axis=0), 0.0)
    fit, worth = _fit(bands, levels, usual, quarter, interval_s)
    if fit is None:
        return time_s, worth
    moves_s = np.arange(-MOST_MOVE_S, MOST_MOVE_S + 1e-9, HOP_S)
    fits = fit.at(time_s[:, None] + moves_s[None, :])
    nats = float(np.mean(fits.max(axis=1) - fits.mean(axis=1)))
    score = fits - 0.5 * (moves_s / USUAL_MOVE_S) ** 2
    return time_s + moves_s[score.argmax(axis=1)], nats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InStep:
    """Beats, log time, and how well what they all bring fits near them, nats a beat.

    ``nats`` is ``None`` where too few lie in the sound to tell.
    """

    pulses: Pulses
    nats: float | None

    @property
    def kept(self) -> bool:
        """Whether it tells where they are."""
        return self.nats is not None and self.nats >= LEAST_NATS

    def fits_better(self, other: InStep, times: float) -> bool:
        """Whether it fits more than so many times as well as another, as far as both can tell."""
        return self.nats is not None and other.nats is not None and self.nats > times * other.nats


def keep_in_step(bands: Bands, pulses: Pulses, lag_s: float) -> InStep:
    """Keep beats in step with the sound, where it tells where they are.

    Parameters
    ----------
    bands
        Levels over audio time.
    pulses
        Beats on the log, log time.
    lag_s
        Log time minus audio time.

    Returns
    -------
    InStep
        The pulses as given where nothing comes with every beat, or too little.
    """
    if pulses.time_s.size < 2 * NEAR_BEATS:
        return InStep(pulses=pulses, nats=None)
    laid = _lay_out_unseen(bands, pulses, pulses.time_s - lag_s)
    time_s, nats = _straightened(bands, laid.time_s)
    found = InStep(pulses=replace(laid, time_s=time_s + lag_s), nats=nats)
    return found if found.kept else replace(found, pulses=pulses)
