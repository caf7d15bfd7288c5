"""Audio to band-limited sound at 1-2 kHz: causal, stateful, cut-independent.

A Korotkoff sound needs less than 400 Hz, so the listener keeps a low-passed
and decimated copy only.  The filters carry their state from push to push, so any
cutting of the stream gives the same bits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapfall.bounds import LARGEST_SAMPLE, LOWEST_RATE_HZ, first_no_sound
from tapfall.ear.rails import Tops, flat_tops, grid_step
from tapfall.errors import AudioError, MisuseError
from tapfall.model import FloatArray

#: Highest rate of the band-limited sound.
HIGHEST_SOUND_RATE_HZ = 2000.0
#: Below this lie pulses that no ear hears (low-frequency waves above systolic and
#: below diastolic: Blank 1988; corner 20-30 Hz of engineering papers, from memory).
HIGH_PASS_HZ = 28.0
#: Samples at or beyond this share of full scale count as clipped (common practice).
CLIP_LEVEL = 0.99
#: From this factor on the rate is cut twice, first by this much: at the high rate a short
#: filter without feedback, worked out where it is kept only, takes a quarter of the time.
#: It runs in float32, whose rounding lies 150 dB down, beyond any recorder.
COARSE_FROM, COARSE_FACTOR = 16, 8
#: Samples that pass the filters with feedback at a time: bounds a big push's working memory.
BLOCK = 1 << 16

#: What brings samples of each type of integers to full scale 1.0.
SCALES: dict[str, float] = {"int16": 1 / 32768, "int32": 1 / 2**31}

Singles = NDArray[np.float32]

_FLOATS = ("float32", "float64")


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
        raise AudioError(f"audio rate is {rate_hz} Hz; allowed 1000 Hz or more")
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
        audio = _coarsened(made, np.concatenate([before, audio.astype(np.float32)]), 0)
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


def _coarsened(made: Design, audio: Singles, skip: int) -> FloatArray:
    """Every ``coarse_factor``-th sample after the taps, from ``skip`` samples on."""
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


def as_samples(samples: Any) -> NDArray[np.generic]:
    """Check one push of audio and return it as a one-dimensional array.

    Parameters
    ----------
    samples
        Shape ``(n,)``; int16, int32, float32 or float64.

    Returns
    -------
    ndarray
        The same samples, not yet scaled.

    Raises
    ------
    MisuseError
        If the shape or the type is another.
    AudioError
        If a sample is not a finite number, or beyond 1e12.

    Examples
    --------
    >>> as_samples([0.0, 0.5]).dtype
    dtype('float64')
    """
    try:
        array = np.asarray(samples)
    except ValueError:
        raise MisuseError("audio has rows of unlike lengths; allowed one dimension") from None
    if array.ndim != 1:
        raise MisuseError(f"audio has shape {array.shape}; allowed one dimension")
    if array.size == 0:
        return np.zeros(0, np.float32)
    if array.dtype.name not in SCALES and array.dtype.name not in _FLOATS:
        raise MisuseError(f"audio has type {array.dtype}; allowed int16, int32, float32, float64")
    if array.dtype.name in _FLOATS:
        # One pass without a mask: a sum is small only if every term is; a large one may be
        # that of many, which the mask then settles.
        with np.errstate(over="ignore", invalid="ignore"):
            total = float(np.dot(array, array))
        if not total <= LARGEST_SAMPLE**2:
            first = first_no_sound(array)
            if first is not None:
                found = array[first]
                allowed = f"at most {LARGEST_SAMPLE:g}" if np.isfinite(found) else "finite numbers"
                raise AudioError(f"audio sample {first} is {found:g}; allowed {allowed}")
    return array


class FrontEnd:
    """Turns pushed audio into sound; the only state is the filters' and counters.

    Parameters
    ----------
    rate_hz
        Audio rate in Hz.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.sin(np.arange(8000) * 0.1).astype(np.float32)
    >>> one, two = FrontEnd(4000.0), FrontEnd(4000.0)
    >>> whole = one.push(x)[0]
    >>> parts = np.concatenate([two.push(x[:777])[0], two.push(x[777:])[0]])
    >>> bool((whole == parts).all()), whole.size
    (True, 4000)
    """

    def __init__(self, rate_hz: float) -> None:
        self.design = design(rate_hz)
        self._before = np.zeros(max(0, self.design.coarse.size - 1), np.float32)
        self._low_carry = np.zeros((self.design.low_pass.shape[0], 2))
        self._high_carry = np.zeros((self.design.high_pass.shape[0], 2))
        self._seen = 0
        self._clipped = False
        self._grid_step = grid_step(rate_hz)
        self._tops = Tops()

    @property
    def samples_seen(self) -> int:
        """Audio samples pushed so far."""
        return self._seen

    def push(self, samples: NDArray[np.generic]) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Filter and decimate checked samples.

        Parameters
        ----------
        samples
            Shape ``(n,)`` as returned by :func:`as_samples`.

        Returns
        -------
        sound, clipped
            The new sound samples and, for each, whether the audio sample it
            was taken from, or one since the last, is clipped; shape ``(m,)``.
        """
        sounds: list[FloatArray] = []
        marks: list[NDArray[np.bool_]] = []
        made = self.design
        factor, step = made.factor, BLOCK * made.coarse_factor
        kind = np.dtype(np.float32 if made.coarse.size else np.float64)
        scale = SCALES.get(samples.dtype.name)
        for start in range(0, samples.size, step):
            block: Singles | FloatArray = samples[start : start + step].astype(kind, copy=False)
            if scale is not None:
                block = block * kind.type(scale)
            skip = -self._seen % factor
            taken = self._filtered(block)
            clipped = np.zeros(taken.size + 1, np.bool_)
            clipped[0] = self._clipped
            # A clipped sample marks the sound sample at or after it, perhaps of the next push.
            for at in self._cut_off(block):
                clipped[np.maximum(at - skip + factor - 1, 0) // factor] = True
            self._clipped = bool(clipped[-1])
            self._seen += block.size
            sounds.append(taken)
            marks.append(clipped[:-1])
        if not sounds:
            return np.zeros(0), np.zeros(0, np.bool_)
        return np.concatenate(sounds), np.concatenate(marks)

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """All that is remembered from push to push, as arrays."""
        tops = self._tops
        return {
            "before": self._before.copy(),
            "low_carry": self._low_carry.copy(),
            "high_carry": self._high_carry.copy(),
            "samples_seen": np.array(self._seen),
            "clipped": np.array(self._clipped),
            "tops": np.array([tops.high, tops.low, tops.step, tops.unseen, *tops.last], np.float64),
        }

    def restore(self, arrays: Mapping[str, Any]) -> None:
        """Take over what :meth:`arrays` of another front end of this rate returned."""
        self._before = np.array(arrays["before"], np.float32)
        self._low_carry = np.array(arrays["low_carry"], np.float64)
        self._high_carry = np.array(arrays["high_carry"], np.float64)
        self._seen = int(arrays["samples_seen"])
        self._clipped = bool(arrays["clipped"])
        high, low, step, unseen, *last = np.array(arrays["tops"], np.float64).tolist()
        self._tops = Tops(
            high=high, low=low, step=step, unseen=int(unseen), last=(last[0], last[1])
        )

    def _cut_off(self, block: Singles | FloatArray) -> Iterator[NDArray[np.intp]]:
        """Indices of samples at full scale, and of those that stay at another level's top."""
        if max(block.max(), -block.min()) >= CLIP_LEVEL:
            yield np.flatnonzero(np.abs(block) >= CLIP_LEVEL)
        first, step = -self._seen % self._grid_step, self._grid_step
        at, self._tops = flat_tops(block[first::step], self._tops)
        if at.size:
            yield first + step * at

    def _filtered(self, block: Singles | FloatArray) -> FloatArray:
        """Low-pass, decimate, high-pass; the filters remember where they are."""
        made, seen = self.design, self._seen
        if made.coarse.size:
            heard = block.astype(np.float32, copy=False)
            skip, carried = -seen % made.coarse_factor, self._before.size
            seam = np.concatenate([self._before, heard[:carried]])
            self._before = np.concatenate([self._before, heard[-carried:]])[-carried:]
            # Without a copy of the whole: what reaches back, then what the push holds itself.
            first = _coarsened(made, seam, skip)
            skip += first.size * made.coarse_factor - carried
            block = np.concatenate([first, _coarsened(made, heard, skip)])
            seen = -(-seen // made.coarse_factor)
        if self._low_carry.size and block.size:
            block, self._low_carry = signal.sosfilt(made.low_pass, block, zi=self._low_carry)
        step = made.factor // made.coarse_factor
        kept = block[-seen % step :: step]
        if kept.size == 0:
            return np.zeros(0)
        sound, self._high_carry = signal.sosfilt(made.high_pass, kept, zi=self._high_carry)
        return np.asarray(sound)
