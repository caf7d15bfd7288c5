"""From beats to the reading that follows from them.

The definitions, on the clock of expected beats (ectopics left out):

* Systolic: the first audible beat whose next beat is audible too; or, if none
  is earlier, the first of three audible beats on alternate beats.
* Diastolic: the last beat of the last such run.
* Systolic not reached: fewer than two silent beats before it.  Diastolic not
  reached: fewer than three silent beats after it.
* To zero: audible below 10 mmHg; the diastolic is then the onset of muffling.
* Silent gap: at least two beats in a row and at least 4 mmHg without a sound
  between runs.  Only beats silent in quiet count, for a masked sound is not a
  gap of the person's; within 15 mmHg of a threshold only beats faded by a gap
  count; the others come and go with the breath.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from tapfall.model import Phase, State
from tapfall.synth.truth import TrueBeat, TrueGap, TrueReading, TrueThreshold

GAP_MMHG = 4.0
BREATH_MMHG = 15.0
ZERO_MMHG = 10.0

#: Decimals kept of every number in the truth: far below what matters, far above what differs
#: from machine to machine.
DECIMALS = 6

_UNDETERMINED = TrueThreshold(state=State.UNDETERMINED)


def rounded(value: float | np.floating[Any]) -> float:
    """Round a number of the truth to six decimals.

    Examples
    --------
    >>> rounded(0.1 + 0.2)
    0.3
    """
    return round(float(value), DECIMALS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Audible beats in a row, or on alternate beats: first and last index."""

    first: int
    last: int
    alternating: bool


def runs_of(heard: Sequence[bool]) -> list[Run]:
    """Find the runs that count.

    Parameters
    ----------
    heard
        Whether each expected beat is audible.

    Returns
    -------
    list of Run
        In order of their first beat: at least two in a row, or at least three
        on alternate beats.

    Examples
    --------
    >>> [(run.first, run.last) for run in runs_of([False, True, False, True, True])]
    [(3, 4)]
    >>> [(run.first, run.last) for run in runs_of([True, False, True, False, True, False])]
    [(0, 4)]
    """
    n = len(heard)
    found: list[Run] = []
    i = 0
    while i < n:
        j = i
        while j + 1 < n and heard[i] and heard[j + 1]:
            j += 1
        if heard[i] and j > i:
            found.append(Run(first=i, last=j, alternating=False))
        i = j + 1
    for i in range(n):
        if not heard[i] or (i >= 2 and heard[i - 2] and not heard[i - 1]):
            continue
        j = i
        while j + 2 < n and heard[j + 2] and not heard[j + 1]:
            j += 2
        if j - i >= 4:
            found.append(Run(first=i, last=j, alternating=True))
    return sorted(found, key=lambda run: (run.first, run.last))


def _between(silent: TrueBeat, sounding: TrueBeat, *, top: bool, draw: float) -> float:
    """The threshold between a silent and a sounding beat.

    Where the cuff crossed the pulse's own pressure between the two, the
    crossing; else a place drawn evenly.
    """
    if top:
        outside = silent.systolic_mmhg - silent.cuff_mmhg
        inside = sounding.systolic_mmhg - sounding.cuff_mmhg
    else:
        outside = silent.cuff_mmhg - silent.diastolic_mmhg
        inside = sounding.cuff_mmhg - sounding.diastolic_mmhg
    share = -outside / (inside - outside) if outside <= 0 < inside else draw
    return rounded(silent.cuff_mmhg + share * (sounding.cuff_mmhg - silent.cuff_mmhg))


def _muffling(beats: Sequence[TrueBeat], heard: Sequence[bool], draw: float) -> TrueThreshold:
    sounding = [beat for beat, one in zip(beats, heard, strict=True) if one]
    for before, here in pairwise(sounding):
        if here.phase is Phase.K4 and before.phase is not Phase.K4:
            place = rounded(before.cuff_mmhg + draw * (here.cuff_mmhg - before.cuff_mmhg))
            return TrueThreshold(state=State.OBSERVED, mmhg=here.cuff_mmhg, threshold_mmhg=place)
    return _UNDETERMINED


