"""How much each instant looks like the start of a Korotkoff sound.

A small convolutional network, fitted on simulated recordings, reads the bands
of 0.6 s around each instant: what it marks looks like a sound by itself.  A
second one reads 4 s, in which the sounds before and after are heard as well:
where the log shows no pulse, its marks are what a clock is made of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.network import run_layers
from tapfall.model import FloatArray

#: Step of the marks, and of the delays in a map of them: two frames.
STEP_S = 2 * HOP_S
#: Log odds where nothing was recorded, and from which a mark in step is a clear one (even odds).
NOTHING, CLEAR_LOG_ODDS = -12.0, 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Onsets:
    """Log odds that a sound starts at each step, shape ``(n,)``, from an audio time on."""

    log_odds: FloatArray
    start_s: float

    def between(self, start_s: float, end_s: float) -> Onsets:
        """The part between two audio times."""
        first = max(0, round((start_s - self.start_s) / STEP_S))
        last = max(first, round((end_s - self.start_s) / STEP_S))
        return Onsets(log_odds=self.log_odds[first:last], start_s=self.start_s + first * STEP_S)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marks:
    """What a clock made of sounds rests on.

    ``around`` are the marks, made with the sounds around each instant, ``chained_s`` the times
    of those that keep step, shape ``(n,)``, audio time.
    """

    around: Onsets
    chained_s: FloatArray

    def clear_s(self) -> FloatArray:
        """Times of the sounds in step that are clear."""
        place = np.rint((self.chained_s - self.around.start_s) / STEP_S).astype(np.intp)
        odds = self.around.log_odds[np.clip(place, 0, self.around.log_odds.size - 1)]
        return np.asarray(self.chained_s[odds > CLEAR_LOG_ODDS])


def contrast(onsets: Onsets, beat_s: FloatArray, sounds: NDArray[np.bool_]) -> float:
    """How much more the sounding beats look like sounds than the silent ones around them.

    Parameters
    ----------
    onsets
        Marks over audio time.
    beat_s
        Beats in order, audio time, shape ``(n,)``.
    sounds
        Which of them sound, shape ``(n,)``.

    Returns
    -------
    float
        Median log odds of the beats that sound over that of the silent beats
        before the first or after the last of them, whichever is less; 0 where
        all of them sound, for there is nothing that they stand out from.
    """
    reach_s = 0.5 * float(np.median(np.diff(beat_s)))
    most = np.array(
        [
            onsets.between(at_s - reach_s, at_s + reach_s).log_odds.max(initial=NOTHING)
            for at_s in beat_s.tolist()
        ]
    )
    heard = np.flatnonzero(sounds)
    if heard.size == 0:
        return 0.0
    silent = (most[: heard[0]], most[heard[-1] + 1 :])
    rest = [float(np.median(part)) for part in silent if part.size >= 2]
    return float(np.median(most[heard])) - max(rest) if rest else 0.0


def find_onsets(bands: Bands, network: Literal["onsets", "onsets_around"] = "onsets") -> Onsets:
    """Read the bands.

    Parameters
    ----------
    bands
        Levels over audio time.
    network
        Which of the two: each instant by itself, or with the sounds around it.

    Returns
    -------
    Onsets
        One value for every second frame.
    """
    values = bands.level[None, ::2].astype(np.float32)
    odds = run_layers(values, CALIBRATION.layers[network])[0]
    return Onsets(log_odds=odds.astype(float), start_s=bands.start_s)
