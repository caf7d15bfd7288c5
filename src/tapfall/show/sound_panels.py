"""The two panels of sound: waveform and spectrogram on one time axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import librosa
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import StrMethodFormatter
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from tapfall.files.recording import full_scale
from tapfall.model import Beat, FloatArray, Recording
from tapfall.show import look
from tapfall.show.words import SOUNDS

#: The spectrogram's upper edge: Korotkoff sounds hold little above it.
TOP_HZ = 500.0
#: Below it lies the pulse's own thump, not its sounds (our choice).
BOTTOM_HZ = 25.0
#: Columns drawn at most: about two for each dot of the figure's width.
COLUMNS = 1600
#: Percentiles of the sound that are drawn as ink and as paper (our choice).
LOUD_PERCENT, FAINT_PERCENT = 99.5, 35.0
#: Ink and paper are at least so far apart, in dB.
LEAST_RANGE_DB = 25.0
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
    return np.asarray(full_scale(samples), dtype=np.float32)


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


def tamed(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return samples cut at a million times the usual loudest: no square of one overflows.

    Examples
    --------
    >>> float(tamed(np.array([1.0] * 999 + [3e38], dtype=np.float32)).max())
    1000000.0
    """
    if not samples.size:
        return samples
    some = np.abs(samples[:: max(1, samples.size // 100_000)])
    most = np.float32(min(1e6 * float(np.percentile(some, 99.0)), 3e38)) or np.float32(1.0)
    return np.clip(samples, -most, most)


def worked(samples: NDArray[np.float32], rate_hz: float) -> tuple[NDArray[np.float32], float]:
    """Return the sound at 2 kHz if its rate is above 4 kHz, else as it is, with its rate.

    Examples
    --------
    >>> kept, rate_hz = worked(np.zeros(44_100, dtype=np.float32), 44_100.0)
    >>> kept.size, rate_hz
    (2000, 2000.0)
    """
    if rate_hz <= 2 * _WORK_HZ or not samples.size:
        return samples, rate_hz
    kept = librosa.resample(samples, orig_sr=rate_hz, target_sr=_WORK_HZ, res_type="soxr_mq")
    return kept, _WORK_HZ


def without_thumps(samples: NDArray[np.float32], rate_hz: float) -> NDArray[np.float32]:
    """Return the sound above 25 Hz: the pulse's own thump would hide the taps."""
    filtered = sosfilt(butter(4, BOTTOM_HZ, "highpass", fs=rate_hz, output="sos"), samples)
    return np.asarray(filtered, dtype=np.float32)


def levels_db(samples: NDArray[np.float32], rate_hz: float) -> tuple[FloatArray, float]:
    """Spectrogram up to 500 Hz.

    Parameters
    ----------
    samples
        Sound, shape ``(n,)``.
    rate_hz
        Sampling rate.

    Returns
    -------
    levels : ndarray, shape (bins, columns)
        Level in dB re full scale.
    top_hz : float
        Frequency of the upper edge of the last bin.
    """
    width = int(2 ** np.round(np.log2(rate_hz * 0.1)))
    samples = np.pad(samples, (0, max(0, width - samples.size)))
    hop = max(width // 8, int(np.ceil(samples.size / COLUMNS)))
    spectrum = np.abs(librosa.stft(samples, n_fft=width, hop_length=hop, window="hann"))
    bin_hz = rate_hz / width
    kept = min(int(TOP_HZ / bin_hz) + 1, spectrum.shape[0])
    level = librosa.amplitude_to_db(spectrum[:kept], ref=width / 4, amin=1e-10, top_db=None)
    return level.astype(np.float64), (kept - 0.5) * bin_hz


def usual(
    values: FloatArray,
    start_s: float,
    end_s: float,
    span_s: tuple[float, float],
    percent: float = LOUD_PERCENT,
) -> float:
    """Return a percentile of values along time, over the span given.

    The sounds set the scale, not the pump before or the release after them.

    Parameters
    ----------
    values
        Shape ``(..., columns)``, spread evenly from ``start_s`` to ``end_s``.
    start_s, end_s
        Time of the first and behind the last column.
    span_s
        The span that counts; all of it where it holds nothing.
    percent
        Which percentile.

    Examples
    --------
    >>> float(usual(np.array([9.0, 1.0, 1.0, 9.0]), 0.0, 4.0, (1.0, 3.0)))
    1.0
    """
    time_s = start_s + (np.arange(values.shape[-1]) + 0.5) * (end_s - start_s) / values.shape[-1]
    inside = values[..., (time_s >= span_s[0]) & (time_s <= span_s[1])]
    return float(np.percentile(inside if inside.size else values, percent))


def draw_waveform(axes: Axes, found: Envelope, heard_s: FloatArray, limit: float) -> None:
    """Draw the envelope up to a limit; a tick at the top marks each beat that sounds."""
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
    axes.set_ylabel("sound, >25 Hz\n(full scale 1)")
    axes.locator_params(axis="y", nbins=4)
    # Not in powers of ten above the panel, where they would cross the words.
    axes.yaxis.set_major_formatter(StrMethodFormatter("{x:g}"))


def draw_spectrogram(
    axes: Axes,
    levels: FloatArray,
    top_hz: float,
    span_s: tuple[float, float],
    shown_db: tuple[float, float],
) -> None:
    """Draw levels as an image, from faint (paper) to loud (ink)."""
    axes.imshow(
        levels,
        origin="lower",
        aspect="auto",
        cmap=look.LEVELS,
        vmin=shown_db[0],
        vmax=shown_db[1],
        extent=(*span_s, 0.0, top_hz),
        interpolation="antialiased",
    )
    axes.set_ylim(0.0, min(TOP_HZ, top_hz))
    axes.set_ylabel("frequency\n(Hz)")
    axes.locator_params(axis="y", nbins=5)


def draw_sound(
    wave: Axes,
    spectrum: Axes,
    recording: Recording,
    span_s: tuple[float, float],
    beats: Sequence[Beat],
) -> None:
    """Draw waveform and spectrogram of a span of a recording.

    Parameters
    ----------
    wave, spectrum
        The two panels.
    recording
        The sound.
    span_s
        From when to when.
    beats
        All beats; the scale is set by the sound between the first and the last.
    """
    samples, first_s = cut(recording, *span_s)
    samples = tamed(samples)
    samples, rate_hz = worked(samples, recording.rate_hz)
    heard_s = np.array([beat.time_s for beat in beats if beat.heard >= SOUNDS])
    if not samples.size:
        draw_waveform(wave, envelope(samples, rate_hz, first_s), heard_s, 0.0)
        return
    last_s = first_s + samples.size / rate_hz
    counts = (beats[0].time_s, beats[-1].time_s + 0.3) if beats else (first_s, last_s)
    shape = envelope(without_thumps(samples, rate_hz), rate_hz, first_s)
    limit = 1.3 * usual(np.maximum(shape.high, -shape.low), first_s, last_s, counts)
    draw_waveform(wave, shape, heard_s, limit)
    # Only differences of level are drawn: scaled, no sound is too loud or faint for them.
    levels, top_hz = levels_db(samples / (np.float32(limit) or np.float32(1.0)), rate_hz)
    taps = levels[int(BOTTOM_HZ / top_hz * levels.shape[0]) :]
    loud_db = usual(taps, first_s, last_s, counts)
    faint_db = usual(taps, first_s, last_s, counts, FAINT_PERCENT)
    shown_db = (min(faint_db, loud_db - LEAST_RANGE_DB), loud_db)
    draw_spectrogram(spectrum, levels, top_hz, (first_s, last_s), shown_db)


def cut(recording: Recording, start_s: float, end_s: float) -> tuple[NDArray[np.float32], float]:
    """Return the samples between two times and the time of the first of them."""
    first = int(np.clip(np.floor(start_s * recording.rate_hz), 0, recording.samples.size))
    last = int(np.clip(np.ceil(end_s * recording.rate_hz), first, recording.samples.size))
    return scaled(recording.samples[first:last]), first / recording.rate_hz
