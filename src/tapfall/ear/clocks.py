"""Stories put to the rules on the clock of expected beats, and how sure that clock is.

An ectopic beat is told by its interval, and the interval by two times that are some
milliseconds off.  Of an irregular heart many intervals lie near the bound, and one beat
more or less on the clock can move a threshold by several beats.  Nor is every beat sure
that the log does not show: in a pause of a fibrillating heart there may be none.  So the
stories are shared among clocks drawn from those errors and doubts: where the clocks agree
nothing changes, where they do not the thresholds spread as far as they should.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import numpy as np

from tapfall.ear.rules import Ruled, apply_rules, expected_beats
from tapfall.model import FloatArray

#: Clocks that the stories are shared among (our choice).
CLOCKS = 16
#: Error of a pulse's time beside that of its log, and of the time of a sound, seconds
#: (measured on development seeds).
PULSE_ERROR_S, SOUND_ERROR_S = 0.005, 0.010


@lru_cache(maxsize=8)
def _scatter(count: int) -> FloatArray:
    """Fixed numbers, so that equal recordings give equal readings."""
    return np.random.Generator(np.random.PCG64(21)).standard_normal((CLOCKS, count))


@lru_cache(maxsize=8)
def _places(count: int) -> FloatArray:
    """For each beat the clocks in an order of its own, evenly between 0 and 1."""
    order = np.random.Generator(np.random.PCG64(22)).random((CLOCKS, count)).argsort(axis=0)
    return np.asarray((order + 0.5) / CLOCKS)


def clocks(time_s: FloatArray, error_s: float, real: FloatArray | None = None) -> np.ndarray:
    """Which beats each of the likely clocks expects.

    Parameters
    ----------
    time_s
        Beats in order of time, shape ``(n,)``.
    error_s
        How far off each time is, as a standard deviation.
    real
        How likely each beat was one, shape ``(n,)``; all surely without it.

    Returns
    -------
    ndarray of bool
        Shape ``(CLOCKS, n)``; all rows are alike where the rhythm is regular.

    Examples
    --------
    >>> clocks(np.arange(0.0, 24.0, 0.8), 0.007).all()
    np.True_
    """
    times = time_s + error_s * _scatter(time_s.size)
    there = _places(time_s.size) < (1.0 if real is None else real)
    if there.all():
        return expected_beats(times)
    expected = np.zeros(there.shape, bool)
    for row, one, kept in zip(expected, times, there, strict=True):
        row[kept] = expected_beats(one[kept])
    return expected


def apply_to_clocks(paths: np.ndarray, cuff_mmhg: FloatArray, expected: np.ndarray) -> Ruled:
    """Put each story to the rules on the clock that it fell to.

    Parameters
    ----------
    paths
        Which beats sound in each story, shape ``(m, n)``.
    cuff_mmhg
        Cuff pressure at each beat, shape ``(n,)``.
    expected
        What each clock expects, shape ``(k, n)``.

    Returns
    -------
    Ruled
        Indices into the ``n`` beats.
    """
    if (expected == expected[0]).all():
        return _on(np.flatnonzero(expected[0]), paths, cuff_mmhg)
    count = expected.shape[0]
    parts = [_on(np.flatnonzero(one), paths[k::count], cuff_mmhg) for k, one in enumerate(expected)]
    merged = {}
    for field in dataclasses.fields(Ruled):
        values = np.empty(paths.shape[0], getattr(parts[0], field.name).dtype)
        for k, part in enumerate(parts):
            values[k::count] = getattr(part, field.name)
        merged[field.name] = values
    return Ruled(**merged)


def _on(beats: np.ndarray, paths: np.ndarray, cuff_mmhg: FloatArray) -> Ruled:
    """The rules on some of the beats; indices into all of them."""
    ruled = apply_rules(paths[:, beats], cuff_mmhg[beats])
    if beats.size == cuff_mmhg.size:
        return ruled

    def among_all(index: np.ndarray) -> np.ndarray:
        return np.where(index < 0, -1, beats[np.maximum(index, 0)])

    return dataclasses.replace(
        ruled,
        first=among_all(ruled.first),
        last=among_all(ruled.last),
        gap_upper=among_all(ruled.gap_upper),
        gap_lower=among_all(ruled.gap_lower),
    )
