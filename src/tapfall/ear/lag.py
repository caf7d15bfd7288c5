"""The lag between the log's clock and the sound's.

The cuff's pulses and the sounds keep step at the true lag only; where the
rhythm is too even to tell one beat from the next, the hiss of the release
against the knee of the log decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.bands import HOP_S, Bands
from tapfall.ear.cuff import Deflation
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.paths import Paths
from tapfall.model import FloatArray

#: Lags searched, both ways (the project's definition).
LARGEST_LAG_S = 2.0
#: Delays after the steepest rise of the cuff's pulse that a sound can have:
#: an upstroke lasts 80-200 ms and conduction adds some tens (from memory).
EARLIEST_S, LATEST_S = -0.14, 0.32
#: Mean delays that need no lag to explain them.
PLAIN_FROM_S, PLAIN_TO_S = -0.11, 0.22
#: Delay of a sound in the middle of the deflation, for turning a shift into a lag.
MIDDLE_DELAY_S = 0.05
#: A shift by this much costs so many nats: a tie between neighbouring beats goes to
#: the smaller one (tuned).
NATS_PER_SECOND = 0.6
#: Part of the zero-lag evidence, and absolute nats, by which another lag must win (tuned).
LAG_MARGIN_SHARE, LAG_MARGIN_NATS = 0.05, 14.0
#: The release is heard: the most that a jump in loudness counts, its weight, and how
#: far the log's knee may be off (tuned).
MOST_JUMP_NATS, JUMP_WEIGHT, KNEE_S = 3.0, 2.5, 0.12
#: Error of a lag that the beats tell (our choice), and of a given one: it is obeyed with +-0.1 s,
#: twice this error (the project's definition).
FOUND_ERROR_S, GIVEN_ERROR_S = 0.08, 0.05
#: Error of a lag of 0 where no pulse on the log can tell: clocks that were started by
#: hand or by one program, some tenths of a second apart (our choice).
UNSEEN_ERROR_S = 0.25
#: Rival lags closer than this are the same.
SAME_LAG_S = 0.25
#: Error of a lag that two explanations of the sounds leave open, in seconds (our choice).
OPEN_ERROR_S = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class LagFound:
    """Log time minus audio time; ``clear`` where no other lag comes near.

    ``seen`` is false where nothing could have shown a lag: it is taken for 0.
    """

    seconds: float
    error_s: float
    clear: bool
    seen: bool = True

    @property
    def doubt_s(self) -> float:
        """Its error, or that of two lags which explain the sounds about equally well."""
        return self.error_s if self.clear else OPEN_ERROR_S


#: Clocks that keep step as they are.
NO_LAG = LagFound(seconds=0.0, error_s=FOUND_ERROR_S, clear=True)


def release_jump(bands: Bands, release_s: FloatArray) -> FloatArray:
    """How much louder it gets at each possible time of the release, in nats.

    Parameters
    ----------
    bands
        Levels that reach beyond the release.
    release_s
        Audio times, shape ``(k,)``.

    Returns
    -------
    ndarray
        Mean level of the 0.3 s after over the 0.5 s before, capped to 0-3.
    """
    level = bands.level.mean(axis=1)
    total = np.concatenate([[0.0], np.cumsum(level)])

    def mean(start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        first, last = (
            np.clip(np.rint((t - bands.start_s) / HOP_S).astype(np.intp), 0, level.size)
            for t in (start_s, end_s)
        )
        return np.asarray((total[last] - total[first]) / np.maximum(last - first, 1))

    jump = mean(release_s + 0.05, release_s + 0.35) - mean(release_s - 0.55, release_s - 0.05)
    whole = (release_s + 0.35 - bands.start_s) / HOP_S < level.size
    return np.where(whole, np.clip(jump, 0.0, MOST_JUMP_NATS), 0.0)


def _other_signs(delay_s: FloatArray, bands: Bands, deflation: Deflation) -> FloatArray:
    """What speaks for a lag apart from the beats: that it is small, and the release."""
    signs = -lag_cost(delay_s)
    if deflation.released:
        release_s = deflation.end_s + delay_s - MIDDLE_DELAY_S
        near = release_s[:, None] + np.array([-KNEE_S, 0.0, KNEE_S])
        signs = signs + JUMP_WEIGHT * release_jump(bands, near).max(axis=1)
    return np.asarray(signs)


def _best_path(
    chart: DelayMap, paths: Paths, bands: Bands, deflation: Deflation
) -> tuple[FloatArray, int, float]:
    """Score of the paths that end at each delay, the best of them, and its mean delay."""
    total = paths.score + _other_signs(chart.delay_s, bands, deflation)
    top = int(np.argmax(total))
    columns = paths.trace(top)
    weight = paths.gains[np.arange(columns.size), columns]
    # A path may wander once the sounds have ended: where they are is what counts.
    return total, top, float(np.average(chart.delay_s[columns], weights=weight + 1e-9))


def needs_no_lag(chart: DelayMap, paths: Paths, bands: Bands, deflation: Deflation) -> bool:
    """Whether a map shows no sign of a lag: its best path lies where sounds come without any.

    Nor does a path of less than the margin by which a lag has to win in the end: it is made
    of noise, or of the first two or three sounds.

    Parameters
    ----------
    chart, paths
        Map of all delays that a lag can cause, and paths through it.
    bands, deflation
        As for :func:`find_lag`.

    Returns
    -------
    bool
        Then the costly map of :func:`find_lag` need not be made.
    """
    if float(paths.score.max()) < LAG_MARGIN_NATS:
        return True
    _, _, middle_s = _best_path(chart, paths, bands, deflation)
    return PLAIN_FROM_S <= middle_s <= PLAIN_TO_S


def lag_cost(delay_s: FloatArray) -> FloatArray:
    """What the lag costs that puts the sounds at a delay, in nats, shape as ``delay_s``."""
    return NATS_PER_SECOND * np.abs(delay_s - MIDDLE_DELAY_S)


def find_lag(
    chart: DelayMap, paths: Paths, plain: Paths, bands: Bands, deflation: Deflation
) -> LagFound:
    """Find the lag at which the cuff's pulses and the sounds keep step.

    Parameters
    ----------
    chart
        Map of all delays that a lag can cause.
    paths
        Paths through it.
    plain
        Paths through the delays that need no lag.
    bands
        Levels over audio time.
    deflation
        Where the release was, log time.

    Returns
    -------
    LagFound
        0 unless another lag explains the sounds better by a margin.
    """
    total, top, middle = _best_path(chart, paths, bands, deflation)
    if PLAIN_FROM_S <= middle <= PLAIN_TO_S:
        return NO_LAG
    best_plain = float(plain.score.max()) + float(
        _other_signs(np.array([MIDDLE_DELAY_S]), bands, deflation)[0]
    )
    margin = max(LAG_MARGIN_NATS, LAG_MARGIN_SHARE * best_plain)
    if float(total[top]) < best_plain + margin:
        return NO_LAG
    away = np.abs(chart.delay_s - chart.delay_s[top]) > SAME_LAG_S
    rival = float(total[away].max()) if away.any() else -np.inf
    return LagFound(
        seconds=MIDDLE_DELAY_S - middle,
        error_s=FOUND_ERROR_S,
        clear=rival < float(total[top]) - LAG_MARGIN_NATS / 2,
    )
