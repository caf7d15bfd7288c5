"""Sound made white: steady noise, hum and the band's shape taken out.

The gain is one over the square root of the noise spectrum found between
beats, never below a floor set by the loud sounds, so that what an ear could
not hear beside them is not lifted out of the silence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapfall.model import FloatArray

#: Band of Korotkoff sounds kept (audible content above about 40 Hz, working
#: bands 20-300 Hz: engineering papers, from memory; wide enough for murmurs).
LOW_HZ, FULL_LOW_HZ, FULL_HIGH_HZ, HIGH_HZ = 28.0, 40.0, 330.0, 420.0
#: Frame of the noise spectrum: long enough to part hum from its neighbours.
FRAME_S = 0.256
#: Share of frames taken as noise; beats fill up to half of the frames.
NOISE_QUANTILE = 0.3
#: Mean of an exponential variable over its 0.3 quantile: -1/ln(1-0.3).
QUANTILE_TO_MEAN = 2.8037
#: Loud sounds mask what lies this far below them (peak levels spread over 28 dB
#: and the audible limit lies near the lowest: Celler 2017; margin tuned).
FLOOR_BELOW_LOUD_DB = 31.0
#: The loudest of them masks what lies this much further below it at every other frequency
#: (our choice).
WHOLE_BELOW_DB = 14.0
#: Fewest frames of a sound that can be whitened, and fewest quiet ones that tell the noise.
LEAST_FRAMES, LEAST_QUIET_FRAMES = 8, 12
#: Window of one sound (K1 lasts 20-80 ms; from memory).
WINDOW_S = 0.085


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class White:
    """Whitened sound of one deflation.

    ``samples`` has unit variance per sample in steady noise, shape ``(n,)``;
    ``energy`` is that of the window that starts at each of them, per sample;
    ``dof`` is the number of independent values in one window.
    """

    samples: FloatArray
    energy: FloatArray
    rate_hz: float
    start_s: float
    window: int
    dof: float

    def index(self, time_s: FloatArray) -> np.ndarray:
        """Nearest sample of audio times, not clipped."""
        found: np.ndarray = np.rint((time_s - self.start_s) * self.rate_hz).astype(np.intp)
        return found


def _window_energy(samples: FloatArray, window: int) -> FloatArray:
    """Mean energy of the window that starts at each sample; the last whole one at the end."""
    total = np.concatenate([[0.0], np.cumsum(samples**2)])
    energy = np.empty(samples.size)
    last = samples.size - window
    energy[: last + 1] = total[window:] - total[: last + 1]
    energy[last + 1 :] = energy[last]
    return np.maximum(energy / window, 1e-6)


def _frames(sound: FloatArray, rate_hz: float) -> tuple[FloatArray, int]:
    """Power spectra of half-overlapping frames, shape ``(m, k)``, and the frame's size."""
    size = 2 * round(FRAME_S * rate_hz / 2)
    view = np.lib.stride_tricks.sliding_window_view(sound, size)[:: size // 2]
    taper = np.hanning(size + 2)[1:-1]
    spectra = fft.rfft(view * taper, axis=1)
    return _power(spectra) / float(np.sum(taper**2)), size


def _power(spectra: NDArray[np.complex128]) -> FloatArray:
    return spectra.real**2 + spectra.imag**2


def _spectrum_at(sound: FloatArray, rate_hz: float, start_s: FloatArray, size: int) -> FloatArray:
    """Median power spectrum of the windows at times from the sound's start; shape ``(k,)``."""
    window = round(WINDOW_S * rate_hz)
    first = np.clip(np.rint(start_s * rate_hz).astype(np.intp), 0, sound.size - window)
    windows = np.lib.stride_tricks.sliding_window_view(sound, window)[first]
    spectra = fft.rfft(windows * np.hanning(window + 2)[1:-1], size, axis=1)
    return np.asarray(np.median(_power(spectra), axis=0) / (0.375 * window))


def _quiet_spectrum(power: FloatArray, quiet: NDArray[np.bool_]) -> FloatArray:
    """Mean spectrum of the noise, from frames ``(m, k)`` of which some are known to be quiet."""
    if quiet.sum() >= LEAST_QUIET_FRAMES:
        # Between speech and noise the upper half decides: it is what masks.
        noise = np.quantile(power[quiet], 0.5, axis=0) / np.log(2.0)
    else:
        rank = int(NOISE_QUANTILE * (power.shape[0] - 1))
        noise = np.partition(power, rank, axis=0)[rank] * QUANTILE_TO_MEAN
    # Smooth over three bins: one frame's quantile is rough.
    return np.convolve(np.pad(noise, 1, "edge"), [0.25, 0.5, 0.25], "valid")


def _loud_frames(power: FloatArray, noise: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
    """Spectrum of the sounds where none is known, from frames ``(m, k)``; ``inside`` the band."""
    # Sounds fill some tenth of the frames; the loudest may be pump or valve.
    order = np.argsort((power[:, inside] / (noise[inside] + 1e-20)).sum(axis=1))
    count = order.size
    loud = power[order[int(0.84 * count) : int(0.94 * count) + 1]]
    return np.asarray(np.median(loud, axis=0) * 3.0)


def _masked(loud: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
    """What lies below this at each frequency is not heard beside the loud sounds."""
    loud = np.convolve(np.pad(loud, 4, "edge"), np.ones(9) / 9, "valid")
    floor = loud * 10 ** (-FLOOR_BELOW_LOUD_DB / 10)
    whole = float(loud[inside].max()) * 10 ** (-(FLOOR_BELOW_LOUD_DB + WHOLE_BELOW_DB) / 10)
    return floor + whole


def _held_silent(middle_s: FloatArray, half_s: float, silent_s: FloatArray) -> NDArray[np.bool_]:
    """Which frames lie within a silent stretch; all times on one clock."""
    if not silent_s.size:
        return np.zeros(middle_s.size, bool)
    row = np.searchsorted(silent_s[:, 0], middle_s, side="right") - 1
    within = (row >= 0) & (middle_s - half_s >= silent_s[row, 0])
    return np.asarray(within & (middle_s + half_s <= silent_s[row, 1]))


def whiten(
    sound: FloatArray,
    rate_hz: float,
    start_s: float,
    span_s: tuple[float, float],
    silent_s: FloatArray,
    loud_s: FloatArray,
) -> White | None:
    """Whiten the sound of a deflation by its own noise spectrum.

    Parameters
    ----------
    sound
        Band-limited sound, shape ``(n,)``, full scale 1.0.
    rate_hz
        Its rate, 1-2 kHz.
    start_s
        Audio time of its first sample.
    span_s
        Audio times between which the noise is learned.
    silent_s
        Edges of stretches that hold no sound of the heart, shape ``(k, 2)``, audio
        time; where they hold few frames the quiet ones of the whole span are taken.
    loud_s
        Starts of sounds known to be loud, audio time, shape ``(j,)``; where there are
        none frames of the loud tenth are taken.

    Returns
    -------
    White or None
        ``None`` where the sound is shorter than eight frames or constant.
    """
    if sound.size < LEAST_FRAMES * FRAME_S * rate_hz:
        return None
    power, size = _frames(sound, rate_hz)
    middle_s = start_s + (np.arange(power.shape[0]) + 1) * (size // 2) / rate_hz
    used = (middle_s >= span_s[0]) & (middle_s <= span_s[1])
    if used.sum() < LEAST_FRAMES:
        return None
    power, middle_s = power[used], middle_s[used]
    frequency_hz = np.arange(size // 2 + 1) * rate_hz / size
    high_hz = min(HIGH_HZ, 0.42 * rate_hz)
    full_high_hz = min(FULL_HIGH_HZ, 0.34 * rate_hz)
    band = np.interp(frequency_hz, [LOW_HZ, FULL_LOW_HZ, full_high_hz, high_hz], [0, 1, 1, 0])
    inside = band > 0
    if not np.any(power[:, inside].max(axis=0) > 1e-20):
        return None
    # A tapered frame hears little of its ends.
    noise = _quiet_spectrum(power, _held_silent(middle_s, 0.3 * size / rate_hz, silent_s))
    if loud_s.size:
        loud = _spectrum_at(sound, rate_hz, loud_s - start_s, size)
    else:
        loud = _loud_frames(power, noise, inside)
    noise = np.maximum(noise, _masked(loud, inside))
    gain = band / np.sqrt(noise + 1e-24)
    # Unit variance per sample in steady noise: the band's share of the spectrum.
    share = float(np.mean(band**2))
    gain /= np.sqrt(share)
    length = fft.next_fast_len(sound.size + size, real=True)
    fine = np.interp(np.arange(length // 2 + 1) * rate_hz / length, frequency_hz, gain)
    samples = fft.irfft(fft.rfft(sound, length) * fine, length)[: sound.size]
    window = round(WINDOW_S * rate_hz)
    return White(
        samples=samples,
        energy=_window_energy(samples, window),
        rate_hz=rate_hz,
        start_s=start_s,
        window=window,
        dof=window * share,
    )
