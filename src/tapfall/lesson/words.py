"""What marking found, in words, and as text for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from tapfall.errors import printable
from tapfall.lesson.between import BETWEEN_SOURCE, MEASURES, Repeated
from tapfall.lesson.errors import Miss
from tapfall.lesson.habits import FEWEST, HabitFound
from tapfall.lesson.marking import (
    WITHIN_MMHG,
    Cause,
    Digits,
    Errors,
    Group,
    Marked,
    Session,
)
from tapfall.lesson.nouns import NOT_DATED, Habit
from tapfall.model import CAUTION
from tapfall.wording import WIDTH, counted

NAMES = {
    Habit.MISSED_GAP: "misses the sounds above a silent gap",
    Habit.STOPPED_EARLY: "stops listening too early",
    Habit.READ_LATE: "reads a beat late",
    Habit.READ_PULSE: "reads the needle before the sound",
    Habit.ROUNDS: "rounds to 0 or 5",
    Habit.MUFFLING: "takes muffling for silence",
}
#: What is no habit: a sound was there, but it makes no value.
ALONE_NAME = "takes a sound that does not count"
#: Places that are told in the text for one cause, the furthest off first (our choice).
MOST_TOLD = 3


def number(value: float | None, form: str = ".1f") -> str:
    """A number, or a dash where there is none."""
    return "-" if value is None else format(value, form)


def habit_texts(habits: Sequence[HabitFound]) -> list[str]:
    """Say what was found of habits: those that are named one by one, the others together.

    Examples
    --------
    >>> found = [HabitFound(habit=Habit.ROUNDS, present=True, share=0.8, items=15, evidence=9.0),
    ...          HabitFound(habit=Habit.MUFFLING, present=None, share=None, items=2, evidence=None),
    ...          HabitFound(habit=Habit.READ_LATE, present=False, share=None, items=15,
    ...                     evidence=-1.0)]
    >>> for text in habit_texts(found):
    ...     print(text)
    rounds to 0 or 5: yes, about 80 % of the time
    no sign of: reads a beat late
    cannot be judged, can show on fewer than 4 items: takes muffling for silence
    """
    texts = [
        f"{NAMES[one.habit]}: yes, about {100.0 * one.share:.0f} % of the time"
        for one in habits
        if one.present and one.share is not None
    ]
    for start, some in (
        ("no sign of", [one for one in habits if one.present is False]),
        (
            f"cannot be judged, can show on fewer than {FEWEST} items",
            [one for one in habits if one.present is None and one.items < FEWEST],
        ),
        (
            "cannot be judged, might not show in these answers",
            [one for one in habits if one.present is None and one.items >= FEWEST],
        ),
    ):
        if some:
            texts.append(f"{start}: {', '.join(NAMES[one.habit] for one in some)}")
    return texts


def cause_text(cause: Cause) -> str:
    """Say how often something was the cause.

    Examples
    --------
    >>> cause_text(Cause(habit=Habit.MUFFLING, measure="diastolic", missing=False, count=3))
    'diastolic, takes muffling for silence: 3'
    """
    if cause.missing:
        name = "not told, or told where nothing can be"
    else:
        name = "off for no cause that is known" if cause.habit is None else NAMES[cause.habit]
        name = ALONE_NAME if cause.alone else name
    return f"{cause.measure}, {name}: {cause.count}"


def digits_text(digits: Digits) -> str:
    """Say how often values ended in 0 and in 5.

    Examples
    --------
    >>> digits_text(Digits(counts=(12, 0, 3, 0, 4, 5, 3, 0, 3, 0), findings=()))
    'last digits: 12 of 30 values end in 0 (6 by chance, read to 2 mmHg), 5 in 5'
    """
    total = sum(digits.counts)
    if not total:
        return "last digits: no values"
    return (
        f"last digits: {digits.counts[0]} of {total} values end in 0 "
        f"({total / 5:.0f} by chance, read to 2 mmHg), {digits.counts[5]} in 5"
    )


def repeats_text(found: Sequence[Repeated]) -> str:
    """Say how well readings of the same sound agree; empty where there are none.

    Examples
    --------
    >>> repeats_text([Repeated(measure="systolic", count=4, mean_mmhg=0.0, sd_mmhg=1.5,
    ...                        bound_mmhg=4.2)])
    'sounds heard twice: SD 1.5 mmHg systolic (4)'
    """
    if not found:
        return ""
    parts = [f"{one.sd_mmhg:.1f} mmHg {one.measure} ({one.count})" for one in found]
    return f"sounds heard twice: SD {', '.join(parts)}"


def passed_text(passed: bool | None) -> str:
    """Say whether a session was passed."""
    return "no examination" if passed is None else "passed" if passed else "not passed"


def group_passed_text(group: Group) -> str:
    """Say how many passed, each by the latest examination; empty where nobody was examined."""
    if not group.examined:
        return ""
    return f"{group.passed} of {group.examined} who were examined passed"


def name_of(miss: Miss) -> str | None:
    """The cause of one value in words, None where none is known."""
    if miss.alone:
        return ALONE_NAME
    return None if miss.kind is None else NAMES[miss.kind]


def what_text(miss: Miss) -> str:
    """Say what a value that is not near comes from, and what to listen for."""
    name = name_of(miss)
    if name is None:
        return miss.advice
    return f"{name[:1].upper()}{name[1:]}. {miss.advice}"


def errors_line(errors: Errors) -> str:
    """One measure of one session, in one line."""
    shares = " ".join(f"{share:>5.0%}" for share in errors.within)
    missing = f"  {errors.missing} missing" if errors.missing else ""
    return (
        f"  {errors.measure:<10}{errors.count:>4}{number(errors.mean_mmhg, '+.1f'):>8}"
        f"{number(errors.sd_mmhg):>7} {shares}{missing}"
    )


def marked_text(marked: Marked) -> str:
    """Return what marking found, at most 80 columns, with a line break at the end."""
    group = marked.group
    grade = f", grade {printable(marked.grade)}" if marked.grade else ""
    lines = [
        *_wrapped(
            f"Set {printable(marked.set_id)}{grade}: {counted(group.learners, 'learner')}, "
            f"{counted(len(marked.sessions), 'session')}{', ' * bool(group.examined)}"
            f"{group_passed_text(group)}",
            "",
        ),
        *_wrapped(f"Pass: {marked.rule.source}", ""),
        "",
        f"  {'mmHg':<10}{'n':>4}{'mean':>8}{'SD':>7} "
        + " ".join(f"{f'<= {bound:g}':>5}" for bound in WITHIN_MMHG),
    ]
    for session in marked.sessions:
        other = "" if session.set_id == marked.set_id else f", set {printable(session.set_id)}"
        head = f"{printable(session.learner)}, {printable(saved_text(session.saved))}{other}"
        lines += _wrapped(f"{head}: {passed_text(session.passed)}", "")
        lines += [errors_line(one) for one in session.errors]
        for text in session_texts(session):
            lines += _wrapped(text, "  ")
    if group.learners > 1:
        lines += ["", "All learners, the latest session of each"]
        lines += [errors_line(one) for one in group.errors]
        for text in group_texts(group):
            lines += _wrapped(text, "  ")
    lines += ["", *textwrap.wrap(CAUTION, WIDTH)]
    return "\n".join(lines) + "\n"


def session_texts(session: Session) -> list[str]:
    """Habits, digits, repeatability and places to listen again, of one session."""
    texts = habit_texts(session.habits)
    texts.append(digits_text(session.digits))
    if session.repeats:
        texts.append(repeats_text(session.repeats))
    return texts + _places(session)


def _places(session: Session) -> list[str]:
    """What went wrong, the most frequent first: where to listen again, and for what."""
    by_advice: dict[tuple[str, str], list[tuple[str, Miss]]] = {}
    for item in session.items:
        for one in item.misses:
            if not one.right:
                by_advice.setdefault((one.measure, what_text(one)), []).append((item.name, one))
    texts = []
    for (measure, what), misses in sorted(by_advice.items(), key=lambda one: -len(one[1])):
        places = [
            f"{printable(name)}"
            + ("" if one.at_s is None else f" at {one.at_s:.1f} s")
            + ("" if one.error_mmhg is None else f" ({one.error_mmhg:+.0f} mmHg)")
            for name, one in sorted(misses, key=lambda row: -abs(row[1].error_mmhg or 0.0))
        ]
        more = f" and {len(places) - MOST_TOLD} more" if len(places) > MOST_TOLD else ""
        texts.append(f"{measure}, {', '.join(places[:MOST_TOLD])}{more}: {what}")
    return texts


def group_texts(group: Group) -> list[str]:
    """Causes, habits, digits and agreement of all learners."""
    texts = [cause_text(cause) for cause in group.causes]
    texts += group_habit_texts(group)
    texts.append(digits_text(group.digits))
    if group.repeats:
        texts.append(repeats_text(group.repeats))
    iccs = [
        f"{number(icc.value, '.3f')} {measure}"
        for measure, icc in zip(MEASURES, group.icc, strict=True)
        if icc is not None
    ]
    if iccs:
        texts.append(f"agreement of all, ICC(2,1): {', '.join(iccs)}")
    if group.apart:
        kept = []
        for measure in MEASURES:
            pairs = [one for one in group.apart if one.measure == measure]
            kept.append(f"{sum(one.kept for one in pairs)} of {len(pairs)} {measure}")
        texts.append(f"pairs that agree ({BETWEEN_SOURCE}): {', '.join(kept)}")
    return texts


def group_habit_texts(group: Group) -> list[str]:
    """How many learners have each habit that any of them has."""
    return [
        f"{NAMES[habit]}: {counted(count, 'learner')}" for habit, count in group.habits if count
    ]


def saved_text(saved: str) -> str:
    """A day and time as people write them, to the minute.

    Examples
    --------
    >>> saved_text("2026-01-05T10:00:00Z"), saved_text("2026-01-05")
    ('2026-01-05 10:00', '2026-01-05')
    >>> saved_text(NOT_DATED)
    'not dated'
    """
    return "not dated" if saved == NOT_DATED else saved[:16].replace("T", " ")


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH - 2, initial_indent=indent, subsequent_indent=f"{indent}  "
    ) or [""]
