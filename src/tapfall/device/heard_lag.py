"""Whether inflation and release are heard where the log has them, or seconds away.

The search for a lag reaches 2 s, and beats that keep step tell a lag only but for whole
beats: clocks 5 s apart may look like clocks 0.7 s apart.  Inflation and release make
noise of their own, once in a measurement and tens of seconds apart.  So the log's times
of both are moved over the sound together: where noise sets in at both, and at no other
lag, the clocks lie that far apart.  Other noise hides it in many recordings; then
nothing is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapfall.device.log import last_deflation
from tapfall.ear.filters import design, thinned
from tapfall.ear.frontend import as_samples
from tapfall.ear.measurement import REST_MMHG
from tapfall.ear.rows import as_rows
from tapfall.model import CuffLog, FloatArray

#: Lags looked at, both ways, and their step (our choice: programs started one after the other
#: are seconds apart).
REACH_S, STEP_S = 15.0, 0.1
#: Levels are those of frames of this length, of what lies above this frequency, where sounds are
#: weaker; they count within these of the median of all (our choice).
FRAME_S, ABOVE_HZ, LOWEST_DB, HIGHEST_DB = 0.05, 120.0, -3.0, 15.0
#: The inflation ends at this share of the top.
TOP_SHARE = 0.95
#: What is compared: the inflation with so much before it, half a second at least, and the first
#: of the release with so much before; what lies so near counts for neither (our choice).
BEFORE_S, LEAST_BEFORE_S = 2.3, 0.3
RELEASE_S, BEFORE_RELEASE_S, APART_S = 0.6, 1.3, 0.2
#: Noise sets in where it rises by so much at both; neither counts for more than the last.
INFLATION_DB, RELEASE_DB, SUM_DB, MOST_DB = 2.0, 6.0, 8.0, 9.0
#: The sum is so much less at every lag that is further off than so many seconds (tuned, as the
#: numbers before, on 195 simulated recordings and 60 of the second simulator: none of them is
#: told a lag beyond the search that it has not, half are told to have none).
MARGIN_DB, SAME_S = 6.0, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """Level over audio time, as running sum over frames from ``start_s`` on."""

    start_s: float
    total: FloatArray

    def mean_db(self, from_s: FloatArray, to_s: FloatArray) -> FloatArray:
        """Mean between two times, NaN where the sound does not hold all of it."""
        last = self.total.size - 1
        first, stop = (
            np.rint((time_s - self.start_s) / FRAME_S).astype(np.intp) for time_s in (from_s, to_s)
        )
        held = (first >= 0) & (stop <= last) & (stop > first)
        first, stop = np.where(held, first, 0), np.where(held, stop, 1)
        mean = (self.total[stop] - self.total[first]) / (stop - first)
        return np.asarray(np.where(held, mean, np.nan))


def heard_lag(samples: NDArray[np.generic], rate_hz: float, log: CuffLog) -> float | None:
    """Find the lag at which inflation and release are heard.

    Parameters
    ----------
    samples
        Sound of shape ``(n,)``.
    rate_hz
        Its rate, at least 1000 Hz.
    log
        A log in order; its last deflation is looked at.

    Returns
    -------
    float or None
        Log time minus audio time in seconds, to some tenths, -15 to 15; ``None`` where
        the log holds no measurement from rest to release, or they are not clearly heard.

    Examples
    --------
    >>> log_s = np.arange(0.0, 60.0, 0.05)
    >>> mmhg = np.interp(log_s, [0, 12, 18, 50, 51, 60], [0, 0, 160, 60, 0, 0])
    >>> time_s = np.arange(60 * 1000) / 1000.0 + 5.0
    >>> noisy = ((time_s > 12) & (time_s < 18)) | ((time_s > 50) & (time_s < 51))
    >>> noise = np.random.default_rng(1).standard_normal(time_s.size)
    >>> round(heard_lag(noise * (0.01 + noisy), 1000.0, CuffLog(time_s=log_s, pressure_mmhg=mmhg)))
    5
    """
    times = _inflation_and_release(log)
    if times is None:
        return None
    start_s, top_s, release_s = times
    steps = round(REACH_S / STEP_S)
    lags_s = np.asarray(STEP_S * np.arange(-steps, steps + 1), np.float64)
    # Audio time is log time minus the lag.
    start, top, release = start_s - lags_s, top_s - lags_s, release_s - lags_s
    levels = _levels(samples, rate_hz, (float(start.min()), float(release.max())))
    if levels is None:
        return None
    latest = start - (APART_S + LEAST_BEFORE_S)
    before = np.maximum(start - APART_S - BEFORE_S, np.minimum(levels.start_s, latest))
    inflation_db = levels.mean_db(start, top) - levels.mean_db(before, start - APART_S)
    before = release - APART_S - BEFORE_RELEASE_S
    release_db = levels.mean_db(release + APART_S / 2, release + RELEASE_S) - levels.mean_db(
        before, release - APART_S
    )
    return _clear_lag(lags_s, inflation_db, release_db)


def _clear_lag(
    lags_s: FloatArray, inflation_db: FloatArray, release_db: FloatArray
) -> float | None:
    """The one lag at which noise sets in at both, ``None`` where none or another does too."""
    both = np.clip(inflation_db, -MOST_DB, MOST_DB) + np.clip(release_db, -MOST_DB, MOST_DB)
    both = np.where(np.isnan(both), -np.inf, both)
    # Of lags at which both count for as much as they can, the one where they rise most.
    most = np.flatnonzero(both >= both.max())
    best = int(most[np.argmax((inflation_db + release_db)[most])])
    heard = both[best] >= SUM_DB
    heard &= inflation_db[best] >= INFLATION_DB and release_db[best] >= RELEASE_DB
    rival_db = both[np.abs(lags_s - lags_s[best]) > SAME_S].max()
    return float(lags_s[best]) if heard and both[best] - rival_db >= MARGIN_DB else None


def _inflation_and_release(log: CuffLog) -> tuple[float, float, float] | None:
    """When the cuff leaves rest, nears the top, and is released, log time."""
    time_s, mmhg = as_rows(log.time_s, log.pressure_mmhg)
    fresh = np.diff(time_s, prepend=-np.inf) > 0
    time_s, mmhg = time_s[fresh], mmhg[fresh]
    deflation = last_deflation(time_s, mmhg)
    if deflation is None or not deflation.released:
        return None
    rest = np.flatnonzero((time_s < deflation.start_s) & (mmhg < REST_MMHG))
    if rest.size == 0:
        return None
    begin = int(rest[-1])
    top = begin + int(np.argmax(mmhg[begin:] >= TOP_SHARE * deflation.trend_mmhg[0]))
    return float(time_s[begin]), float(time_s[top]), deflation.end_s


def _levels(
    samples: NDArray[np.generic], rate_hz: float, span_s: tuple[float, float]
) -> _Levels | None:
    """Levels of the sound around a span of audio time, ``None`` where it holds little of it."""
    first = max(int((span_s[0] - APART_S - BEFORE_S) * rate_hz), 0)
    piece = samples[first : max(int((span_s[1] + 1.0) * rate_hz), first)]
    made = design(rate_hz)
    size = round(FRAME_S * made.sound_rate_hz)
    if piece.size < 2 * FRAME_S * rate_hz:
        return None
    # Singles: their rounding lies far below any noise, and doubles take half as long again.
    raw = as_samples(piece).astype(np.float32)
    raw -= np.float32(piece.mean(dtype=np.float64))
    sound = thinned(made, raw)
    sos = signal.butter(4, ABOVE_HZ, "highpass", fs=made.sound_rate_hz, output="sos")
    count = sound.size // size
    high = signal.sosfilt(sos, sound[: count * size]).reshape(count, size)
    level_db = 10 * np.log10(np.mean(high**2, axis=1) + 1e-20)
    level_db = np.clip(level_db - np.median(level_db), LOWEST_DB, HIGHEST_DB)
    return _Levels(start_s=first / rate_hz, total=np.concatenate([[0.0], np.cumsum(level_db)]))
