"""Where the sounds become muffled (K4), and whether they do.

At K4 the bandwidth falls and low frequencies dominate (intra-arterial study,
abstract; openEHR).  A small network, fitted on simulated recordings, reads the
spectrum of each sound with those of the sounds around it; muffling begins once
and stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.character import Character
from tapfall.model import FloatArray

#: Fewest sounds among which a change can be told.
LEAST_SOUNDS = 6
#: Chance that muffling begins at each sound, and that there is none at all (our choice).
BEGINS, NONE = 1 / 20, 0.3
#: One sound counts for no more than this, in nats: no odd one decides alone (our choice).
MOST_LOG_ODDS = 3.0
#: The network has seen the neighbours of each sound, so that what it says of them hangs together:
#: for the span, which bounds where muffling begins, it counts by this power only (tuned: of 482
#: calibration recordings of sounds to zero the spans hold the change in 95.4 %, 93.8 without).
SPAN_POWER = 0.6
#: Share of the loudest sounds that the others are compared with.
LOUD_SHARE = 1 / 3
#: Muffling is given from this probability on.
LEAST_CERTAINTY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Muffled:
    """Where muffling begins: index among the sounds, its 95 % span, its probability."""

    index: int
    low: int
    high: int
    certainty: float


def muffling_measures(found: Character, sounds: np.ndarray, cuff_mmhg: FloatArray) -> FloatArray:
    """What the network reads of each sound.

    Parameters
    ----------
    found
        Character of all beats.
    sounds
        Indices of the sounding beats in order, shape ``(k,)``.
    cuff_mmhg
        Cuff pressure at each of them, shape ``(k,)``.

    Returns
    -------
    ndarray
        Bands against those of the loudest sounds, bands against the whole sound,
        share of noise in each, level and fall of the cuff; last a column of ones.
        Shape ``(k, m)``.
    """
    bands, level = found.bands[sounds], found.level[sounds]
    loud = level >= np.quantile(level, 1 - LOUD_SHARE)
    usual = np.median(bands[loud], axis=0)
    whole = special.logsumexp(bands, axis=1, keepdims=True)
    return np.concatenate(
        [
            bands - usual,
            bands - whole,
            found.noise[sounds],
            (level - np.median(level[loud]))[:, None],
            (cuff_mmhg - cuff_mmhg[-1])[:, None] / 10.0,
            np.arange(level.size)[:, None] / level.size,
            np.ones((level.size, 1)),
        ],
        axis=1,
    )


def first_muffled(log_odds: FloatArray) -> Muffled | None:
    """Find where muffling begins from each sound's own log odds.

    Parameters
    ----------
    log_odds
        Log odds that each sound is muffled, in order, shape ``(k,)``.

    Returns
    -------
    Muffled or None
        The middle of the posterior; ``None`` where muffling is unlikely.

    Examples
    --------
    >>> first_muffled(np.array([-3.0, -3, -3, -2, -3, 2, 3, 3])).index
    5
    >>> first_muffled(np.full(8, -2.0)) is None
    True
    """
    bounded = np.clip(log_odds, -MOST_LOG_ODDS, MOST_LOG_ODDS)
    # Muffled from each sound on: what the rest say for it, against none muffled.
    gain = np.cumsum(bounded[::-1])[::-1] + np.log(BEGINS * (1 - NONE) / NONE)
    weight = np.exp(gain - max(float(gain.max()), 0.0))
    none = np.exp(-max(float(gain.max()), 0.0))
    certainty = float(weight.sum() / (weight.sum() + none))
    if certainty < LEAST_CERTAINTY:
        return None
    (middle,) = _quantiles(weight, 0.5)
    low, high = _quantiles(weight**SPAN_POWER, 0.025, 0.975)
    return Muffled(index=middle, low=low, high=min(high, log_odds.size - 1), certainty=certainty)


def _quantiles(weight: FloatArray, *shares: float) -> tuple[int, ...]:
    """The first places up to which so much of the weight lies."""
    share = np.cumsum(weight) / weight.sum()
    return tuple(int(np.searchsorted(share, one)) for one in shares)


def find_muffling(found: Character, sounds: np.ndarray, cuff_mmhg: FloatArray) -> Muffled | None:
    """Find where the sounds become muffled.

    Parameters
    ----------
    found, sounds, cuff_mmhg
        As for :func:`muffling_measures`.

    Returns
    -------
    Muffled or None
        ``None`` where there are few sounds or muffling is unlikely.
    """
    if sounds.size < LEAST_SOUNDS:
        return None
    measures = muffling_measures(found, sounds, cuff_mmhg)
    return first_muffled(CALIBRATION.muffling.log_odds(measures))
