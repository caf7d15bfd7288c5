"""How loud the sounds of a set may get, and the tones by which the volume is set.

What a loudspeaker makes of samples swings further between them than they do themselves; what
is said of loudness counts that in.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

#: No sample lies beyond this share of full scale; louder parts are pressed below it.
LIMIT, KNEE = 0.5, 0.35
FADE_S = 0.25
#: The faint tone is about as loud as the first and last sounds (our choice).
FAINT = 0.02
#: The sound between samples is looked at in so many places each, and taken to swing so much
#: further: at half the rate a peak between two of them is missed by 1 - cos(pi / 16), 2 %.
_PLACES, _MISSED = 8, 1.02
#: Samples of a piece that is looked at, and to either side of it, where it fades to nothing: the
#: series takes the end for the neighbour of the beginning (our choice).
_PIECE, _MARGIN = 256, 128
_RAMP = np.sin(0.5 * np.pi * (np.arange(_MARGIN // 2) + 0.5) / (_MARGIN // 2)) ** 2
_TAPER = np.concatenate([_RAMP, np.ones(_PIECE + _MARGIN), _RAMP[::-1]]).astype(np.float32)
#: No sound is taken to swing so much further than its samples (our choice: the loudest white
#: noise, pressed below the limit, swings 2.6 times as far).
_FURTHEST = 4.0
#: No sound swings further than this, between samples too: else no tone could be as loud.
MOST = 0.95

Samples = np.ndarray


def limited(samples: np.ndarray, rate_hz: float) -> Samples:
    """Press what is loud below the limit, and fade both ends; float32.

    Examples
    --------
    >>> loud = limited(np.ones(4000), 4000.0)
    >>> bool(loud.max() <= LIMIT), float(loud[0])
    (True, 0.0)
    """
    pressed = np.array(samples, np.float64)
    over = np.flatnonzero(np.abs(pressed) > KNEE)  # few: tanh of all would take longest of all
    beyond = (np.abs(pressed[over]) - KNEE) / (LIMIT - KNEE)
    pressed[over] = np.sign(pressed[over]) * (KNEE + (LIMIT - KNEE) * np.tanh(beyond))
    return _faded(pressed, rate_hz)


def swing(samples: np.ndarray, least: float = 0.0) -> float:
    """Return how far a sound swings at most, between its samples too.

    Parameters
    ----------
    samples
        The sound, shape ``(n,)``, full scale 1.
    least
        What is told of a sound that surely swings less far: it need not be looked at.

    Returns
    -------
    float
        Share of full scale, up to 2 % too much.

    Examples
    --------
    >>> wave = np.sin(np.pi * (np.arange(400) / 2.0 + 0.25))
    >>> round(float(np.abs(wave).max()), 3), round(swing(wave), 2)
    (0.707, 1.03)
    >>> swing(0.1 * wave, 0.5)
    0.5
    """
    peak = float(np.abs(samples).max()) if samples.size else 0.0
    if _FURTHEST * peak <= least or not peak:
        return least
    pieces = _pieces(samples)
    # Most of a recording is quiet: only what may swing furthest is looked at.
    loud = pieces[_FURTHEST * np.abs(pieces).max(axis=1) > max(least, peak)]
    spectrum = fft.rfft(loud * _TAPER, axis=1)
    between = fft.irfft(spectrum, _PLACES * _TAPER.size, axis=1) * np.float32(_PLACES)
    inner = between[:, _PLACES * _MARGIN : _PLACES * (_MARGIN + _PIECE)]
    return max(least, peak, _MISSED * float(np.abs(inner).max(initial=0.0)))


def _pieces(samples: np.ndarray) -> Samples:
    """Pieces of a sound, each with samples to either side; shape ``(k, samples)``, float32."""
    count = -(-samples.size // _PIECE) * _PIECE
    padded = np.zeros(count + 2 * _MARGIN, np.float32)
    padded[_MARGIN : _MARGIN + samples.size] = samples
    return np.lib.stride_tricks.sliding_window_view(padded, _TAPER.size)[::_PIECE]


def held(samples: np.ndarray, swing_share: float) -> Samples:
    """Return a sound made fainter where it swings too far for any tone to be as loud.

    Parameters
    ----------
    samples
        The sound, shape ``(n,)``.
    swing_share
        How far it swings, as :func:`swing` tells.

    Examples
    --------
    >>> held(np.array([0.5, -0.5]), 1.9).tolist(), held(np.array([0.5]), 0.6).tolist()
    ([0.25, -0.25], [0.5])
    """
    return samples if swing_share <= MOST else samples * (MOST / swing_share)


def level_tones(rate_hz: float, loudest: float = LIMIT) -> tuple[Samples, Samples]:
    """Return a loud and a faint tone to set the volume by, three seconds each.

    Parameters
    ----------
    rate_hz
        Their rate.
    loudest
        How far the sounds of the set swing at most, as :func:`swing` tells: so far does the
        loud tone.

    Examples
    --------
    >>> loud, faint = level_tones(4000.0, 0.6)
    >>> round(float(loud.max()), 3), round(float(faint.max()), 3)
    (0.6, 0.02)
    """
    time_s = np.arange(round(3.0 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * 150.0 * time_s)
    tone /= np.abs(tone).max()
    return _faded(min(loudest, MOST) * tone, rate_hz), _faded(FAINT * tone, rate_hz)


def _faded(samples: np.ndarray, rate_hz: float) -> Samples:
    faded = np.array(samples, np.float64)
    count = min(round(FADE_S * rate_hz), faded.size // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count, 1))
    faded[:count] *= ramp
    faded[faded.size - count :] *= ramp[::-1]
    return np.asarray(faded, np.float32)
