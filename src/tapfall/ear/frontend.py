"""Audio to band-limited sound at 1-2 kHz: causal, stateful, cut-independent.

A Korotkoff sound needs less than 400 Hz, so the listener keeps a low-passed
and decimated copy only.  The filters carry their state from push to push, so any
cutting of the stream gives the same bits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapfall.bounds import LARGEST_SAMPLE, first_no_sound
from tapfall.ear.filters import coarsened, design
from tapfall.ear.rails import Tops, flat_tops, grid_step
from tapfall.errors import AudioError, MisuseError
from tapfall.model import FloatArray, Singles

#: Samples at or beyond this share of full scale count as clipped (common practice).
CLIP_LEVEL = 0.99
#: Samples that pass the filters with feedback at a time: bounds a big push's working memory.
BLOCK = 1 << 16
#: Small pushes wait for each other, for so long at most: to call the filters costs a hundred times
#: what they do with 10 ms of sound (our choice: several looks).
WAIT_S = 1.0

#: What brings samples of each type of integers to full scale 1.0.
SCALES: dict[str, float] = {"int16": 1 / 32768, "int32": 1 / 2**31}

_FLOATS = ("float32", "float64")


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
        self._waiting: list[NDArray[np.generic]] = []
        self._waiting_count = 0
        self._most_waiting = WAIT_S * rate_hz
        self._clipped = False
        self._grid_step = grid_step(rate_hz)
        self._tops = Tops()

    @property
    def samples_seen(self) -> int:
        """Audio samples pushed so far, those that wait among them."""
        return self._seen + self._waiting_count

    def wait(self, samples: NDArray[np.generic]) -> bool:
        """Keep a copy of checked samples for the next push.

        Parameters
        ----------
        samples
            Shape ``(n,)`` as returned by :func:`as_samples`, of the type of those that wait.

        Returns
        -------
        bool
            False where they would be too many: they are not kept, and to be pushed now.

        Examples
        --------
        >>> front = FrontEnd(4000.0)
        >>> front.wait(np.zeros(40)), front.samples_seen, front.push(np.zeros(0))[0].size
        (True, 40, 20)
        """
        if self._waiting_count + samples.size > self._most_waiting:
            return False
        self._waiting.append(samples.copy())
        self._waiting_count += samples.size
        return True

    def push(self, samples: NDArray[np.generic]) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Filter and decimate checked samples, after those that wait.

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
        if self._waiting:
            if samples.size:
                self._waiting.append(samples)
            samples = np.concatenate(self._waiting)
            self._waiting, self._waiting_count = [], 0
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
        """All that is remembered from push to push, as arrays, while nothing waits."""
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
            first = coarsened(made, seam, skip)
            skip += first.size * made.coarse_factor - carried
            block = np.concatenate([first, coarsened(made, heard, skip)])
            seen = -(-seen // made.coarse_factor)
        if self._low_carry.size and block.size:
            block, self._low_carry = signal.sosfilt(made.low_pass, block, zi=self._low_carry)
        step = made.factor // made.coarse_factor
        kept = block[-seen % step :: step]
        if kept.size == 0:
            return np.zeros(0)
        sound, self._high_carry = signal.sosfilt(made.high_pass, kept, zi=self._high_carry)
        return np.asarray(sound)
