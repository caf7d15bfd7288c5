"""All that is measured of a device's sound; levels, clipping and offset are measured here."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapfall.device.facts import BAND_HZ, DeviceSound
from tapfall.device.gain import find_gain
from tapfall.device.gaps import find_dead, find_repeats
from tapfall.device.hum import Hum, find_hum, without_lines
from tapfall.device.spectrum import find_edges
from tapfall.ear.filters import design, thinned
from tapfall.ear.frontend import CLIP_LEVEL, SCALES, as_samples
from tapfall.ear.runs import run_lengths
from tapfall.errors import AudioError
from tapfall.model import FloatArray

#: So much of a recording is looked at: the longest measurement that is heard.
LONGEST_S = 300.0
#: A sound that starts at once makes the filters ring so long.
SETTLE_S = 0.15
#: Length over which the noise is measured, as a reading's quality does it.
FRAME_S = 0.06
#: A ceiling below full scale: in the top hundredth of the amplitude lie so many times more
#: samples, for its width, than in the tenth below (a sine has 4.5 times more; computed), ...
TOP_SHARE, BELOW_SHARES, CROWDING = 0.99, (0.90, 0.98), 8.0
#: ... on so many tops of so many samples in a row, where the amplitude has so many steps
#: (our choice).
LEAST_TOPS, LEAST_FLAT, LEAST_STEPS = 3, 3, 100


def measure_sound(samples: NDArray[np.generic], rate_hz: float) -> DeviceSound:
    """Measure a device's sound.

    Parameters
    ----------
    samples
        Shape ``(n,)``; int16, int32, float32 or float64, full scale 1.0 for floats.
    rate_hz
        Audio rate in Hz, at least 1000.

    Returns
    -------
    DeviceSound
        Of the first 300 s; no value where there is nothing but one constant.

    Raises
    ------
    MisuseError
        If the samples have another shape or type.
    AudioError
        If the rate is below 1000 Hz, there are no samples, or one is not finite.

    Examples
    --------
    >>> tone = 0.5 * np.sin(2 * np.pi * 100 * np.arange(8000) / 4000.0)
    >>> measure_sound(tone, 4000.0).peak_dbfs
    -6.0
    """
    made = design(rate_hz)
    checked = as_samples(samples)
    if checked.size == 0:
        raise AudioError("audio has 0 samples; allowed a sound that lasts")
    raw = checked[: round(LONGEST_S * rate_hz)]
    whole = raw.astype(np.float64)
    whole *= SCALES.get(raw.dtype.name, 1.0)
    offset = float(whole.mean())
    sound = thinned(made, whole - offset)
    sound_hz = made.sound_rate_hz
    band = _in_band(sound, sound_hz)
    settled = band[min(round(SETTLE_S * sound_hz), band.size // 2) :]
    step = _step(whole)
    dead = find_dead(whole, rate_hz, step)
    alive = np.interp(np.arange(band.size) / sound_hz, np.arange(dead.size) / rate_hz, dead) < 0.5
    noise = _noise_power(band, alive, sound_hz)
    top_share, top_level = _flat_tops(whole, offset, step)
    gain, swing_db = find_gain(sound, band, alive, sound_hz, step)
    lower_hz, upper_hz, cut_hz = find_edges(whole - offset, rate_hz)
    hum = find_hum(sound, sound_hz)
    lengths_s = run_lengths(dead) / rate_hz
    repeats = find_repeats(whole, rate_hz, dead)
    return DeviceSound(
        rate_hz=float(rate_hz),
        length_s=round(checked.size / rate_hz, 3),
        heard_s=round(raw.size / rate_hz, 3),
        rms_dbfs=_db(float(np.mean((whole - offset) ** 2))),
        peak_dbfs=_db(float(np.abs(whole).max()) ** 2),
        band_rms_dbfs=_db(float(np.mean(settled**2))),
        band_peak_dbfs=_db(float(np.abs(settled).max()) ** 2),
        band_noise_dbfs=_db(noise),
        step_dbfs=_db(step**2),
        offset_share=round(offset, 5) + 0.0,
        full_scale_share=round(float(np.mean(np.abs(whole) >= CLIP_LEVEL)), 6),
        flat_top_share=top_share,
        flat_top_dbfs=None if top_level is None else _db(top_level**2),
        gain=gain,
        gain_swing_db=swing_db,
        lower_edge_hz=lower_hz,
        upper_edge_hz=upper_hz,
        cut_hz=cut_hz,
        hum_hz=hum.mains_hz,
        hum_dbfs=_db(hum.power),
        hum_over_noise_db=_over_noise_db(hum, band, alive, sound_hz),
        hum_told=hum.told,
        dead_count=int(lengths_s.size),
        dead_s=round(float(lengths_s.sum()), 3),
        longest_dead_s=round(float(lengths_s.max()), 3) if lengths_s.size else 0.0,
        repeats=None if repeats is None else len(repeats),
        repeated_s=None if repeats is None else round(sum(repeats), 3),
    )


def _db(power: float) -> float | None:
    """Power re full scale in dB, 0.1 dB; ``None`` where there is none."""
    return round(10 * math.log10(power), 1) if power > 1e-24 else None


def _in_band(sound: FloatArray, rate_hz: float) -> FloatArray:
    sos = signal.butter(4, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    return np.asarray(signal.sosfilt(sos, sound))


def _noise_power(band: FloatArray, alive: NDArray[np.bool_], rate_hz: float) -> float:
    """Power between the loud events: the median over frames that are not dead."""
    size = round(FRAME_S * rate_hz)
    count = band.size // size
    if count == 0:
        return float(np.mean(band**2))
    power = np.mean(band[: count * size].reshape(count, size) ** 2, axis=1)
    whole = alive[: count * size].reshape(count, size).all(axis=1)
    return float(np.median(power[whole])) if whole.any() else 0.0


def _over_noise_db(
    hum: Hum, band: FloatArray, alive: NDArray[np.bool_], rate_hz: float
) -> float | None:
    """The hum's power over that of the noise without it."""
    if hum.mains_hz is None:
        return None
    rest = _noise_power(without_lines(band, rate_hz, hum), alive, rate_hz)
    return round(10 * math.log10(hum.power / max(rest, 1e-6 * hum.power)), 1)


