"""When the heart beats, and how the breath goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray
from tapfall.synth.scenario import Person
from tapfall.synth.streams import stream

#: Shortest interval that a simulated heart produces, in seconds (our choice).
SHORTEST_S = 0.28


@dataclass(frozen=True, slots=True, kw_only=True)
class Breath:
    """A breath that rises and falls: ``at(t)`` is 1 at its top, -1 at its bottom."""

    rate_hz: float
    phase_rad: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the breath at times in seconds, shape as given, -1 to 1."""
        return np.sin(2 * np.pi * self.rate_hz * time_s + self.phase_rad)


def breath_of(person: Person, seed: int) -> Breath:
    """Return the person's breath for a seed."""
    phase = float(stream(seed, "breath").uniform(0, 2 * np.pi))
    return Breath(rate_hz=person.breath_per_min / 60, phase_rad=phase)


def local_median(interval_s: FloatArray) -> FloatArray:
    """Median of the eight intervals around each one, itself left out.

    Parameters
    ----------
    interval_s
        Intervals in seconds, shape ``(n,)``.

    Returns
    -------
    ndarray
        Medians in seconds, shape ``(n,)``.

    Examples
    --------
    >>> local_median(np.array([1.0, 1.0, 1.0, 0.5, 1.5, 1.0, 1.0])).tolist()
    [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0]
    """
    padded = np.concatenate([np.full(4, np.nan), interval_s, np.full(4, np.nan)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, 9)
    around = np.delete(windows, 4, axis=1)
    medians: FloatArray = np.nanmedian(around, axis=1)
    return medians


def _slow(rng: np.random.Generator, n: int) -> FloatArray:
    """Slow wandering of unit variance: first-order with memory of about ten beats."""
    keep = 0.9
    out = np.empty(n)
    value = float(rng.standard_normal())
    steps = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    for i in range(n):
        value = keep * value + float(steps[i])
        out[i] = value
    return out


def _intervals(person: Person, breath: Breath, n: int, rng: np.random.Generator) -> FloatArray:
    mean_s = 60 / person.heart_rate_per_min
    slow = _slow(rng, n)
    raw = rng.standard_normal(n)
    if person.rhythm == "series":
        series = np.asarray(person.intervals_s, dtype=np.float64)
        return np.resize(series, n)
    if person.rhythm == "atrial_fibrillation":
        sd = np.sqrt(np.log1p(person.fibrillation_share**2))
        drawn: FloatArray = mean_s * np.exp(sd * raw - sd**2 / 2)
        return drawn
    about_s = np.arange(n, dtype=np.float64) * mean_s
    share = person.interval_breath_share * breath.at(about_s)
    interval_s = mean_s * (1 + share + person.interval_sd_share * slow)
    early = np.zeros(n, dtype=bool)
    if person.rhythm == "bigeminy":
        early[1::2] = True
    elif person.rhythm == "ectopics":
        early = rng.random(n) < person.ectopics_per_min / person.heart_rate_per_min
        early[1:] &= ~early[:-1]
    coupling = person.ectopic_coupling + 0.02 * rng.standard_normal(n)
    after, pair = np.roll(early, 1), person.ectopic_pair_share
    after[0] = False
    interval_s = np.where(after, interval_s * (pair - np.roll(coupling, 1)), interval_s)
    return np.where(early, interval_s * coupling, interval_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beats:
    """Feet of the arterial pulse and the interval before each, seconds, shape ``(n,)``."""

    foot_s: FloatArray
    before_s: FloatArray
    median_s: FloatArray

    @property
    def expected(self) -> NDArray[np.bool_]:
        """False for an ectopic beat: interval below 80 % of the local median."""
        return self.before_s >= 0.8 * self.median_s


def beats_of(person: Person, breath: Breath, duration_s: float, seed: int) -> Beats:
    """Return the beats from shortly before the recording to shortly after it.

    Parameters
    ----------
    person
        Whose heart.
    breath
        The person's breath.
    duration_s
        Length of the recording in seconds.
    seed
        The scenario's seed.

    Returns
    -------
    Beats
        Feet in audio time, from about -2 s to ``duration_s + 2``.

    Examples
    --------
    >>> person = Person(heart_rate_per_min=60.0)
    >>> beats = beats_of(person, breath_of(person, 1), 30.0, 1)
    >>> bool(abs(beats.before_s.mean() - 1.0) < 0.05)
    True
    """
    rng = stream(seed, "beats")
    mean_s = 60 / person.heart_rate_per_min
    if person.intervals_s:
        mean_s = float(np.mean(person.intervals_s))
    start_s = -2.0 - float(rng.uniform(0, mean_s))
    n = int((duration_s + 6) / mean_s * 1.3) + 12
    before_s = np.maximum(_intervals(person, breath, n, rng), SHORTEST_S)
    foot_s = start_s + np.cumsum(before_s)
    median_s = local_median(before_s)
    keep = foot_s < duration_s + 2
    return Beats(foot_s=foot_s[keep], before_s=before_s[keep], median_s=median_s[keep])
