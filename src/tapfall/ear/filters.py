"""The filters of the front end, designed once for each audio rate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import signal

from tapfall.bounds import LOWEST_RATE_HZ
from tapfall.errors import AudioError
from tapfall.model import FloatArray, Singles

#: Highest rate of the band-limited sound.
HIGHEST_SOUND_RATE_HZ = 2000.0
#: Below this lie pulses that no ear hears (low-frequency waves above systolic and
#: below diastolic: Blank 1988; corner 20-30 Hz of engineering papers, from memory).
HIGH_PASS_HZ = 28.0
#: From this factor on the rate is cut twice, first by this much: at the high rate a short
#: filter without feedback, worked out where it is kept only, takes a quarter of the time.
#: It runs in float32, whose rounding lies 150 dB down, beyond any recorder.
COARSE_FROM, COARSE_FACTOR = 16, 8


def sound_factor(rate_hz: float) -> int:
    """How many audio samples make one sound sample.

    Parameters
    ----------
    rate_hz
        Audio rate in Hz.

    Returns
    -------
    int
        The smallest factor that brings the rate to at most 2 kHz; of high rates one
        that can be divided by 8.

    Examples
    --------
    >>> sound_factor(44100.0), sound_factor(4000.0), sound_factor(1000.0)
    (24, 2, 1)
    """
    factor = max(1, math.ceil(rate_hz / HIGHEST_SOUND_RATE_HZ))
    if factor < COARSE_FROM:
        return factor
    return math.ceil(factor / COARSE_FACTOR) * COARSE_FACTOR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """Filters of the front end for one audio rate, designed once.

    Every ``coarse_factor``-th sample after the taps ``coarse``, if any, goes into
    ``low_pass``, and of those that come out one is kept for every ``factor`` samples of audio.
    """

    factor: int
    sound_rate_hz: float
    coarse_factor: int
    coarse: Singles
    low_pass: FloatArray
    high_pass: FloatArray
    delay_s: float


def design(rate_hz: float) -> Design:
    """Design the front end for an audio rate.

    Where the rate is cut, an elliptic low-pass (0.1 dB ripple, 80 dB stop) keeps
    what would fold back out of the band below 0.4 of the sound's rate, of high rates
    in two steps; a high-pass then takes out offset, knocks and inaudible pulses, at
    the lower rate, where it costs less.

    Parameters
    ----------
    rate_hz
        Audio rate in Hz, at least 1000.

    Returns
    -------
    Design
        Taps and sections of the filters, shapes ``(k,)`` and ``(k, 6)`` (none where
        the rate is kept), the sound's rate, and the filters' group delay at 110 Hz in seconds.

    Raises
    ------
    AudioError
        If the rate is not a finite number of at least 1000 Hz.

    Examples
    --------
    >>> design(4000.0).sound_rate_hz
    2000.0
    """
    number = isinstance(rate_hz, int | float | np.number) and not isinstance(rate_hz, bool)
    if not (number and math.isfinite(rate_hz) and rate_hz >= LOWEST_RATE_HZ):
        raise AudioError(f"audio rate is {rate_hz!r} Hz; allowed 1000 Hz or more")
    return _designed(float(rate_hz))


@lru_cache(maxsize=16)
def _designed(rate_hz: float) -> Design:
    factor = sound_factor(rate_hz)
    sound_rate_hz = rate_hz / factor
    high_pass = signal.butter(6, HIGH_PASS_HZ, "highpass", fs=sound_rate_hz, output="sos")
    coarse, coarse_factor, low_pass = np.zeros(0, np.float32), 1, np.zeros((0, 6))
    if factor >= COARSE_FROM:
        coarse_factor = COARSE_FACTOR
        coarse = _short_low_pass(rate_hz, 0.4 * sound_rate_hz)
    middle_hz = rate_hz / coarse_factor
    if factor > 1:
        low_pass = signal.ellip(8, 0.1, 80, 0.4 * sound_rate_hz, fs=middle_hz, output="sos")
    return Design(
        factor=factor,
        sound_rate_hz=sound_rate_hz,
        coarse_factor=coarse_factor,
        coarse=coarse,
        low_pass=np.asarray(low_pass),
        high_pass=np.asarray(high_pass),
        delay_s=max(0, coarse.size - 1) / (2 * rate_hz)
        + _delay_s(low_pass, middle_hz)
        + _delay_s(high_pass, sound_rate_hz),
    )


def thinned(made: Design, audio: FloatArray | Singles) -> FloatArray:
    """Cut the rate of a whole recording as :class:`FrontEnd` does, without its high-pass.

    Parameters
    ----------
    made
        Filters for the audio's rate.
    audio
        Shape ``(n,)``.

    Returns
    -------
    ndarray
        One sample for every ``made.factor``.

    Examples
    --------
    >>> thinned(design(44100.0), np.zeros(4800)).size
    200
    """
    if made.coarse.size:
        before = np.zeros(made.coarse.size - 1, np.float32)
        audio = coarsened(made, np.concatenate([before, audio.astype(np.float32)]), 0)
    if made.low_pass.size:
        audio = signal.sosfilt(made.low_pass, audio)[:: made.factor // made.coarse_factor]
    return np.asarray(audio, np.float64)


def _short_low_pass(rate_hz: float, edge_hz: float) -> Singles:
    """Taps that keep what would fold below an edge 80 dB down; symmetric."""
    middle_hz = rate_hz / COARSE_FACTOR
    width = (middle_hz - 2 * edge_hz) / (rate_hz / 2)
    count, beta = signal.kaiserord(80.0, width)
    taps = signal.firwin(count, middle_hz / 2, window=("kaiser", beta), fs=rate_hz)
    return np.asarray(taps, np.float32)


def coarsened(made: Design, audio: Singles, skip: int) -> FloatArray:
    """Every ``coarse_factor``-th sample after the taps, from ``skip`` samples on.

    Examples
    --------
    >>> made = design(44100.0)
    >>> coarsened(made, np.ones(made.coarse.size + 8, np.float32), 0).round(3).tolist()
    [1.0, 1.0]
    """
    if audio.size < made.coarse.size + skip:
        return np.zeros(0)
    windows = np.lib.stride_tricks.sliding_window_view(audio, made.coarse.size)
    # Sums of einsum, unlike those of a matrix product, do not depend on the number of rows.
    kept: Singles = np.einsum("ij,j->i", windows[skip :: made.coarse_factor], made.coarse)
    return kept.astype(np.float64)


def _delay_s(sos: FloatArray, rate_hz: float) -> float:
    """Group delay of a filter at 110 Hz."""
    if sos.shape[0] == 0:
        return 0.0
    probe_hz = np.array([108.0, 112.0])
    response = signal.sosfreqz(sos, worN=probe_hz, fs=rate_hz)[1]
    turn = float(np.angle(response[1] / response[0]))
    return -turn / (2 * math.pi * float(probe_hz[1] - probe_hz[0]))
