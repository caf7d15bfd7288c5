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
from tapfall.lesson.nouns import Habit
from tapfall.model import CAUTION

WIDTH = 80
NAMES = {
    Habit.MISSED_GAP: "misses the sounds above a silent gap",
    Habit.STOPPED_EARLY: "stops listening too early",
    Habit.READ_LATE: "reads a beat late",
    Habit.READ_PULSE: "reads the needle before the sound",
    Habit.ROUNDS: "rounds to 0 or 5",
    Habit.MUFFLING: "takes muffling for silence",
}
#: Values that are told in the text, the furthest off first (our choice).
MOST_TOLD = 3


def number(value: float | None, form: str = ".1f") -> str:
    """A number, or a dash where there is none."""
    return "-" if value is None else format(value, form)


def habit_text(found: HabitFound) -> str:
    """Say what was found of a habit.

    Examples
    --------
    >>> habit_text(HabitFound(habit=Habit.ROUNDS, present=None, share=None, items=2, evidence=None))
    'rounds to 0 or 5: cannot be judged (can show on 2 items; 4 are needed)'
    """
    name = NAMES[found.habit]
    items = "1 item" if found.items == 1 else f"{found.items} items"
    if found.present is None:
        why = f"{FEWEST} are needed" if found.items < FEWEST else "too much scatter to tell"
        return f"{name}: cannot be judged (can show on {items}; {why})"
    if not found.present or found.share is None:
        return f"{name}: no sign of it (can show on {items})"
    return f"{name}: yes, about {found.share:.0%} of the time (can show on {items})"


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
    return f"{cause.measure}, {name}: {cause.count}"


def digits_text(digits: Digits) -> str:
    """Say how often values ended in 0 and in 5.

    Examples
    --------
    >>> digits_text(Digits(counts=(12, 0, 3, 0, 4, 5, 3, 0, 3, 0), findings=()))
    'last digits: 12 of 30 values end in 0 (by chance 3, read to 2 mmHg 6), 5 in 5'
    """
    total = sum(digits.counts)
    if not total:
        return "last digits: no values"
    return (
        f"last digits: {digits.counts[0]} of {total} values end in 0 (by chance "
        f"{total / 10:.0f}, read to 2 mmHg {total / 5:.0f}), {digits.counts[5]} in 5"
    )


def repeats_text(found: Sequence[Repeated]) -> str:
    """Say how well readings of the same sound agree; empty where there are none.

    Examples
    --------
    >>> repeats_text([Repeated(measure="systolic", count=4, mean_mmhg=0.0, sd_mmhg=1.5,
    ...                        bound_mmhg=4.2)])
    'sounds heard twice: systolic SD 1.5 mmHg over 4'
    """
    if not found:
        return ""
    parts = [f"{one.measure} SD {one.sd_mmhg:.1f} mmHg over {one.count}" for one in found]
    return f"sounds heard twice: {', '.join(parts)}"


def passed_text(passed: bool | None) -> str:
    """Say whether a session was passed."""
    return "no examination" if passed is None else "passed" if passed else "not passed"


def what_text(miss: Miss) -> str:
    """Say what a value that is not near comes from, and what to listen for."""
    if miss.kind is None:
        return miss.advice
    name = NAMES[miss.kind]
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
            f"Set {printable(marked.set_id)}{grade}: {_count(group.learners, 'learner')}, "
            f"{_count(len(marked.sessions), 'session')}, {group.passed} passed",
            "",
        ),
        *_wrapped(f"Pass: {marked.rule.source}", ""),
        "",
        f"  {'mmHg':<10}{'n':>4}{'mean':>8}{'SD':>7} "
        + " ".join(f"{f'<= {bound:g}':>5}" for bound in WITHIN_MMHG),
    ]
    for session in marked.sessions:
        other = "" if session.set_id == marked.set_id else f", set {printable(session.set_id)}"
        head = f"{printable(session.learner)}, {printable(session.saved)}{other}"
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
    habits = [found for found in session.habits if found.present]
    texts = [habit_text(found) for found in habits]
    unjudged = [NAMES[found.habit] for found in session.habits if found.present is None]
    if unjudged:
        texts.append(f"cannot be judged: {', '.join(unjudged)}")
    texts.append(digits_text(session.digits))
    if session.repeats:
        texts.append(repeats_text(session.repeats))
    far = sorted(
        (
            (abs(one.error_mmhg), item.name, one)
            for item in session.items
            for one in item.misses
            if one.error_mmhg is not None and not one.right
        ),
        key=lambda row: -row[0],
    )
    for _, name, one in far[:MOST_TOLD]:
        where = "" if one.at_s is None else f" at {one.at_s:.1f} s"
        texts.append(
            f"{printable(name)}{where}: {one.measure} {number(one.error_mmhg, '+.0f')} mmHg. "
            f"{what_text(one)}"
        )
    if len(far) > MOST_TOLD:
        texts.append(f"and {len(far) - MOST_TOLD} more values further off than 4 mmHg")
    return texts


def group_texts(group: Group) -> list[str]:
    """Causes, habits, digits and agreement of all learners."""
    texts = [cause_text(cause) for cause in group.causes]
    texts += [
        f"{NAMES[habit]}: {_count(count, 'learner')}" for habit, count in group.habits if count
    ]
    texts.append(digits_text(group.digits))
    if group.repeats:
        texts.append(repeats_text(group.repeats))
    for measure, icc in zip(MEASURES, group.icc, strict=True):
        if icc is not None:
            texts.append(f"agreement of all, {measure}: ICC(2,1) {number(icc.value, '.3f')}")
    for measure in MEASURES:
        pairs = [one for one in group.apart if one.measure == measure]
        if pairs:
            kept = sum(one.kept for one in pairs)
            texts.append(
                f"{kept} of {_count(len(pairs), 'pair')} of learners agree on {measure} as wanted "
                f"{BETWEEN_SOURCE}"
            )
    return texts


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH - 2, initial_indent=indent, subsequent_indent=f"{indent}  "
    ) or [""]


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