def _gaps(
    beats: Sequence[TrueBeat], heard: Sequence[bool], runs: Sequence[Run]
) -> tuple[TrueGap, ...]:
    gaps = []
    top, bottom = beats[runs[0].first].cuff_mmhg, beats[max(r.last for r in runs)].cuff_mmhg
    last = runs[0].last
    for run in runs[1:]:
        if run.first > last + 1:
            upper, lower = beats[last].cuff_mmhg, beats[run.first].cuff_mmhg
            inner = range(last + 1, run.first)
            silent = [not heard[i] and not beats[i].audible_in_quiet for i in inner]
            longest = _longest(silent)
            faded = _longest([beats[i].phase is Phase.GAP for i in inner])
            near = top - upper < BREATH_MMHG or lower - bottom < BREATH_MMHG
            if upper - lower >= GAP_MMHG and (faded if near else longest) >= 2:
                gaps.append(
                    TrueGap(
                        upper_mmhg=upper,
                        lower_mmhg=lower,
                        silent_beats=sum(not heard[i] for i in inner),
                    )
                )
        last = max(last, run.last)
    return tuple(gaps)


def _longest(flags: Sequence[bool]) -> int:
    best = count = 0
    for flag in flags:
        count = count + 1 if flag else 0
        best = max(best, count)
    return best


def read_beats(
    beats: Sequence[TrueBeat], heard: Sequence[bool], rng: np.random.Generator
) -> TrueReading:
    """Return the reading that follows from beats of the hold and one deflation.

    Parameters
    ----------
    beats
        In order of time, from the top of the inflation to the release.
    heard
        Whether each of them is audible.
    rng
        Draws the thresholds that no crossing settles.

    Returns
    -------
    TrueReading
        ``readable`` is false where no run of sounds was audible.
    """
    draws = rng.random(4)
    pairs = [(beat, one) for beat, one in zip(beats, heard, strict=True) if beat.expected]
    clock = [beat for beat, _ in pairs]
    sound = [one for _, one in pairs]
    runs = runs_of(sound)
    if not runs:
        return TrueReading(
            systolic=_UNDETERMINED,
            diastolic=_UNDETERMINED,
            first_silence=_UNDETERMINED,
            muffling=_UNDETERMINED,
            readable=False,
        )
    first = runs[0]
    last = max(runs, key=lambda run: run.last)
    audible_mmhg = [beat.cuff_mmhg for beat, one in pairs if one]
    silent_above = sum(not one for one in sound[: first.first])
    silent_below = sum(not one for one in sound[last.last + 1 :])
    muffling = _muffling(clock, sound, float(draws[2]))
    if silent_above < 2:
        systolic = TrueThreshold(state=State.NOT_REACHED, bound_mmhg=max(audible_mmhg))
    else:
        back = 2 if first.alternating and not sound[first.first - 2] else 1
        here, before = clock[first.first], clock[first.first - back]
        systolic = TrueThreshold(
            state=State.OBSERVED,
            mmhg=here.cuff_mmhg,
            threshold_mmhg=_between(before, here, top=True, draw=float(draws[0])),
        )
    to_zero = min(audible_mmhg) < ZERO_MMHG
    if to_zero:
        diastolic = muffling
        silence = TrueThreshold(state=State.NOT_REACHED, bound_mmhg=min(audible_mmhg))
    elif silent_below < 3:
        diastolic = TrueThreshold(state=State.NOT_REACHED, bound_mmhg=min(audible_mmhg))
        silence = diastolic
    else:
        here = clock[last.last]
        ahead = 2 if last.alternating else 1
        place = _between(clock[last.last + ahead], here, top=False, draw=float(draws[1]))
        diastolic = TrueThreshold(state=State.OBSERVED, mmhg=here.cuff_mmhg, threshold_mmhg=place)
        silence = TrueThreshold(
            state=State.OBSERVED,
            mmhg=clock[last.last + 1].cuff_mmhg,
            threshold_mmhg=place,
        )
    return TrueReading(
        systolic=systolic,
        diastolic=diastolic,
        first_silence=silence,
        muffling=muffling,
        gaps=_gaps(clock, sound, runs),
        to_zero=to_zero,
        alternating=first.alternating,
        isolated_sound=any(sound[: first.first]),
    )
