"""The character of each sound: body, crispness, murmur; and the phases named by it.

K2 adds a murmur of higher frequencies (clinical frequency analysis), found as
a change along the sounds, not as an absolute level.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy import fft

from tapfall.ear.record import Record
from tapfall.model import FloatArray, Phase

#: Bands of the sound's character, Hz: body, crispness, murmur (tuned on
#: development recordings; the audible limit and peaks of 30-60 Hz are published).
BODY_HZ, CRISP_HZ, MURMUR_HZ = (25.0, 62.0), (72.0, 250.0), (160.0, 400.0)
#: Window of one sound's character.
CHARACTER_S = 0.11
#: Edges of the bands in which a sound's character is kept, Hz (our choice).
EDGES_HZ = (25.0, 35.0, 50.0, 70.0, 100.0, 140.0, 200.0, 280.0, 400.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Character:
    """Log energies of each beat over the noise; arrays of shape ``(n,)``.

    ``murmur`` is the murmur band over body and crispness, ``level`` the energy of
    these, nats.  ``bands`` holds the energy between ``EDGES_HZ`` and ``noise`` what
    of it the noise between the beats explains, nats, shape ``(n, len(EDGES_HZ) - 1)``.
    """

    murmur: FloatArray
    level: FloatArray
    bands: FloatArray
    noise: FloatArray


def character(record: Record, onset_s: FloatArray) -> Character:
    """Measure the character of each beat's sound.

    Parameters
    ----------
    record
        Sound of the measurement.
    onset_s
        Start of each sound, audio time, shape ``(n,)``.

    Returns
    -------
    Character
        One value for each beat; noise between beats is taken off.
    """
    size = round(CHARACTER_S * record.rate_hz)
    view = np.lib.stride_tricks.sliding_window_view(record.sound, size)
    taper = np.hanning(size + 2)[1:-1]
    frequency_hz = np.arange(size // 2 + 1) * record.rate_hz / size

    def spectra(start_s: FloatArray) -> FloatArray:
        first = np.rint((start_s - record.start_s) * record.rate_hz).astype(np.intp)
        first = np.clip(first, 0, view.shape[0] - 1)
        return np.asarray(np.abs(fft.rfft(view[first] * taper, axis=1)) ** 2)

    sounding = spectra(onset_s - 0.03)
    order = np.argsort(onset_s)
    between_s = onset_s[order][:-1] + 0.62 * np.diff(onset_s[order])
    noise = np.median(spectra(between_s), axis=0) if between_s.size >= 3 else 0.0 * frequency_hz

    def band(low_hz: float, high_hz: float) -> tuple[FloatArray, FloatArray]:
        inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
        loud = sounding[:, inside].sum(axis=1) + 1e-20
        floor = float(np.sum(noise[inside])) * 1.3
        return np.maximum(loud - floor, 0.05 * loud), np.log((floor + 1e-20) / loud)

    body, crisp, murmur = (band(*one)[0] for one in (BODY_HZ, CRISP_HZ, MURMUR_HZ))
    parts = [band(low, high) for low, high in itertools.pairwise(EDGES_HZ)]
    return Character(
        murmur=np.log(murmur / (body + crisp)),
        level=np.log(body + crisp),
        bands=np.stack([np.log(one) for one, _ in parts], axis=1),
        noise=np.stack([one for _, one in parts], axis=1),
    )


def name_phases(found: Character, sounds: np.ndarray, muffled: int | None) -> list[Phase]:
    """Name the phase of each sounding beat.

    Parameters
    ----------
    found
        Character of all beats.
    sounds
        Indices of the sounding beats in order, shape ``(k,)``.
    muffled
        Index among the sounds at which muffling begins, or ``None``.

    Returns
    -------
    list of Phase
        K1 to K4, one for each sound, never going back.
    """
    k = sounds.size
    end = k if muffled is None else muffled
    phases = [Phase.K3] * end + [Phase.K4] * (k - end)
    if end < 4:
        return [Phase.K1] * end + [Phase.K4] * (k - end)
    murmur = found.murmur[sounds[:end]]
    gain = murmur - float(np.median(murmur)) - 0.25
    # The stretch with the most murmur, as a largest contiguous sum.
    total = np.concatenate([[0.0], np.cumsum(gain[: max(2, (3 * end) // 4)])])
    best, span = 0.0, (0, 0)
    low = 0
    for j in range(1, total.size):
        if total[j] - total[low] > best:
            best, span = float(total[j] - total[low]), (low, j)
        if total[j] < total[low]:
            low = j
    if best > 0.8 and span[1] - span[0] >= 2:
        first, last = max(span[0], 1), span[1]
        return [Phase.K1] * first + [Phase.K2] * (last - first) + phases[last:]
    level = found.level[sounds[:end]]
    loud = np.flatnonzero(level >= float(level.max()) - 1.4)
    first = max(1, int(loud[0]))
    return [Phase.K1] * first + phases[first:]
