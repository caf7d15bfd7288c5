"""Where the cuff stood still while it should have fallen: pauses and steps.

The heart's pulse on the cuff rises and falls as fast as a step does.  It comes with each
beat alike, though, and a step does not: what the beats around share is taken away first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.cuff import PAUSE_S, STILL_SHARE, Deflation, rounding_mmhg
from tapfall.ear.pulses import Pulses
from tapfall.ear.runs import runs
from tapfall.ear.trend import GRID_S
from tapfall.model import FloatArray

#: Slower logs do not tell a stop from the pulse (our choice: three rows in a stop of 0.6 s).
SLOWEST_LOG_HZ = 5.0
#: Beats over which the shared pulse is taken, and its resolution within a beat (our choice).
BEATS_AROUND, BINS = 9, 16
#: Pressure is evened out over this, and its slope taken over as much.
CALM_S = 0.4
#: Steps: at least so many stops, each at least so long, that take such a share of the time
#: without the longest one (one pause makes no steps).  Simulated falls without steps come to
#: 0.10 at most, also in atrial fibrillation; those let down by 5-10 mmHg to 0.27 and more,
#: the longest one counted (measured).
LEAST_STOPS, LEAST_STOP_S, STEPPED_SHARE = 4, 0.5, 0.15
#: A rounded log stands still until the fall has come a step further, and up to a row longer.
#: Falls are slower than their mean in places, and the pulse adds to it, by so much (our choice;
#: one simulated measurement, rounded to 2-5 mmHg on logs of 5-50 Hz, needs no more than 1.0).
ROUNDED_SHARE = 1.25
#: A fall slower than this is taken for so fast, where a step of the rounding is turned into
#: time (our choice: no cuff falls so slowly).
LEAST_RATE_MMHG_PER_S = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A stretch of a deflation in which the cuff stood still, log time."""

    begin_s: float
    end_s: float
    mmhg: float

    @property
    def lasts_s(self) -> float:
        """How long it lasted."""
        return self.end_s - self.begin_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """All stops of a deflation, and how long it lasted.

    ``explained_s`` is how long the rows stand still while the cuff falls evenly, for they
    are rounded to ``rounding_mmhg``: shorter stops tell nothing.
    """

    stops: tuple[Stop, ...]
    lasts_s: float
    rounding_mmhg: float = 0.0
    explained_s: float = 0.0

    @property
    def told(self) -> tuple[Stop, ...]:
        """Stops that the rounding of the log does not explain."""
        return tuple(stop for stop in self.stops if stop.lasts_s > self.explained_s)

    @property
    def stepped(self) -> bool:
        """Whether the cuff was let down in steps."""
        return _stepped(self.told, self.lasts_s)

    @property
    def hides_steps(self) -> bool:
        """Whether it was let down in steps or the log is rounded, nobody knows which."""
        return not self.stepped and _stepped(self.stops, self.lasts_s)

    @property
    def pauses(self) -> tuple[Stop, ...]:
        """Stops of at least two seconds."""
        return tuple(stop for stop in self.told if stop.lasts_s >= PAUSE_S)

    @property
    def hides_pauses(self) -> bool:
        """Whether the rounding of the log explains stops as long as a pause."""
        return any(PAUSE_S <= stop.lasts_s <= self.explained_s for stop in self.stops)


def _stepped(stops: tuple[Stop, ...], lasts_s: float) -> bool:
    lengths_s = sorted(stop.lasts_s for stop in stops)
    return len(lengths_s) >= LEAST_STOPS and sum(lengths_s[:-1]) > STEPPED_SHARE * lasts_s


