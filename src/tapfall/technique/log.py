"""What the log shows of the hand on bulb and valve, around one reading; log time, mmHg."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy import signal

from tapfall.ear.cuff import REINFLATION_MMHG, Deflation, find_deflation
from tapfall.ear.measurement import REST_MMHG, Rows, measurements
from tapfall.ear.pulses import Pulses, find_pulses
from tapfall.ear.trend import GRID_S
from tapfall.ear.zero import Zero, find_zeros
from tapfall.model import CuffLog, FloatArray, Reading, Settings
from tapfall.technique.obliteration import Obliteration, find_obliteration
from tapfall.technique.stillness import Stillness, evened, stillness

#: A rate near a threshold is taken over so much pressure to either side (a breath's length at
#: the usual rate; our choice), and over half of that at least.
NEAR_MMHG = 8.0
#: An inflation to less closes no artery (a systolic below it is not measured by ear).
LEAST_RUN_UP_MMHG = 50.0
#: Pressure is evened out over this long before turns are looked for (a short beat).
CALM_S = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Reinflation:
    """The cuff was inflated again before it was empty."""

    from_mmhg: float
    to_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CuffWork:
    """One measurement's log, looked at for the hand's work.

    ``time_s`` and ``mmhg`` are its rows, shape ``(n,)``.  Zeros are what the log shows
    at rest before and after.  ``top_mmhg`` and ``bottom_mmhg`` are where the deflation
    begins and ends, ``since_reading_s`` how long the cuff was open since an earlier
    deflation in the same log, ``run_up_mmhg`` the top of an inflation without one.
    """

    time_s: FloatArray
    mmhg: FloatArray
    deflation: Deflation
    pulses: Pulses
    zero_before: Zero
    zero_after: Zero
    top_mmhg: float
    bottom_mmhg: float
    rate_mmhg_per_s: float
    reinflations: tuple[Reinflation, ...]
    run_up_mmhg: float | None
    since_reading_s: float | None
    obliteration: Obliteration | None
    still: Stillness | None

    def rate_near(self, mmhg: float) -> float | None:
        """Mean fall around a pressure, mmHg/s; ``None`` where too little of it was seen."""
        fall = self.deflation
        falling = fall.time_s >= fall.falls_from_s
        time_s, trend = fall.time_s[falling], fall.trend_mmhg[falling]
        near = np.flatnonzero(np.abs(trend - mmhg) <= NEAR_MMHG)
        if near.size == 0:
            return None
        a, b = int(near[0]), int(near[-1])
        drop = float(trend[a] - trend[b])
        if drop < NEAR_MMHG:
            return None
        return drop / float(time_s[b] - time_s[a])


def measure_cuff(log: CuffLog, reading: Reading) -> CuffWork | None:
    """Look at the measurement that a reading was taken from.

    Parameters
    ----------
    log
        The whole log.
    reading
        The reading: its beats tell which measurement; without beats it is the last one
        that holds a deflation.

    Returns
    -------
    CuffWork or None
        ``None`` where the log holds no such deflation.

    Examples
    --------
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Reason
    >>> time_s = np.arange(0.0, 61.0, 0.05)
    >>> mmhg = np.interp(time_s, [0, 5, 11, 12, 52, 53, 61], [0, 0, 150, 150, 50, 0, 0])
    >>> log = CuffLog(time_s=time_s, pressure_mmhg=mmhg)
    >>> work = measure_cuff(log, unreadable(Reason.NO_SOUNDS, Settings()))
    >>> round(work.top_mmhg), round(work.bottom_mmhg), round(work.rate_mmhg_per_s, 1)
    (150, 50, 2.5)
    """
    time_s, mmhg = log.time_s, log.pressure_mmhg
    found = measurements(time_s, mmhg, Settings().longest_s)
    which = _which(found, time_s, mmhg, reading)
    if which is None:
        return None
    place, fall = which
    one = found[place]
    rows = slice(one.begin, one.stop)
    here_s, here_mmhg = time_s[rows], mmhg[rows]
    pulses = find_pulses(here_s, here_mmhg, fall)
    top, bottom, rate = _fall(fall)
    before, after = find_zeros(found, place, time_s, mmhg, fall)
    run_up, since = _before(found[: place + 1], time_s, mmhg, fall)
    return CuffWork(
        time_s=here_s,
        mmhg=here_mmhg,
        deflation=fall,
        pulses=pulses,
        zero_before=before,
        zero_after=after,
        top_mmhg=top,
        bottom_mmhg=bottom,
        rate_mmhg_per_s=rate,
        reinflations=_reinflations(here_s, here_mmhg, fall),
        run_up_mmhg=run_up,
        since_reading_s=since,
        obliteration=find_obliteration(fall, pulses, reading, run_up),
        still=stillness(here_s, here_mmhg, fall, pulses, rate),
    )


def _which(
    found: list[Rows], time_s: FloatArray, mmhg: FloatArray, reading: Reading
) -> tuple[int, Deflation] | None:
    """Which measurement, and its deflation."""
    lag_s = 0.0 if reading.lag is None else reading.lag.seconds
    at_s = None if not reading.beats else reading.beats[len(reading.beats) // 2].time_s + lag_s
    for place in range(len(found) - 1, -1, -1):
        one = found[place]
        if at_s is not None and not time_s[one.begin] <= at_s <= time_s[one.stop - 1]:
            continue
        fall = find_deflation(time_s[one.begin : one.stop], mmhg[one.begin : one.stop])
        if fall is not None:
            return place, fall
    return None


def _fall(fall: Deflation) -> tuple[float, float, float]:
    """Top, bottom, and the mean rate between them."""
    falling = fall.time_s >= fall.falls_from_s
    top, bottom = float(fall.trend_mmhg[falling][0]), float(fall.trend_mmhg[-1])
    lasts_s = max(fall.end_s - fall.falls_from_s, GRID_S)
    return float(fall.trend_mmhg.max()), bottom, (top - bottom) / lasts_s


def _calm(time_s: FloatArray, mmhg: FloatArray) -> FloatArray:
    """The rows on an even grid, evened out over a beat."""
    grid = np.arange(time_s[0], time_s[-1], GRID_S)
    return evened(np.interp(grid, time_s, mmhg), round(CALM_S / GRID_S))


def _reinflations(time_s: FloatArray, mmhg: FloatArray, fall: Deflation) -> tuple[Reinflation, ...]:
    """Every fall and rise on the way to the deflation that did not pass by rest."""
    before = time_s <= fall.falls_from_s
    if before.sum() < 4:
        return ()
    calm = _calm(time_s[before], mmhg[before])
    lows, _ = signal.find_peaks(-calm, prominence=REINFLATION_MMHG)
    bounds = [*lows.tolist(), calm.size]
    return tuple(
        Reinflation(from_mmhg=float(calm[low]), to_mmhg=float(calm[low:end].max()))
        for low, end in itertools.pairwise(bounds)
        if calm[low] >= REST_MMHG
    )


def _before(
    found: list[Rows], time_s: FloatArray, mmhg: FloatArray, fall: Deflation
) -> tuple[float | None, float | None]:
    """Top of a run-up since the last deflation before this one, and time since that one."""
    one = found[-1]
    run_up: float | None = None
    # A run-up whose rest was short lies among the measurement's own rows.
    inside = slice(one.begin, int(np.searchsorted(time_s, fall.start_s)))
    low = np.flatnonzero(mmhg[inside] < REST_MMHG)
    if low.size:
        run_up = _as_run_up(mmhg[one.begin : one.begin + int(low[-1]) + 1])
    for earlier in reversed(found[:-1]):
        rows = slice(earlier.begin, earlier.stop)
        past = find_deflation(time_s[rows], mmhg[rows])
        if past is None:
            run_up = run_up or _as_run_up(mmhg[rows])
            continue
        empty = np.flatnonzero((time_s > past.end_s) & (mmhg < REST_MMHG))
        begin_s = float(time_s[one.begin])
        return run_up, max(begin_s - float(time_s[empty[0]]), 0.0) if empty.size else None
    return run_up, None


def _as_run_up(mmhg: FloatArray) -> float | None:
    top = float(mmhg.max())
    return top if top >= LEAST_RUN_UP_MMHG else None
