"""What marking found, in words: for the terminal, and the rows of tables."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from tapfall.errors import printable
from tapfall.files.tables import Cell
from tapfall.lesson.errors import ADVICE, Miss
from tapfall.lesson.habits import FEWEST, HabitFound
from tapfall.lesson.marking import WITHIN_MMHG, Errors, Marked, Session
from tapfall.lesson.nouns import Habit
from tapfall.model import CAUTION

WIDTH = 80
NAMES = {
    Habit.MISSED_GAP: "misses the sounds above a silent gap",
    Habit.STOPPED_EARLY: "stops listening in a silent gap",
    Habit.READ_LATE: "reads a beat late",
    Habit.READ_PULSE: "reads the needle before the sound",
    Habit.ROUNDS: "rounds to 0 or 5",
    Habit.MUFFLING: "takes muffling for silence",
}
COLUMNS = (
    "set_id",
    "grade",
    "learner",
    "saved",
    "item",
    "answered",
    "measure",
    "true_mmHg",
    "read_mmHg",
    "error_mmHg",
    "near",
    "what",
    "advice",
    "threshold_at_s",
    "read_at_s",
    "replays",
)


def number(value: float | None, form: str = ".1f") -> str:
    """A number, or a dash where there is none."""
    return "-" if value is None else format(value, form)


def habit_text(found: HabitFound) -> str:
    """Say what was found of a habit.

    Examples
    --------
    >>> habit_text(HabitFound(habit=Habit.ROUNDS, present=None, share=None, items=2, p_value=None))
    'rounds to 0 or 5: cannot be judged (shows on 2 items; 4 are needed)'
    """
    name = NAMES[found.habit]
    if found.present is None or found.share is None:
        items = "1 item" if found.items == 1 else f"{found.items} items"
        return f"{name}: cannot be judged (shows on {items}; {FEWEST} are needed)"
    seen = f"explains {max(found.share, 0.0):.0%} over {found.items} items"
    return f"{name}: {'yes' if found.present else 'no'} ({seen})"


def rows(marked: Marked) -> Iterator[tuple[Cell, ...]]:
    """Rows of the table, one for each value, in the order of :data:`COLUMNS`."""
    for session in marked.sessions:
        for item in session.items:
            head = (marked.set_id, marked.grade, session.learner, session.saved, item.name)
            if not item.answered:
                yield (*head, False, *([None] * (len(COLUMNS) - 6)))
            for one in item.misses:
                yield (*head, True, *_cells(one), item.replays)


def _cells(one: Miss) -> tuple[Cell, ...]:
    what = None if one.kind is None else NAMES[one.kind]
    numbers = (one.true_mmhg, one.read_mmhg, one.error_mmhg)
    return (one.measure, *numbers, one.right, what, one.advice, one.at_s, one.read_s)


def errors_line(errors: Errors) -> str:
    """One measure of one session, in one line."""
    shares = " ".join(f"{share:>5.0%}" for share in errors.within) or "    -     -     -"
    missing = f"  {errors.missing} missing" if errors.missing else ""
    return (
        f"  {errors.measure:<10}{errors.count:>4}{number(errors.mean_mmhg, '+.1f'):>8}"
        f"{number(errors.sd_mmhg):>7} {shares}  {'yes' if errors.passed else 'no'}{missing}"
    )


def marked_text(marked: Marked) -> str:
    """Return what marking found, at most 80 columns, with a line break at the end."""
    learners = len(marked.latest())
    lines = [
        f"Set {printable(marked.set_id)}"
        + (f", grade {printable(marked.grade)}" if marked.grade else "")
        + f": {learners} learner{'s' * (learners != 1)}, {len(marked.sessions)} sessions",
        *textwrap.wrap(f"Pass: {marked.rule.source}", WIDTH),
        "",
        f"  {'mmHg':<10}{'n':>4}{'mean':>8}{'SD':>7} "
        + " ".join(f"{f'<= {bound:g}':>5}" for bound in WITHIN_MMHG)
        + "  pass",
    ]
    for session in marked.sessions:
        lines.append(f"{printable(session.learner)}, {printable(session.saved)}")
        lines += [errors_line(one) for one in session.errors]
        lines += session_lines(session)
    if learners > 1:
        lines += ["", "All learners, latest sessions"]
        lines += [errors_line(one) for one in marked.group]
        for measure, icc in zip(("systolic", "diastolic"), marked.icc, strict=True):
            if icc is not None:
                lines.append(f"  agreement of all, {measure}: ICC(2,1) {number(icc.value, '.3f')}")
    lines += ["", *textwrap.wrap(CAUTION, WIDTH)]
    return "\n".join(lines) + "\n"


def session_lines(session: Session) -> list[str]:
    """Habits, digits and repeatability of a session."""
    lines = [
        f"  {habit_text(found)}"
        for found in session.habits
        if found.present or found.present is None
    ]
    high, low = session.repeat_sd_mmhg
    if session.repeats:
        lines.append(
            f"  repeated items: SD {number(high)} / {number(low)} mmHg over {session.repeats}"
        )
    for found in session.digits:
        if found.state == "look":
            lines += textwrap.wrap(found.sentence, WIDTH - 2, initial_indent="  ",
                                   subsequent_indent="  ")  # fmt: skip
    present = [found.habit for found in session.habits if found.present]
    for habit in present:
        lines += textwrap.wrap(
            f"To do: {ADVICE[habit]}", WIDTH - 2, initial_indent="  ", subsequent_indent="  "
        )
    return lines
