"""Answers of learners against the key: errors, habits, agreement, progress."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapfall.convert import to_json
from tapfall.errors import InputError, shown
from tapfall.lesson.answers import saved_at
from tapfall.lesson.between import (
    MEASURES,
    Apart,
    Groups,
    Readings,
    Repeated,
    groups_of,
    icc_of,
    pairs_apart,
    readings,
    repeated,
)
from tapfall.lesson.checks import check_answers
from tapfall.lesson.errors import Miss, misses
from tapfall.lesson.habits import HabitFound, find_habits
from tapfall.lesson.nouns import Answer, Answers, Habit, Key, KeyItem, Mode
from tapfall.lesson.passing import PassRule, passes
from tapfall.model import CAUTION
from tapfall.study.agreement.limits import Span
from tapfall.visit.observer import ObserverFinding, check_observer

#: Shares are told within these, mmHg.
WITHIN_MMHG = (2.0, 4.0, 6.0)
#: Name of the form of file that marks are written in.
MARKS_SCHEMA = "tapfall.marks/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Errors of one measure; ``missing`` values are outside every bound, never imputed.

    A value given where none can be told counts among them.
    """

    measure: str
    count: int
    missing: int
    mean_mmhg: float | None
    sd_mmhg: float | None
    within: tuple[float, ...]
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Digits:
    """Last digits as they were written down, systolic and diastolic together.

    ``counts`` are those of 0 to 9; ``findings`` tell of all digits and of even ones.
    """

    counts: tuple[int, ...]
    findings: tuple[ObserverFinding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """How many values were more than 4 mmHg off for one cause.

    ``habit`` is None where none explains them; ``missing`` counts values that were not
    given, or given where none can be told, and has no habit either, nor has ``alone``, which
    counts values read at a sound that does not count.
    """

    habit: Habit | None
    measure: str
    missing: bool
    count: int
    alone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedItem:
    """One item as one learner answered it; ``answered`` is false where they did not."""

    name: str
    answered: bool
    replays: int
    misses: tuple[Miss, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """One set of answers of one learner.

    ``passed`` is None where it was no examination: the page had told answers.
    """

    set_id: str
    learner: str
    saved: str
    mode: Mode
    items: tuple[MarkedItem, ...]
    errors: tuple[Errors, Errors]
    causes: tuple[Cause, ...]
    habits: tuple[HabitFound, ...]
    digits: Digits
    repeats: tuple[Repeated, ...]
    passed: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """All learners, each by the latest session.

    ``passed`` counts those whose latest examination was passed, of ``examined`` who have one.
    ``habits`` are the numbers of learners who have each; ``icc`` is ICC(2,1) of systolic and
    diastolic over the items that all of them gave a value for, None where it cannot be had.
    """

    learners: int
    examined: int
    passed: int
    errors: tuple[Errors, Errors]
    causes: tuple[Cause, ...]
    habits: tuple[tuple[Habit, int], ...]
    digits: Digits
    repeats: tuple[Repeated, ...]
    apart: tuple[Apart, ...]
    icc: tuple[Span | None, Span | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """What marking found: sessions in order of learner and time, and the whole group."""

    set_id: str
    grade: str | None
    rule: PassRule
    sessions: tuple[Session, ...]
    group: Group

    def latest(self) -> tuple[Session, ...]:
        """The last session of each learner."""
        last = {one.learner: one for one in self.sessions}
        return tuple(last.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """A session with what it was made from."""

    session: Session
    read: Readings
    groups: Groups
    written: tuple[float, ...]


def mark(
    key: Key, given: Sequence[Answers], rule: PassRule, *, others: Sequence[Key] = ()
) -> Marked:
    """Mark the answers to a set.

    Parameters
    ----------
    key
        The answers that are right.
    given
        What learners saved, in any order; several of one learner are their sessions.
    rule
        When a learner passes.
    others
        Keys of further sets, where sessions of one learner are of several sets.

    Returns
    -------
    Marked
        Each answer marked, and what each learner's answers show together; errors in
        mmHg, read minus true.

    Raises
    ------
    InputError
        Answers belong to no set that there is a key of, to items that it does not have, or
        one session stands twice.

    Examples
    --------
    >>> from tapfall.lesson.nouns import Answer, Answers, Key, KeyItem, Mode
    >>> from tapfall.lesson.passing import pass_rule
    >>> item = KeyItem(
    ...     name="item-01", systolic_mmhg=124.0, diastolic_mmhg=78.0, k4_mmhg=None, gaps=(),
    ...     offset_mmhg=0.0, step_mmhg=2.0, beats=(), shows=(),
    ... )
    >>> key = Key(set_id="set-7", grade="1", seed=4, items=(item,))
    >>> said = Answer(
    ...     item="item-01", systolic_mmhg=126.0, diastolic_mmhg=78.0, marks_s=(), replays=0
    ... )
    >>> answers = Answers(
    ...     set_id="set-7", learner="k-4", saved="2026-03-31T09:15:00Z", mode=Mode.EXAMINE,
    ...     answers=(said,),
    ... )
    >>> marked = mark(key, [answers], pass_rule("4:80"))
    >>> [(miss.measure, miss.error_mmhg) for miss in marked.sessions[0].items[0].misses]
    [('systolic', 2.0), ('diastolic', 0.0)]
    """
    if not given:
        raise InputError("answers: found none; allowed at least one file of them")
    keys: dict[str, Key] = {}
    for one_key in (key, *others):
        if one_key.set_id in keys:
            raise InputError(f"found two keys of the set {shown(one_key.set_id)}; allowed one")
        keys[one_key.set_id] = one_key
    check_answers(tuple(keys.values()), given)
    spelt = {one.learner.upper(): one.learner for one in reversed(given)}
    ordered = sorted(given, key=lambda one: (one.learner.upper(), saved_at(one)))
    work = [_session(keys[one.set_id], one, spelt[one.learner.upper()], rule) for one in ordered]
    return Marked(
        set_id=key.set_id,
        grade=key.grade,
        rule=rule,
        sessions=tuple(one.session for one in work),
        group=_group(work, rule),
    )


def _session(key: Key, given: Answers, learner: str, rule: PassRule) -> _Work:
    answers = {answer.item: answer for answer in given.answers}
    both = [(item, answers[item.name]) for item in key.items if item.name in answers]
    habits = find_habits([item for item, _ in both], [answer for _, answer in both])
    named = [found.habit for found in habits if found.present]
    items = tuple(_item(item, answers.get(item.name), named) for item in key.items)
    errors = (_errors(items, 0, rule), _errors(items, 1, rule))
    groups = groups_of(key.items, given.answers)
    written = tuple(
        value
        for _, answer in both
        for value in (answer.systolic_mmhg, answer.diastolic_mmhg)
        if value is not None
    )
    session = Session(
        set_id=key.set_id,
        learner=learner,
        saved=given.saved,
        mode=given.mode,
        items=items,
        errors=errors,
        causes=_causes(items),
        habits=habits,
        digits=_digits(written),
        repeats=repeated([groups]),
        passed=all(one.passed for one in errors) if given.mode is Mode.EXAMINE else None,
    )
    read = readings(key.set_id, key.items, given.answers)
    return _Work(session=session, read=read, groups=groups, written=written)


def _group(work: Sequence[_Work], rule: PassRule) -> Group:
    last = list({one.session.learner: one for one in work}.values())
    items = [item for one in last for item in one.session.items]
    # On whatever sets two learners share, the latest session on each.
    read: dict[str, Readings] = {}
    for one in work:
        read[one.session.learner] = {**read.get(one.session.learner, {}), **one.read}
    exams = {one.session.learner: one.session for one in work if one.session.passed is not None}
    has = Counter(found.habit for one in last for found in one.session.habits if found.present)
    return Group(
        learners=len(last),
        examined=len(exams),
        passed=sum(bool(one.passed) for one in exams.values()),
        errors=(_errors(items, 0, rule), _errors(items, 1, rule)),
        causes=_causes(items),
        habits=tuple((habit, has[habit]) for habit in Habit),
        digits=_digits(tuple(value for one in last for value in one.written)),
        repeats=repeated([one.groups for one in last]),
        apart=pairs_apart(read),
        icc=(icc_of(read, 0), icc_of(read, 1)),
    )


def _item(item: KeyItem, answer: Answer | None, named: Sequence[Habit]) -> MarkedItem:
    if answer is None:
        return MarkedItem(name=item.name, answered=False, replays=0, misses=())
    return MarkedItem(
        name=item.name, answered=True, replays=answer.replays, misses=misses(item, answer, named)
    )


def _errors(items: Sequence[MarkedItem], place: int, rule: PassRule) -> Errors:
    """Errors of one measure; rightly saying that nothing can be told is no value."""
    values, missing = [], 0
    for item in items:
        one = item.misses[place] if item.answered else None
        if one is None or (one.error_mmhg is None and not one.right):
            missing += 1
        elif one.error_mmhg is not None:
            values.append(one.error_mmhg)
    count = len(values) + missing
    return Errors(
        measure=MEASURES[place],
        count=len(values),
        missing=missing,
        mean_mmhg=float(np.mean(values)) if values else None,
        sd_mmhg=float(np.std(values, ddof=1)) if len(values) > 1 else None,
        within=tuple(
            float(np.sum(np.abs(values) <= bound)) / count if count else 0.0
            for bound in WITHIN_MMHG
        ),
        passed=passes(rule, values, missing),
    )


def _causes(items: Sequence[MarkedItem]) -> tuple[Cause, ...]:
    """Causes of what was not near, the most frequent first."""
    found = Counter(
        (one.kind, one.measure, one.error_mmhg is None, one.alone)
        for item in items
        for one in item.misses
        if not one.right
    )
    return tuple(
        Cause(habit=habit, measure=measure, missing=missing, count=count, alone=alone)
        for (habit, measure, missing, alone), count in found.most_common()
    )


def _digits(written: Sequence[float]) -> Digits:
    last = Counter(round(value) % 10 for value in written)
    findings = check_observer([float(round(value)) for value in written])[:2] if written else ()
    return Digits(counts=tuple(last[digit] for digit in range(10)), findings=findings)


def marks_record(marked: Marked) -> dict[str, Any]:
    """Return marks as JSON values, the form ``tapfall.marks/1``.

    Parameters
    ----------
    marked
        What marking found.

    Examples
    --------
    >>> from tapfall.lesson.passing import pass_rule
    >>> from tapfall.lesson.nouns import Answer
    >>> item = KeyItem(name="a", systolic_mmhg=120.0, diastolic_mmhg=80.0, k4_mmhg=None, gaps=(),
    ...     offset_mmhg=0.0, step_mmhg=2.0, beats=(), shows=())
    >>> key = Key(set_id="s", grade=None, seed=None, items=(item,))
    >>> said = Answer(item="a", systolic_mmhg=122.0, diastolic_mmhg=80.0, marks_s=(), replays=0)
    >>> given = Answers(set_id="s", learner="l", saved="2026-01-05T10:00:00Z",
    ...     mode=Mode.EXAMINE, answers=(said,))
    >>> record = marks_record(mark(key, [given], pass_rule("expert-1991")))
    >>> record["schema"], record["sessions"][0]["errors"][0]["mean_mmHg"]
    ('tapfall.marks/1', 2.0)
    """
    return {"schema": MARKS_SCHEMA, **to_json(marked), "caution": CAUTION}
