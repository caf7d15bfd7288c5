"""What marking found, as rows of two tables: one for each value, one for each session."""

from __future__ import annotations

from collections.abc import Iterator

from tapfall.files.tables import Cell
from tapfall.lesson.between import MEASURES
from tapfall.lesson.errors import Miss
from tapfall.lesson.marking import WITHIN_MMHG, Marked, Session
from tapfall.lesson.nouns import NOT_DATED, Habit
from tapfall.lesson.words import name_of

#: A row for each value that was asked for.
VALUE_COLUMNS = (
    "set_id",
    "learner",
    "saved",
    "mode",
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
#: A row for each session of each learner, in order of time.
SESSION_COLUMNS = (
    "set_id",
    "learner",
    "saved",
    "mode",
    "session",
    "passed",
    *(
        f"{measure}_{name}"
        for measure in MEASURES
        for name in (
            "values",
            "missing",
            "mean_mmHg",
            "sd_mmHg",
            *(f"within_{bound:g}_share" for bound in WITHIN_MMHG),
            "repeat_sd_mmHg",
        )
    ),
    *(f"digit_{digit}" for digit in range(10)),
    *(habit.value for habit in Habit),
)


def value_rows(marked: Marked) -> Iterator[tuple[Cell, ...]]:
    """Rows of every value, in the order of :data:`VALUE_COLUMNS`.

    An item without an answer has two rows too, without values.
    """
    for session in marked.sessions:
        for item in session.items:
            saved = _dated(session.saved)
            head = (session.set_id, session.learner, saved, str(session.mode), item.name)
            if not item.answered:
                for measure in MEASURES:
                    rest = len(VALUE_COLUMNS) - len(head) - 2
                    yield (*head, False, measure, *([None] * rest))
            for one in item.misses:
                yield (*head, True, *_cells(one), item.replays)


def _dated(saved: str) -> str | None:
    return None if saved == NOT_DATED else saved


def _cells(one: Miss) -> tuple[Cell, ...]:
    numbers = map(_rounded, (one.true_mmhg, one.read_mmhg, one.error_mmhg))
    return (one.measure, *numbers, one.right, name_of(one), one.advice, one.at_s, one.read_s)


def session_rows(marked: Marked) -> Iterator[tuple[Cell, ...]]:
    """Rows of every session, in the order of :data:`SESSION_COLUMNS`.

    A habit is ``yes``, ``no``, or empty where it cannot be judged; so is ``passed`` where it
    was no examination.
    """
    place: dict[str, int] = {}
    for session in marked.sessions:
        place[session.learner] = place.get(session.learner, 0) + 1
        yield (
            session.set_id,
            session.learner,
            _dated(session.saved),
            str(session.mode),
            place[session.learner],
            session.passed,
            *_error_cells(session),
            *session.digits.counts,
            *(found.present for found in session.habits),
        )


def _error_cells(session: Session) -> Iterator[Cell]:
    repeat = {one.measure: one.sd_mmhg for one in session.repeats}
    for one in session.errors:
        yield from (one.count, one.missing, _rounded(one.mean_mmhg), _rounded(one.sd_mmhg))
        yield from map(_rounded, one.within)
        yield _rounded(repeat.get(one.measure))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
