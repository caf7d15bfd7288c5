"""What one answer got wrong, and where in the sound it happened."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from tapfall.lesson.anchors import ways_of
from tapfall.lesson.nouns import Answer, Habit, KeyItem

#: An error up to this is none: what two careful observers may differ by (ISO 81060-2, from
#: memory).
NEAR_MMHG = 4.0
#: Scatter of one reading about the place it was read at, SD in mmHg (experts repeat
#: themselves with 0.9 to 2.2 mmHg, 30 filmed sequences).
READ_SD_MMHG = 2.0
#: How far rounding to 10 moves a pressure at most, with half a step of the dial more, mmHg.
HALF_TEN_MMHG = 6.0
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
    Habit.READ_PULSE: "No sound yet: the needle bounces before the first sound. Wait for the "
    "sound, not for the needle.",
    Habit.MUFFLING: "The sounds had become muffled and went on. Listen to the last one.",
    Habit.ROUNDS: "Read to the nearest 2 mmHg.",
}
TOO_HIGH = "Read too high: there the sounds had not begun, or had not ended."
TOO_LOW = "Read too low: there the sounds had gone on for a while, or had ended."
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
    kind, advice = None, ""
    if true is None or read is None:
        error = None
        if (true is None) != (read is None):
            advice = UNTOLD if read is None else NONE_THERE
    else:
        error = read - true
        if abs(error) > NEAR_MMHG:
            kind = explained(item, measure, read, named)
            advice = ADVICE[kind] if kind is not None else TOO_HIGH if error > 0 else TOO_LOW
    return Miss(
        measure=measure,
        true_mmhg=true,
        read_mmhg=read,
        error_mmhg=error,
        kind=kind,
        advice=advice,
        at_s=second_of(item, true),
        read_s=second_of(item, read),
    )


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
