"""Where a device's spectrum begins and ends."""

from __future__ import annotations

import numpy as np
from scipy import signal

from tapfall.model import FloatArray

#: Length of the spectrum's frames; its lines are the inverse apart.
FRAME_S = 0.25
#: Lines of hum are narrow in frames as long as this: most lines of a sixth of an octave lie
#: beside them.
LONG_FRAME_S = 2.0
#: Points of the smoothed spectrum per octave, each of a sixth of an octave.
PER_OCTAVE = 12
#: The floor is looked for in this part of the spectrum, over half the rate, above ...
FLOOR_SHARES = (0.75, 0.92)
#: ... and the spectrum ends where it comes this close to it (our choice), ...
NEAR_FLOOR_DB = 6.0
#: ... or lies so far below its strongest part: hardly any sound is left (our choice; 1 of 110
#: simulated recordings has fallen by as much at 250 Hz).
WEAK_DB = 25.0
#: A floor is flat: what slopes more, dB per octave, goes on falling (pink noise falls by 3).
FLAT_DB_PER_OCTAVE = 1.5
#: Sounds and the quiet between them do not both fall by so much within an octave, from here on:
#: a filter does (tuned on 110 simulated recordings: at most 12.3 dB without one, at least 18 with
#: one of fourth order at 40-150 Hz; one of second order, from 11 dB on, is left untold).
CUT_DB, CUT_FROM_HZ = 17.0, 36.0
#: The quiet: the power below which so many of the frames lie (our choice; heart sounds fill
#: more than half of them).
QUIET_SHARE = 0.25
#: Below so much under what lies above it, the low end is cut off: steady noise, and the loud
#: parts (our choice; rooms, breath and heart have more at the low end).
CUT_NOISE_DB, CUT_LOUD_DB = 15.0, 25.0


