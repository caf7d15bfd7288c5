"""What one answer got wrong, and where in the sound it happened."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.lesson.nouns import Answer, Habit, KeyItem

#: An error up to this is none: what two careful observers may differ by (ISO 81060-2, from
#: memory).
NEAR_MMHG = 4.0
#: A value counts as read at a place when it is this near (our choice), or within a beat.
AT_MMHG = 3.0

#: What to listen for next time, by what went wrong.
ADVICE = {
    Habit.MISSED_GAP: "Sounds were there above a silent gap. Inflate higher and listen from the "
    "top: the first sounds may stop and come back.",
    Habit.STOPPED_EARLY: "The sounds came back after a silence. Listen on to the release.",
    Habit.READ_LATE: "The value belongs to the sound before. Read the dial when the first of two "
    "sounds comes; for the diastolic, at the last one heard.",
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


def targets(item: KeyItem, measure: str) -> dict[Habit, float]:
    """Return what each habit would read on an item, mmHg, where it shows.

    Whoever reads the pulse of the needle reads somewhere above the sounds: 8 mmHg stands
    for it.

    Examples
    --------
    >>> from tapfall.lesson.nouns import KeyGap
    >>> item = KeyItem(name="a", systolic_mmhg=160.0, diastolic_mmhg=90.0, k4_mmhg=97.0,
    ...     gaps=(KeyGap(upper_mmhg=150.0, lower_mmhg=130.0),), offset_mmhg=0.0, step_mmhg=2.0,
    ...     beats=(), shows=tuple(Habit))
    >>> targets(item, "systolic")[Habit.MISSED_GAP], targets(item, "diastolic")[Habit.MUFFLING]
    (130.0, 97.0)
    """
    true = item.systolic_mmhg if measure == "systolic" else item.diastolic_mmhg
    if true is None:
        return {}
    found = {Habit.READ_LATE: true - item.step_mmhg}
    if measure == "systolic":
        found[Habit.READ_PULSE] = true + max(8.0, 3 * item.step_mmhg)
        if item.gaps:
            found[Habit.MISSED_GAP] = min(gap.lower_mmhg for gap in item.gaps)
    else:
        if item.gaps:
            found[Habit.STOPPED_EARLY] = max(gap.upper_mmhg for gap in item.gaps)
        if item.k4_mmhg is not None:
            found[Habit.MUFFLING] = item.k4_mmhg
    return {habit: value for habit, value in found.items() if habit in item.shows}


def misses(item: KeyItem, answer: Answer) -> tuple[Miss, Miss]:
    """Hold one answer against the key: systolic, then diastolic."""
    return (_miss(item, answer, "systolic"), _miss(item, answer, "diastolic"))


def _miss(item: KeyItem, answer: Answer, measure: str) -> Miss:
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
            kind = explained(item, measure, read)
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


def explained(item: KeyItem, measure: str, read_mmhg: float) -> Habit | None:
    """Return the habit whose value lies nearest to what was read, if one lies near."""
    found = targets(item, measure)
    if not found:
        return None
    nearest = min(found, key=lambda habit: abs(found[habit] - read_mmhg))
    reach = max(AT_MMHG, item.step_mmhg)
    if nearest is Habit.READ_PULSE:  # it may be read anywhere above
        reach = 8.0
    return nearest if abs(found[nearest] - read_mmhg) <= reach else None


def second_of(item: KeyItem, mmhg: float | None) -> float | None:
    """Return the second at which the cuff stood at a pressure: that of the nearest beat."""
    if mmhg is None or not item.beats:
        return None
    return min(item.beats, key=lambda beat: abs(beat.mmhg - mmhg)).time_s
