"""What a listening says of each threshold: both ends, muffling, gaps, sounds to zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear import verdict
from tapfall.ear.character import Character, character
from tapfall.ear.muffling import Muffled, find_muffling
from tapfall.ear.record import Record
from tapfall.ear.rules import breath_silences
from tapfall.ear.thresholds import (
    by_rule,
    diastolic_of,
    gaps_of,
    most_told,
    muffling_of,
    systolic_of,
)
from tapfall.ear.told import Told
from tapfall.model import Diastolic, Gap, Reason, Rule, State, Threshold

#: Sounds that are, or may be, heard below this go on to zero.  By the project's definition they do
#: below 10 mmHg; but they fade on the way, the pulses that make the clock vanish from the log, and
#: nobody's sounds end between 10 and 20 (our choice).
ZERO_MMHG = 20.0
#: So far below the muffling nobody's sounds end: K4 and K5 lie 13 mmHg apart on average (11,525
#: youths, Freedman 2014), 6 to 12 as medians in pregnancy (Johenning 1995).  What may be heard
#: there are faint sounds on their way to zero, unless their end is as sure as this (tuned: of 10
#: recordings of 1,401 whose sounds fade unseen 7 are found; of 1,697 others 3 are taken for such,
#: one of them read wrong, the sounds of two going on to zero below the noise).
FAR_BELOW_K4_MMHG, SURE_END = 30.0, 0.97


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Values:
    """The thresholds of a listening, and what the phases of its beats rest on.

    ``last_sound`` is K5 whichever rule the diastolic follows, ``breath`` tells whether sounds
    come and go with the breath near a threshold, ``sounds`` are the beats of the stories that
    sound, shape ``(n,)``, ``found`` is what each beat sounds like, and ``muffled`` the first of
    the sounds that is muffled.
    """

    systolic: Threshold
    diastolic: Diastolic
    last_sound: Threshold
    first_silence: Threshold
    muffling: Threshold
    gaps: tuple[Gap, ...]
    breath: bool
    to_zero: bool
    sounds: np.ndarray
    found: Character
    muffled: Muffled | None

    @property
    def to_end(self) -> bool:
        """Whether nobody heard where the sounds end."""
        return self.last_sound.state is State.NOT_REACHED


def find_values(record: Record, told: Told, present: float, rule: Rule) -> Values:
    """Find every threshold.

    Parameters
    ----------
    record, told
        What was recorded, and the stories of what was heard.
    present
        Probability that the sounds are Korotkoff sounds.
    rule
        What the diastolic is, unless the sounds go on to zero.

    Returns
    -------
    Values
    """
    last, silence = diastolic_of(told, present)
    sounds = np.flatnonzero(most_told(told))
    found = character(record, told.onset_s)
    muffled = find_muffling(found, sounds, told.cuff_mmhg[sounds])
    if muffled is not None and float(told.cuff_mmhg[sounds[muffled.index]]) < ZERO_MMHG:
        muffled = None  # sounds that fade on their way to zero; nobody's diastolic lies there
    muffling = muffling_of(told, sounds, muffled)
    to_zero = _to_zero(told, last, muffling)
    diastolic = by_rule(rule, last, silence, muffling, to_zero)
    if to_zero:
        lowest_mmhg = verdict.rounded(told.pressure_of(told.last_sound))
        silence = Threshold(
            state=State.NOT_REACHED, high_mmhg=lowest_mmhg, reason=Reason.SOUNDS_TO_END
        )
    breath = _breath_dependent(told)
    gaps = gaps_of(told, present)
    return Values(
        systolic=systolic_of(told, present),
        diastolic=diastolic,
        last_sound=last,
        first_silence=silence,
        muffling=muffling,
        gaps=tuple(
            gap for gap in gaps if not any(gap.lower_mmhg <= at <= gap.upper_mmhg for at in breath)
        ),
        breath=bool(breath),
        to_zero=to_zero,
        sounds=sounds,
        found=found,
        muffled=muffled,
    )


def _breath_dependent(told: Told) -> list[float]:
    """Pressures of silences that come and go with the breath, near a threshold."""
    ruled = told.ruled
    if told.alternating or (ruled.first < 0).any():
        return []
    first, last = int(np.median(ruled.first)), int(np.median(ruled.last))
    sounds = told.listening.evidence.log_odds[told.beats] > 0
    silences = breath_silences(sounds, told.cuff_mmhg, told.onset_s, first, last)
    return [float(told.cuff_mmhg[begin]) for begin in silences]


def _to_zero(told: Told, last: Threshold, muffling: Threshold) -> bool:
    """Whether the sounds go on to zero, or an end above it is not sure."""
    heard_mmhg = told.pressure_of(told.last_sound)
    if last.state is State.OBSERVED and not told.ear_moved[1]:
        # Where the ear moved the range holds what nobody heard, not what may have been heard.
        heard_mmhg = min(heard_mmhg, last.low_mmhg or 0.0)
    if heard_mmhg < ZERO_MMHG:
        return True
    unsure = last.state is not State.NOT_REACHED and (last.confidence or 0.0) < SURE_END
    return unsure and (muffling.mmhg or 0.0) - heard_mmhg > FAR_BELOW_K4_MMHG