def without_pulse(
    time_s: FloatArray, mmhg: FloatArray, deflation: Deflation, pulses: Pulses
) -> FloatArray:
    """Rows without what the beats around share.

    Parameters
    ----------
    time_s, mmhg
        Rows of a deflation, shape ``(n,)``, log time.
    deflation, pulses
        Its trend, and the heartbeats seen on it.

    Returns
    -------
    ndarray
        Pressure in mmHg, shape ``(n,)``; as it was where no pulse was seen.
    """
    if not pulses.usable or pulses.time_s.size < BEATS_AROUND:
        return mmhg
    beats = pulses.time_s
    index = np.clip(np.searchsorted(beats, time_s, side="right") - 1, 0, beats.size - 2)
    share = np.clip((time_s - beats[index]) / np.diff(beats)[index], 0.0, 0.999)
    at = index * BINS + (share * BINS).astype(np.intp)
    off = mmhg - deflation.pressure_mmhg(time_s)
    count = np.bincount(at, minlength=(beats.size - 1) * BINS)
    total = np.bincount(at, weights=off, minlength=count.size)
    table = np.where(count > 0, total / np.maximum(count, 1), np.nan).reshape(-1, BINS)
    half = BEATS_AROUND // 2
    shared = np.zeros_like(table)
    for beat in range(table.shape[0]):
        low = min(max(beat - half, 0), max(table.shape[0] - BEATS_AROUND, 0))
        around = table[low : low + BEATS_AROUND]
        known = ~np.isnan(around)
        some = known.any(axis=0)
        shared[beat, some] = np.nanmedian(around[:, some], axis=0)
    shared -= shared.mean(axis=1, keepdims=True)
    middle = (np.arange(BINS) + 0.5) / BINS
    round_middle = np.concatenate([[middle[-1] - 1], middle, [middle[0] + 1]])
    wave = np.empty_like(mmhg)
    for beat in range(table.shape[0]):
        here = index == beat
        row = shared[beat]
        wave[here] = np.interp(
            share[here], round_middle, np.concatenate([[row[-1]], row, [row[0]]])
        )
    return np.asarray(mmhg - wave)


def stillness(
    time_s: FloatArray,
    mmhg: FloatArray,
    deflation: Deflation,
    pulses: Pulses,
    rate_mmhg_per_s: float,
) -> Stillness | None:
    """Find where a cuff stood still during its deflation.

    Parameters
    ----------
    time_s, mmhg
        Rows of the measurement, shape ``(n,)``, log time.
    deflation, pulses
        Its deflation, and the heartbeats seen on it.
    rate_mmhg_per_s
        The mean rate.

    Returns
    -------
    Stillness or None
        ``None`` where the log is too slow to tell.

    Examples
    --------
    >>> from tapfall.ear.cuff import find_deflation
    >>> from tapfall.ear.pulses import find_pulses
    >>> t = np.arange(0, 60, 0.05)
    >>> p = np.interp(t, [0, 5, 7, 27, 33, 53, 54], [0, 170, 170, 120, 120, 70, 0])
    >>> fall = find_deflation(t, p)
    >>> found = stillness(t, p, fall, find_pulses(t, p, fall), 2.2)
    >>> [(round(stop.begin_s), round(stop.end_s), round(stop.mmhg)) for stop in found.pauses]
    [(27, 33, 120)]
    """
    if deflation.log_rate_hz < SLOWEST_LOG_HZ:
        return None
    inside = (time_s >= deflation.falls_from_s) & (time_s <= deflation.end_s)
    if inside.sum() < 10:
        return None
    clean = without_pulse(time_s[inside], mmhg[inside], deflation, pulses)
    grid = np.arange(deflation.falls_from_s, deflation.end_s, GRID_S)
    even = evened(np.interp(grid, time_s[inside], clean), round(CALM_S / GRID_S))
    reach = round(CALM_S / GRID_S / 2)
    if grid.size < 4 * reach:
        return None
    slope = (even[: -2 * reach] - even[2 * reach :]) / (2 * reach * GRID_S)
    middle = grid[reach:-reach]
    still = slope < STILL_SHARE * rate_mmhg_per_s
    for begin_s, end_s in deflation.holes_s:
        # A line was drawn across: neither still nor falling is known.
        still &= (middle < begin_s) | (middle > end_s)
    stops = tuple(
        Stop(
            begin_s=float(middle[begin]) - CALM_S / 2,
            end_s=float(middle[end - 1]) + CALM_S / 2,
            mmhg=float(np.mean(even[begin + reach : end + reach])),
        )
        for begin, end in runs(still)
        if (end - begin) * GRID_S >= LEAST_STOP_S - CALM_S / 2
    )
    step_mmhg = rounding_mmhg(mmhg[inside])
    explained_s = ROUNDED_SHARE * step_mmhg / max(rate_mmhg_per_s, LEAST_RATE_MMHG_PER_S)
    return Stillness(
        stops=stops,
        lasts_s=float(grid.size * GRID_S),
        rounding_mmhg=step_mmhg,
        explained_s=explained_s + 1.0 / deflation.log_rate_hz,
    )


def evened(values: FloatArray, count: int) -> FloatArray:
    """Values evened out over so many of them, shape as given; those at the ends go on outside.

    Examples
    --------
    >>> evened(np.array([0.0, 0.0, 3.0, 3.0]), 3).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    padded = np.pad(values, (count // 2, count - 1 - count // 2), "edge")
    return np.convolve(padded, np.ones(count) / count, "valid")
