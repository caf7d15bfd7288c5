"""Whether somebody spoke: voices hold a pitch that glides.

Murmurs, breath and friction fill the band of a voice in the same bursts, but have no pitch;
taps and heart sounds have one and are over at once; rubbing squeaks, and its pitch jumps.
A voiced syllable lasts a tenth of a second or longer and its pitch moves slowly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from tapfall.ear.runs import runs
from tapfall.model import FloatArray

#: Band in which a voice is looked for, and the lowest audio rate that holds enough of it.
BAND_HZ, LEAST_RATE_HZ = (250.0, 1500.0), 2000.0
#: Pitches of voices (men's to children's; common practice).
PITCH_HZ = (87.0, 357.0)
#: Frames, their step, and seconds worked on at a time.
FRAME_S, HOP_S, BLOCK_S = 0.04, 0.01, 20.0
#: Loud: so far above the usual level of the recording.  Voiced: so much of a frame comes again
#: a pitch later.  A syllable: so long, its pitch moving by less than so much from frame to frame
#: (log ratio; all tuned on simulated recordings with real and made speech).
LOUD_DB, VOICED, SYLLABLE_S, GLIDE = 8.0, 0.6, 0.08, 0.05
#: A frame comes again nearly as well as it does at best (tuned; by the best lag alone voices
#: from 180 Hz on seem to jump by octaves, and are not told).
NEAR_TOP = 0.85


def voiced_share(samples: NDArray[np.generic], rate_hz: float) -> float | None:
    """Share of the time in which syllables are heard.

    Parameters
    ----------
    samples
        Sound, shape ``(n,)``, of any scale.
    rate_hz
        Its rate.

    Returns
    -------
    float or None
        0 to 1; None where the rate is below 2 kHz or the sound shorter than two seconds.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(40000)
    >>> voiced_share(noise, 4000.0)
    0.0
    """
    if rate_hz < LEAST_RATE_HZ or samples.size < 2.0 * rate_hz:
        return None
    top_hz = min(BAND_HZ[1], 0.45 * rate_hz)
    band = signal.butter(4, (BAND_HZ[0], top_hz), "bandpass", fs=rate_hz, output="sos")
    step = max(1, int(rate_hz // 4000))
    rate = rate_hz / step
    sound = signal.sosfilt(band, samples.astype(np.float64))[::step]
    size, hop = round(FRAME_S * rate), round(HOP_S * rate)
    parts = [
        _frames(sound[at : at + round(BLOCK_S * rate) + size - hop], rate, size, hop)
        for at in range(0, sound.size - size, round(BLOCK_S * rate) // hop * hop)
    ]
    energy, voiced, lags_s = (np.concatenate([part[i] for part in parts], -1) for i in range(3))
    loud = energy > 10 ** (LOUD_DB / 10) * (float(np.median(energy)) + 1e-30)
    on = loud & (voiced > VOICED)
    spoken = 0
    for begin, end in runs(on):
        glides = np.abs(np.diff(np.log(lags_s[:, begin:end])))
        if (end - begin) * hop >= SYLLABLE_S * rate and float(glides.mean(axis=1).min()) < GLIDE:
            spoken += end - begin
    return spoken / on.size


def _frames(
    sound: FloatArray, rate_hz: float, size: int, hop: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Energy of each frame, how much of it comes again a pitch later, and that pitch's lag.

    The lag in two ways, shape ``(2, n)``: the best, and the shortest that is nearly as good.
    What comes again after one pitch does so after two, and the best jumps between them; in
    low voices the shortest jumps, to the resonances of the mouth.
    """
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[::hop]
    taper = np.hanning(size)
    spectrum = fft.rfft(frames * taper, 2 * size, axis=1)
    own = fft.irfft(np.abs(spectrum) ** 2, axis=1)
    window = fft.irfft(np.abs(fft.rfft(taper, 2 * size)) ** 2)
    first, last = int(rate_hz / PITCH_HZ[1]), int(rate_hz / PITCH_HZ[0])
    again = own[:, first:last] / (own[:, :1] + 1e-30) / (window[first:last] / window[0])
    best = again.argmax(axis=1)
    top = again.max(axis=1, keepdims=True)
    wide = np.pad(again, ((0, 0), (1, 1)), constant_values=-np.inf)
    peak = (again >= wide[:, :-2]) & (again >= wide[:, 2:]) & (again >= NEAR_TOP * top)
    lags_s = (np.stack([best, peak.argmax(axis=1)]) + first) / rate_hz
    return np.sum(frames**2, axis=1), top[:, 0], lags_s