def _step(samples: FloatArray) -> float:
    """The smallest difference between two values: the resolution."""
    # A part tells it as well as the whole; differences below 32-bit resolution are rounding.
    values = np.unique(samples[:200_000])
    steps = np.diff(values)
    steps = steps[steps > 2.0**-32]
    return float(steps.min()) if steps.size else 0.0


def _flat_tops(
    samples: FloatArray, offset: float, step: float
) -> tuple[float | None, float | None]:
    """Share of samples on tops that end at one ceiling below full scale, and its level."""
    share, level = 0.0, None
    told = False
    for sign in (1.0, -1.0):
        side = sign * (samples - offset)
        top = float(side.max())
        if top <= LEAST_STEPS * step:
            continue
        told = True
        if float((sign * samples).max()) >= CLIP_LEVEL:
            continue  # full scale itself is counted apart, with the offset that is in it
        flat = side >= TOP_SHARE * top
        below = np.mean((side >= BELOW_SHARES[0] * top) & (side < BELOW_SHARES[1] * top))
        usual = float(below) * (1 - TOP_SHARE) / (BELOW_SHARES[1] - BELOW_SHARES[0])
        tops = int(np.count_nonzero(run_lengths(flat) >= LEAST_FLAT))
        if tops >= LEAST_TOPS and float(flat.mean()) > CROWDING * usual:
            share += float(flat.mean())
            level = max(top, level or 0.0)
    if not told:
        return None, None
    return round(share, 6), level
