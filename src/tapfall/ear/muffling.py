"""The character of each sound: when it murmurs, and when it is muffled.

At K4 the bandwidth falls and low frequencies dominate (intra-arterial study,
abstract; openEHR); K2 adds a murmur of higher frequencies (clinical frequency
analysis).  Both are found as changes along the sounds, not as absolute levels.
"""

from __future__ import annotations

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
#: Fall of crispness against body that counts as muffling (tuned), in nats.
LEAST_MUFFLING = 0.9
#: Evidence that a change must carry, in squared standard deviations (tuned).
LEAST_EVIDENCE = 9.0
#: Beats on each side of a change.
LEAST_BEATS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Character:
    """Log energies of each beat over the noise; arrays of shape ``(n,)``.

    ``crisp`` is crispness over body, ``murmur`` the murmur band over both,
    ``level`` the energy of all, nats.
    """

    crisp: FloatArray
    murmur: FloatArray
    level: FloatArray


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

    def band(low_hz: float, high_hz: float) -> FloatArray:
        inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
        loud = sounding[:, inside].sum(axis=1)
        floor = float(np.sum(noise[inside])) * 1.3
        return np.asarray(np.maximum(loud - floor, 0.05 * loud) + 1e-20)

    body, crisp, murmur = band(*BODY_HZ), band(*CRISP_HZ), band(*MURMUR_HZ)
    return Character(
        crisp=np.log(crisp / body),
        murmur=np.log(murmur / (body + crisp)),
        level=np.log(body + crisp),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Muffled:
    """Where muffling begins: index among the sounds, its odds, and its neighbours' span."""

    index: int
    low: int
    high: int
    certainty: float


def find_muffling(crisp: FloatArray, level: FloatArray) -> Muffled | None:
    """Find where crispness falls for good.

    Parameters
    ----------
    crisp, level
        Character of the sounding beats in order, shape ``(k,)``.

    Returns
    -------
    Muffled or None
        Index of the first muffled sound; ``None`` where none stands out.

    Examples
    --------
    >>> crisp = np.array([0.1, 0.0, 0.2, 0.1, 0.0, -1.9, -2.0, -2.1])
    >>> find_muffling(crisp, np.zeros(8)).index
    5
    """
    k = crisp.size
    if k < 2 * LEAST_BEATS + 2:
        return None
    loudest = int(np.argmax(np.convolve(level, np.ones(3) / 3, "same")))
    cuts = np.arange(max(LEAST_BEATS, min(loudest, k - 3 * LEAST_BEATS)), k - LEAST_BEATS + 1)
    if cuts.size == 0:
        return None
    cost = np.full(cuts.size, np.inf)
    drop = np.zeros(cuts.size)
    for c, cut in enumerate(cuts.tolist()):
        above = crisp[max(0, cut - 8) : cut]
        below = crisp[cut:]
        left, right = float(np.median(above)), float(np.median(below))
        drop[c] = left - right
        cost[c] = float(np.abs(above - left).sum() + np.abs(below - right).sum()) / (
            above.size + below.size
        )
        # Few points must not look neat by chance.
        cost[c] = (cost[c] + 0.1) * (1 + 1.0 / below.size)
    valid = drop >= LEAST_MUFFLING
    if not valid.any():
        return None
    cost[~valid] = np.inf
    best = int(np.argmin(cost))
    scatter = float(cost[best])
    evidence = (drop[best] / (1.25 * scatter + 0.15)) ** 2 * min(k - int(cuts[best]), 4) / 4
    if evidence < LEAST_EVIDENCE:
        return None
    close = np.flatnonzero(cost <= 1.25 * cost[best])
    certainty = float(1 - np.exp(-evidence / 12))
    return Muffled(
        index=int(cuts[best]),
        low=int(cuts[close.min()]),
        high=int(cuts[close.max()]),
        certainty=certainty,
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
