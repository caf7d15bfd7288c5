"""Raw sound as a stream of bytes: whole frames in, samples and cuff pressures out.

A frame is one value, or two where the cuff pressure comes with the sound.  The pressure
is then averaged over blocks as :func:`tapfall.files.load` averages a pressure channel,
to 200 Hz or less; the time of a mean is the middle of its block.  What comes before a
fault is handed over before the fault is raised.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.bounds import HIGHEST_MMHG, LARGEST_SAMPLE, LOWEST_MMHG, first_no_sound
from tapfall.errors import AudioError, CuffLogError, InputError
from tapfall.files.audio import PRESSURE_RATE_HZ
from tapfall.model import FloatArray

#: Forms of raw samples: little-endian type, and what full scale is.
FORMS: dict[str, tuple[str, float]] = {"s16le": ("<i2", 32768.0), "f32le": ("<f4", 1.0)}

_NONE: FloatArray = np.zeros(0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """What came next: samples, and rows of the cuff log, either of which may be empty.

    ``samples`` has shape ``(n,)``, ``time_s`` and ``pressure_mmhg`` have shape ``(k,)``.
    """

    samples: NDArray[np.generic]
    time_s: FloatArray
    pressure_mmhg: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CuffScale:
    """Which value of a frame, 1 or 2, is the cuff pressure, and what it means.

    ``scale_mmhg`` is mmHg per full scale, ``offset_mmhg`` the pressure at a value of 0.
    """

    channel: int
    scale_mmhg: float
    offset_mmhg: float = 0.0


class Frames:
    """Turns bytes into samples, however the bytes are cut.

    Parameters
    ----------
    form
        A key of :data:`FORMS`.
    rate_hz
        Frames per second.
    cuff
        The cuff pressure in the frames; without it a frame is one value.

    Examples
    --------
    >>> frames = Frames("s16le", 4000.0)
    >>> frames.take(bytes([0, 64, 0])).samples, frames.take(bytes([192])).samples
    (array([16384], dtype=int16), array([-16384], dtype=int16))
    """

    def __init__(self, form: str, rate_hz: float, cuff: CuffScale | None = None) -> None:
        name, self._full_scale = FORMS[form]
        self._dtype = np.dtype(name)
        self._rate_hz, self._cuff = rate_hz, cuff
        self._width = 1 if cuff is None else 2
        self._block = int(-(-rate_hz // PRESSURE_RATE_HZ))
        self._rest = b""
        self._pressures = _NONE
        self._fault: InputError | None = None
        self.samples = 0

    @property
    def frame_bytes(self) -> int:
        """Bytes of a frame."""
        return self._dtype.itemsize * self._width

    @property
    def bytes_over(self) -> int:
        """Bytes of a frame that has not come whole."""
        return len(self._rest)

    def check(self) -> None:
        """Raise where a fault has come: what was handed over ends before it.

        Raises
        ------
        AudioError
            A sample is not finite, or beyond what sound can be.
        CuffLogError
            A pressure is not finite or lies outside -20 to 400 mmHg.
        """
        if self._fault is not None:
            raise self._fault

    def take(self, data: bytes) -> Piece:
        """Return what the next bytes complete; a fault ends it, and :meth:`check` raises that."""
        held = b"" if self._fault is not None else self._rest + data
        whole = len(held) - len(held) % self.frame_bytes
        self._rest = held[whole:]
        values = np.frombuffer(held[:whole], self._dtype).reshape(-1, self._width)
        values = values.astype(self._dtype.newbyteorder("="), copy=False)
        sound = values[:, 0 if self._cuff is None or self._cuff.channel == 2 else 1]
        first = first_no_sound(sound)
        if first is not None:
            found = sound[first]
            allowed = f"at most {LARGEST_SAMPLE:g}" if np.isfinite(found) else "finite samples"
            self._fault = AudioError(
                f"standard input: found {found:g} at sample {self.samples + first + 1}; "
                f"allowed {allowed} (see the rate and the format)"
            )
            values, sound = values[:first], sound[:first]
        self.samples += len(sound)
        times, pressures = _NONE, _NONE
        if self._cuff is not None:
            with np.errstate(invalid="ignore"):  # told with its time below
                raw = (values[:, self._cuff.channel - 1] / self._full_scale).astype(np.float64)
            self._pressures = np.concatenate([self._pressures, raw])
            times, pressures = self._means(len(self._pressures) // self._block * self._block)
        return Piece(samples=np.ascontiguousarray(sound), time_s=times, pressure_mmhg=pressures)

    def end(self) -> Piece:
        """Return the mean of the last pressures, fewer than a block."""
        times, pressures = self._means(len(self._pressures))
        return Piece(
            samples=np.zeros(0, self._dtype.newbyteorder("=")),
            time_s=times,
            pressure_mmhg=pressures,
        )

    def _means(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Means of the first pressures kept, and their times; the pressures are dropped."""
        if self._cuff is None or count == 0:
            return _NONE, _NONE
        first = self.samples - len(self._pressures)
        edges = np.arange(0, count, self._block)
        ends = np.append(edges[1:], count)
        sums = np.add.reduceat(self._pressures[:count], edges)
        self._pressures = self._pressures[count:]
        times = (2 * first + edges + ends - 1) / (2.0 * self._rate_hz)
        with np.errstate(over="ignore", invalid="ignore"):
            mmhg = sums / (ends - edges) * self._cuff.scale_mmhg + self._cuff.offset_mmhg
        bad = np.flatnonzero(~((mmhg >= LOWEST_MMHG) & (mmhg <= HIGHEST_MMHG)))
        if bad.size:
            first_bad = int(bad[0])
            self._fault = CuffLogError(
                f"standard input: found {mmhg[first_bad]:g} mmHg at {times[first_bad]:.3f} s; "
                f"allowed {LOWEST_MMHG:g} to {HIGHEST_MMHG:g} mmHg (see the scale and the offset)"
            )
            return times[:first_bad], mmhg[:first_bad]
        return times, mmhg
