"""The two panels of sound: waveform and spectrogram on one time axis."""

from __future__ import annotations

from dataclasses import dataclass

import librosa
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from tapfall.model import FloatArray, Recording
from tapfall.show import look

#: The spectrogram's upper edge: Korotkoff sounds hold little above it.
TOP_HZ = 500.0
#: Columns drawn at most: about two for each dot of the figure's width.
COLUMNS = 1600
#: Levels shown below the loudest parts, in dB (our choice).
RANGE_DB = 48.0
_WORK_HZ = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Envelope:
    """Least and greatest sample of each column; shapes ``(n,)``."""

    time_s: FloatArray
    low: FloatArray
    high: FloatArray


def scaled(samples: NDArray[np.generic]) -> NDArray[np.float32]:
    """Return samples with full scale 1.0; integers are scaled by their type.

    Examples
    --------
    >>> scaled(np.array([-32768, 16384], dtype=np.int16))
    array([-1. ,  0.5], dtype=float32)
    """
    if samples.dtype.kind == "i":
        full = 2.0 ** (8 * samples.dtype.itemsize - 1)
        return np.asarray(samples.astype(np.float64) / full, dtype=np.float32)
    return np.asarray(samples, dtype=np.float32)


def envelope(
    samples: NDArray[np.float32], rate_hz: float, start_s: float, columns: int = COLUMNS
) -> Envelope:
    """Reduce a waveform to the least and greatest sample of each column.

    Parameters
    ----------
    samples
        Sound, shape ``(n,)``.
    rate_hz
        Sampling rate.
    start_s
        Time of the first sample.
    columns
        Columns at most.

    Examples
    --------
    >>> found = envelope(np.array([0, 1, -2, 0], dtype=np.float32), 4.0, 10.0, columns=2)
    >>> found.low.tolist(), found.high.tolist(), found.time_s.tolist()
    ([0.0, -2.0], [1.0, 0.0], [10.0, 10.5])
    """
    count = min(columns, samples.size)
    if not count:
        empty = np.zeros(0)
        return Envelope(time_s=empty, low=empty, high=empty)
    first = (np.arange(count) * samples.size) // count
    return Envelope(
        time_s=start_s + first / rate_hz,
        low=np.minimum.reduceat(samples, first).astype(np.float64),
        high=np.maximum.reduceat(samples, first).astype(np.float64),
    )


def levels_db(samples: NDArray[np.float32], rate_hz: float) -> tuple[FloatArray, float]:
    """Spectrogram up to 500 Hz.

    Parameters
    ----------
    samples
        Sound, shape ``(n,)``.
    rate_hz
        Sampling rate; sound far above 1 kHz is resampled first.

    Returns
    -------
    levels : ndarray, shape (bins, columns)
        Level in dB below the loud parts (99.8th percentile), 0 to -48.
    top_hz : float
        Frequency of the upper edge of the last bin.
    """
    if rate_hz > 2 * _WORK_HZ:
        samples = librosa.resample(samples, orig_sr=rate_hz, target_sr=_WORK_HZ, res_type="soxr_mq")
        rate_hz = _WORK_HZ
    width = int(2 ** np.round(np.log2(rate_hz * 0.1)))
    samples = np.pad(samples, (0, max(0, width - samples.size)))
    hop = max(width // 8, int(np.ceil(samples.size / COLUMNS)))
    spectrum = np.abs(librosa.stft(samples, n_fft=width, hop_length=hop, window="hann"))
    bin_hz = rate_hz / width
    kept = min(int(TOP_HZ / bin_hz) + 1, spectrum.shape[0])
    loud = float(np.percentile(spectrum[:kept], 99.8))
    level = librosa.amplitude_to_db(spectrum[:kept], ref=max(loud, 1e-9), amin=1e-12, top_db=None)
    return np.clip(level, -RANGE_DB, 0.0).astype(np.float64), (kept - 0.5) * bin_hz


def draw_waveform(axes: Axes, found: Envelope, heard_s: FloatArray) -> None:
    """Draw the envelope; a tick at the top marks each beat that sounds."""
    peaks = np.maximum(found.high, -found.low)
    largest = float(peaks.max()) if peaks.size else 0.0
    usual = float(np.percentile(peaks, 99.0)) if peaks.size else 0.0
    limit = min(largest, 1.6 * usual) if usual > 0 else largest
    limit = limit if limit > 0 else 1.0
    axes.fill_between(
        found.time_s, found.low, found.high, step="post", color=look.INK, linewidth=0.3
    )
    axes.set_ylim(-1.08 * limit, 1.45 * limit)
    axes.plot(
        heard_s,
        np.full(heard_s.shape, 1.26 * limit),
        linestyle="none",
        marker="v",
        markersize=3.6,
        color=look.INK,
        markeredgewidth=0.0,
    )
    axes.set_ylabel("sound\n(full scale 1)")
    axes.locator_params(axis="y", nbins=4)


def draw_spectrogram(
    axes: Axes, levels: FloatArray, top_hz: float, start_s: float, end_s: float
) -> None:
    """Draw levels as an image, loud parts dark."""
    axes.imshow(
        levels,
        origin="lower",
        aspect="auto",
        cmap=look.LEVELS,
        vmin=-RANGE_DB,
        vmax=0.0,
        extent=(start_s, end_s, 0.0, top_hz),
        interpolation="antialiased",
    )
    axes.set_ylim(0.0, min(TOP_HZ, top_hz))
    axes.set_ylabel("frequency\n(Hz)")
    axes.locator_params(axis="y", nbins=5)


def cut(recording: Recording, start_s: float, end_s: float) -> tuple[NDArray[np.float32], float]:
    """Return the samples between two times and the time of the first of them."""
    first = int(np.clip(np.floor(start_s * recording.rate_hz), 0, recording.samples.size))
    last = int(np.clip(np.ceil(end_s * recording.rate_hz), first, recording.samples.size))
    return scaled(recording.samples[first:last]), first / recording.rate_hz
