"""What one answer got wrong, and where in the sound it happened."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from tapfall.lesson.anchors import ways_of
from tapfall.lesson.nouns import Answer, Habit, KeyItem
from tapfall.study.agreement.rows import APART_MMHG

#: An error up to this is none: what two careful observers may differ by.
NEAR_MMHG = APART_MMHG
#: Scatter of one reading about the place it was read at, SD in mmHg (experts repeat
#: themselves with 0.9 to 2.2 mmHg, 30 filmed sequences).
READ_SD_MMHG = 2.0
#: How far rounding to 10 moves a pressure at most, with half a step of the dial more, mmHg.
HALF_TEN_MMHG = 6.0
#: A beat so near a value is the one that makes it, mmHg; two beats lie further apart.
SAME_BEAT_MMHG = 0.5
#: So many sounds below the onset of muffling are no single ones (our choice: two in a row would
#: make a diastolic, and one may be an early beat).
FEWEST_TO_ZERO = 3
#: One even pressure in five ends in 0: so little does a single one say of rounding.
ZEROS_SHARE = 0.2
#: A habit that the learner has explains an error so many times likelier (our choice).
NAMED_ODDS = 10.0
#: Gross errors: some in a hundred, evenly over 60 mmHg either side (our choice).
_GROSS_PER_MMHG = 0.08 / 120.0

#: What to listen for next time, by what went wrong.
ADVICE = {
    Habit.MISSED_GAP: "Sounds were there above a silent gap. Inflate higher and listen from the "
    "top: the first sounds may stop and come back.",
    Habit.STOPPED_EARLY: "Sounds went on below. Listen on to the release: the last ones are "
    "faint, and sounds may come back after a silence.",
    Habit.READ_LATE: "Read the dial at the first of two sounds in a row, not at the next one; for "
    "the diastolic at the last sound, not after it.",
    Habit.READ_PULSE: "The needle bounces where no sound is, before the systolic. Wait for the "
    "sound, not for the needle.",
    Habit.MUFFLING: "The sounds had become muffled and went on. Listen to the last one.",
    Habit.ROUNDS: "Read to the nearest 2 mmHg.",
}
#: Where none of them explains it, by the measure.
TOO_HIGH = {
    "systolic": "Read too high: there the sounds that count had not begun.",
    "diastolic": "Read too high: there the sounds had not ended.",
}
TOO_LOW = {
    "systolic": "Read too low: there the sounds had gone on for a while.",
    "diastolic": "Read too low: there the sounds that count had ended.",
}
#: Where the value was read at a sound that does not make it.
_ALONE = (
    "A single sound, or that of an early beat, does not count: the {measure} is the {place} of two "
    "sounds in a row (of three where every second beat sounds), early beats left out."
)
ALONE = {
    "systolic": _ALONE.format(measure="systolic", place="first"),
    "diastolic": _ALONE.format(measure="diastolic", place="last"),
}
TO_ZERO = (
    "The sounds went on to zero: the diastolic is then where they become muffled, not the last one."
)
UNTOLD = "The value can be told from this recording."
NONE_THERE = "It cannot be told from this recording."


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """One value of one answer.

    Parameters
    ----------
    measure
        ``systolic`` or ``diastolic``.
    true_mmhg, read_mmhg
        True pressure and what was read, the dial's displacement taken off; None where it
        cannot be told, or was said to be so.
    error_mmhg
        Read minus true.
    kind
        The habit that explains the error best; None where it is near, or none does.
    advice
        What to listen for, empty where the value is near.
    alone
        Whether a sound was there that does not count: one alone, or of an early beat.
    at_s
        Where in the sound the true threshold lies, and ``read_s`` where the value was read.
    """

    measure: str
    true_mmhg: float | None
    read_mmhg: float | None
    error_mmhg: float | None
    kind: Habit | None
    advice: str
    at_s: float | None
    read_s: float | None
    alone: bool = False

    @property
    def right(self) -> bool:
        """Whether the value is near, or rightly said not to be told."""
        return not self.advice


def misses(item: KeyItem, answer: Answer, named: Collection[Habit] = ()) -> tuple[Miss, Miss]:
    """Hold one answer against the key: systolic, then diastolic.

    Parameters
    ----------
    item, answer
        An item of the key, and the answer to it.
    named
        Habits that the learner is known to have: likelier causes of an error than others.
    """
    return (_miss(item, answer, "systolic", named), _miss(item, answer, "diastolic", named))


def _miss(item: KeyItem, answer: Answer, measure: str, named: Collection[Habit]) -> Miss:
    true = item.systolic_mmhg if measure == "systolic" else item.diastolic_mmhg
    said = answer.systolic_mmhg if measure == "systolic" else answer.diastolic_mmhg
    read = None if said is None else said - item.offset_mmhg
    kind, advice, alone = None, "", False
    if true is None or read is None:
        error = None
        if (true is None) != (read is None):
            advice = UNTOLD if read is None else NONE_THERE
    else:
        error = read - true
        if abs(error) > NEAR_MMHG:
            kind = explained(item, measure, read, named)
            advice = (TOO_HIGH if error > 0 else TOO_LOW)[measure]
            if kind is not None:
                advice = ADVICE[kind]
            if _at_sound_beyond(item, measure, read) and kind is not Habit.ROUNDS:
                kind, alone = None, not _to_zero(item, measure)
                advice = ALONE[measure] if alone else TO_ZERO
    return Miss(
        measure=measure,
        true_mmhg=true,
        read_mmhg=read,
        error_mmhg=error,
        kind=kind,
        advice=advice,
        at_s=second_of(item, true),
        read_s=second_of(item, read),
        alone=alone,
    )


def sounds_beyond(item: KeyItem, measure: str) -> list[float]:
    """Return the pressures of audible beats above the systolic, or below the diastolic.

    Parameters
    ----------
    item, measure
        An item of the key; ``systolic`` or ``diastolic``.

    Examples
    --------
    >>> from tapfall.lesson.nouns import KeyBeat
    >>> from tapfall.model import Phase
    >>> item = KeyItem(name="a", systolic_mmhg=120.0, diastolic_mmhg=90.0, k4_mmhg=None,
    ...     gaps=(), offset_mmhg=0.0, step_mmhg=3.0, shows=(),
    ...     beats=(KeyBeat(time_s=4.0, mmhg=126.0, audible=True, phase=Phase.K1),))
    >>> sounds_beyond(item, "systolic"), sounds_beyond(item, "diastolic")
    ([126.0], [])
    """
    heard = [beat.mmhg for beat in item.beats if beat.audible]
    if measure == "systolic":
        true = item.systolic_mmhg
        return [] if true is None else [mmhg for mmhg in heard if mmhg > true + SAME_BEAT_MMHG]
    true = item.diastolic_mmhg
    return [] if true is None else [mmhg for mmhg in heard if mmhg < true - SAME_BEAT_MMHG]


def _at_sound_beyond(item: KeyItem, measure: str, read_mmhg: float) -> bool:
    """Whether a reading stands at a sound that does not make the value."""
    near = max(READ_SD_MMHG, item.step_mmhg / 2.0)
    return any(abs(mmhg - read_mmhg) <= near for mmhg in sounds_beyond(item, measure))


def _to_zero(item: KeyItem, measure: str) -> bool:
    """Whether the diastolic is the onset of muffling, since the sounds do not end."""
    if measure == "systolic" or item.k4_mmhg is None or item.diastolic_mmhg is None:
        return False
    muffled = abs(item.k4_mmhg - item.diastolic_mmhg) <= SAME_BEAT_MMHG
    return muffled and len(sounds_beyond(item, measure)) >= FEWEST_TO_ZERO


def explained(
    item: KeyItem, measure: str, read_mmhg: float, named: Collection[Habit] = ()
) -> Habit | None:
    """Return the habit that explains a reading best, if one does better than chance.

    Each habit is as likely before, those that are named ten times so; a gross error
    anywhere within 60 mmHg is what none of them explains.  One reading suggests a cause; it
    shows no habit.

    Parameters
    ----------
    item, measure
        What was read.
    read_mmhg
        The reading, the dial's displacement taken off.
    named
        Habits that the learner is known to have.

    Examples
    --------
    >>> item = KeyItem(name="a", systolic_mmhg=160.0, diastolic_mmhg=90.0, k4_mmhg=97.0,
    ...     gaps=(), offset_mmhg=0.0, step_mmhg=2.0, beats=(), shows=())
    >>> explained(item, "diastolic", 98.0), explained(item, "diastolic", 70.0)
    (<Habit.MUFFLING: 'muffling'>, None)
    """
    odds: dict[Habit | None, float] = {None: _GROSS_PER_MMHG}
    for habit, ways in ways_of(item, measure).items():
        odds[habit] = max(
            sum(share * _near(read_mmhg - place) for place, share in way) for way in ways
        )
    true = item.systolic_mmhg if measure == "systolic" else item.diastolic_mmhg
    if true is not None and abs(read_mmhg - true) <= HALF_TEN_MMHG:
        odds[Habit.ROUNDS] = _round_odds(read_mmhg + item.offset_mmhg)
    odds = {one: value * (NAMED_ODDS if one in named else 1.0) for one, value in odds.items()}
    best = max(odds, key=lambda one: odds[one])
    return best if odds[best] > 0.5 * sum(odds.values()) else None


def _near(distance_mmhg: float) -> float:
    """Density of a reading so far from its place, per mmHg."""
    return math.exp(-0.5 * (distance_mmhg / READ_SD_MMHG) ** 2) / (
        READ_SD_MMHG * math.sqrt(2.0 * math.pi)
    )


def _round_odds(dial_mmhg: float) -> float:
    """Rounded to 10, any of ten pressures is as likely; by chance one in five ends in 0."""
    return 0.1 * ZEROS_SHARE if round(dial_mmhg) % 10 == 0 else 0.0


def second_of(item: KeyItem, mmhg: float | None) -> float | None:
    """Return the second at which the cuff stood at a pressure: that of the nearest beat."""
    if mmhg is None or not item.beats:
        return None
    return min(item.beats, key=lambda beat: abs(beat.mmhg - mmhg)).time_s