def find_edges(
    samples: FloatArray, rate_hz: float
) -> tuple[float | None, float | None, float | None]:
    """Find where the spectrum begins, ends, and whether it was cut.

    Parameters
    ----------
    samples
        Sound without offset, shape ``(n,)``.
    rate_hz
        Its rate.

    Returns
    -------
    lower_hz, upper_hz, cut_hz
        0 where the low end is whole; half the rate where the spectrum does not end before;
        ``cut_hz``, where the fall begins, only if it is as steep as a filter's.  ``None`` where
        the sound is too short, constant, or the spectrum so flat that it shows no end.

    Examples
    --------
    >>> noise = np.random.default_rng(2).standard_normal(40_000)
    >>> sos = signal.butter(12, 500.0, fs=4000.0, output="sos")
    >>> low, up, cut = find_edges(signal.sosfilt(sos, noise), 4000.0)
    >>> low, 450 < cut < up < 700
    (0.0, True)
    """
    size = round(FRAME_S * rate_hz)
    if samples.size < 4 * size or float(np.ptp(samples)) == 0.0:
        return None, None, None
    line_hz, power = _frames(samples, rate_hz, size)
    spots_hz = _spots(rate_hz)
    loud_db = _smooth_db(line_hz, power.mean(axis=1), spots_hz)
    quiet, steady = np.quantile(power, [QUIET_SHARE, 0.5], axis=1)
    quiet_db, steady_db = (_smooth_db(line_hz, one, spots_hz) for one in (quiet, steady))
    size = min(round(LONG_FRAME_S * rate_hz), samples.size // 4)
    line_hz, power = _frames(samples, rate_hz, size)
    unhummed_db = _median_db(line_hz, power.mean(axis=1), spots_hz)
    upper_hz = _floor_edge(spots_hz, loud_db, steady_db, rate_hz / 2)
    lower_hz = _lower_edge(spots_hz, loud_db, steady_db, upper_hz or rate_hz / 2)
    if upper_hz is not None:
        upper_hz = min(upper_hz, _weak_edge(spots_hz, unhummed_db, rate_hz / 2))
    return lower_hz, upper_hz, _cut(spots_hz, unhummed_db, quiet_db, rate_hz / 2)


def _frames(samples: FloatArray, rate_hz: float, size: int) -> tuple[FloatArray, FloatArray]:
    """Frequencies of lines, shape ``(k,)``, and their power in each frame, ``(k, frames)``."""
    line_hz, _, power = signal.spectrogram(
        samples, rate_hz, window="hann", nperseg=size, noverlap=size // 2, detrend=False
    )
    return line_hz, power


def _spots(rate_hz: float) -> FloatArray:
    """Frequencies of the smoothed spectrum, from 25 Hz to close under half the rate."""
    low, high = 25.0, FLOOR_SHARES[1] * rate_hz / 2
    count = int(PER_OCTAVE * np.log2(high / low)) + 1
    return np.asarray(low * 2.0 ** (np.arange(count) / PER_OCTAVE))


def _smooth_db(line_hz: FloatArray, power: FloatArray, spots_hz: FloatArray) -> FloatArray:
    """Mean power around each spot, dB; between lines that lie far apart, from line to line."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    step_hz = float(line_hz[1])

    def below(edge_hz: FloatArray) -> FloatArray:
        return np.asarray(np.interp(edge_hz / step_hz + 0.5, np.arange(total.size), total))

    half = np.maximum(spots_hz * (2.0 ** (1 / PER_OCTAVE) - 1), 0.5 * step_hz)
    mean = (below(spots_hz + half) - below(spots_hz - half)) / (2 * half / step_hz)
    return np.asarray(10 * np.log10(np.maximum(mean, 1e-30)))


def _median_db(line_hz: FloatArray, power: FloatArray, spots_hz: FloatArray) -> FloatArray:
    """Median of the lines around each spot, dB: single lines that stand out do not count."""
    side = 2.0 ** (1 / PER_OCTAVE)
    first = np.searchsorted(line_hz, spots_hz / side)
    last = np.maximum(np.searchsorted(line_hz, spots_hz * side), first + 1)
    middle = [float(np.median(power[i:j])) for i, j in zip(first, last, strict=True)]
    return np.asarray(10 * np.log10(np.maximum(middle, 1e-30)))


def _floor_edge(
    spots_hz: FloatArray, loud_db: FloatArray, steady_db: FloatArray, half_rate_hz: float
) -> float | None:
    """Where the spectrum falls into a floor."""
    top = spots_hz >= FLOOR_SHARES[0] * half_rate_hz
    floor_db = float(np.median(loud_db[top]))
    # What comes and goes is sound, also where it is as even as a floor.
    passing = loud_db > steady_db + NEAR_FLOOR_DB
    above = np.flatnonzero((loud_db > floor_db + NEAR_FLOOR_DB) | passing)
    if above.size == 0:
        # White noise at the level of its own floor: no end, no floor can be told.
        return None
    last = int(above[-1])
    edge_hz = float(spots_hz[last])
    octaves, level_db = np.log2(spots_hz[last + 1 :]), loud_db[last + 1 :]
    if edge_hz >= FLOOR_SHARES[0] * half_rate_hz or octaves.size < 3:
        return half_rate_hz
    # The first spots still belong to the fall; what counts is how the rest goes on.
    rest = octaves.size // 3
    slope = float(np.polyfit(octaves[rest:], level_db[rest:], 1)[0])
    return half_rate_hz if slope < -FLAT_DB_PER_OCTAVE else float(round(edge_hz))


def _weak_edge(spots_hz: FloatArray, level_db: FloatArray, half_rate_hz: float) -> float:
    """The last frequency at which the spectrum is not far below its strongest part."""
    last = int(np.flatnonzero(level_db >= level_db.max() - WEAK_DB)[-1])
    edge_hz = float(spots_hz[last])
    # Every converter filters the last of it.
    return half_rate_hz if edge_hz >= FLOOR_SHARES[0] * half_rate_hz else float(round(edge_hz))


def _cut(
    spots_hz: FloatArray, level_db: FloatArray, quiet_db: FloatArray, half_rate_hz: float
) -> float | None:
    """Where a low-pass filter begins, if the spectrum falls as steeply as only that makes it."""
    last = int(np.searchsorted(spots_hz, FLOOR_SHARES[0] * half_rate_hz)) - 1
    spot = np.arange(int(np.searchsorted(spots_hz, CUT_FROM_HZ)), last)
    ahead = np.minimum(spot + PER_OCTAVE, last)
    falls_db = np.minimum(level_db[spot] - level_db[ahead], quiet_db[spot] - quiet_db[ahead])
    steep = np.flatnonzero(falls_db >= CUT_DB)
    if steep.size == 0:
        return None
    # An octave that falls so much may begin before the corner: from there on the spectrum falls
    # at least half as steeply as it does further up.
    begin = int(steep[0])
    octaves = (ahead - spot) / PER_OCTAVE
    slope = float((falls_db / octaves)[begin : begin + PER_OCTAVE].max())
    quarter = PER_OCTAVE // 4
    mean_db = (level_db + quiet_db) / 2
    falling = mean_db[:-quarter] - mean_db[quarter:] > 0.5 * slope * quarter / PER_OCTAVE
    corner = int(spot[begin]) + int(np.argmax(falling[int(spot[begin]) :])) + quarter // 2
    return float(round(float(spots_hz[corner])))


def _lower_edge(
    spots_hz: FloatArray, loud_db: FloatArray, steady_db: FloatArray, upper_hz: float
) -> float:
    """From where on the spectrum is whole; 0 where it is so from 25 Hz."""
    edges = [0.0]
    # Hidden from this rule: what lies beyond the sounds.
    inside = spots_hz <= min(upper_hz, 1000.0)
    for level_db, cut_db in ((steady_db, CUT_NOISE_DB), (loud_db, CUT_LOUD_DB)):
        seen_db = level_db[inside]
        beyond_db = np.maximum.accumulate(seen_db[::-1])[::-1]
        missing = np.flatnonzero(seen_db < beyond_db - cut_db)
        whole = missing.size == 0 or missing[0] != 0
        edges.append(0.0 if whole else float(spots_hz[_first_end(missing) + 1]))
    return float(round(max(edges)))


def _first_end(places: np.ndarray) -> int:
    """Last of the places that follow each other from the first on."""
    apart = np.flatnonzero(np.diff(places) > 1)
    return int(places[apart[0]] if apart.size else places[-1])
