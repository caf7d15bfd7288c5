"""Answers of learners against the key: errors, habits, agreement, progress."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.errors import InputError, shown
from tapfall.lesson.answers import saved_at
from tapfall.lesson.errors import Miss, misses
from tapfall.lesson.habits import HabitFound, find_habits
from tapfall.lesson.nouns import Answer, Answers, Key, KeyItem
from tapfall.lesson.passing import PassRule, passes
from tapfall.study.agreement.limits import Span
from tapfall.study.agreement.reliability import icc_agreement
from tapfall.visit.observer import ObserverFinding, check_observer

MEASURES = ("systolic", "diastolic")
#: Shares are told within these, mmHg.
WITHIN_MMHG = (2.0, 4.0, 6.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Errors of one measure; ``missing`` values are outside every bound, never imputed."""

    measure: str
    count: int
    missing: int
    mean_mmhg: float | None
    sd_mmhg: float | None
    within: tuple[float, ...]
    passed: bool


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

    ``repeat_sd_mmhg`` is the standard deviation of repeated readings, systolic and
    diastolic, None without repeated items.
    """

    learner: str
    saved: str
    mode: str
    items: tuple[MarkedItem, ...]
    errors: tuple[Errors, Errors]
    habits: tuple[HabitFound, ...]
    digits: tuple[ObserverFinding, ...]
    repeat_sd_mmhg: tuple[float | None, float | None]
    repeats: int
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """Two learners on the items that both answered, the second minus the first."""

    first: str
    second: str
    measure: str
    count: int
    mean_mmhg: float
    sd_mmhg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """What marking found: sessions in order of learner and time, and the whole group.

    ``group`` are the errors of the latest session of each learner together, ``apart`` each
    pair of learners, ``icc`` ICC(2,1) of systolic and diastolic over the items that all of
    them answered, None where it cannot be had.
    """

    set_id: str
    grade: str | None
    rule: PassRule
    sessions: tuple[Session, ...]
    group: tuple[Errors, Errors]
    apart: tuple[Apart, ...]
    icc: tuple[Span | None, Span | None]

    def latest(self) -> tuple[Session, ...]:
        """The last session of each learner."""
        last = {one.learner: one for one in self.sessions}
        return tuple(last.values())


def mark(key: Key, given: Sequence[Answers], rule: PassRule) -> Marked:
    """Mark the answers to one set.

    Parameters
    ----------
    key
        The answers that are right.
    given
        What learners saved, in any order; several of one learner are their sessions.
    rule
        When a learner passes.

    Raises
    ------
    InputError
        Answers belong to another set, to items that it does not have, or one session
        stands twice.
    """
    if not given:
        raise InputError("answers: found none; allowed at least one file of them")
    known = {item.name: item for item in key.items}
    seen: set[tuple[str, str]] = set()
    for one in given:
        who = f"answers of {one.learner}"
        if one.set_id != key.set_id:
            raise InputError(
                f"{who}: set_id: found {shown(one.set_id)}; allowed {shown(key.set_id)}, that of "
                "the key"
            )
        for answer in one.answers:
            if answer.item not in known:
                raise InputError(f"{who}: found the item {shown(answer.item)}; allowed the key's")
        if (one.learner, one.saved) in seen:
            raise InputError(f"{who}: found those of {shown(one.saved)} twice; allowed once")
        seen.add((one.learner, one.saved))
    ordered = sorted(given, key=lambda one: (one.learner, saved_at(one) or 0.0))
    sessions = tuple(_session(key, one, rule) for one in ordered)
    last = {one.learner: one for one in ordered}
    whole = Marked(
        set_id=key.set_id,
        grade=key.grade,
        rule=rule,
        sessions=sessions,
        group=(_nothing("systolic"), _nothing("diastolic")),
        apart=tuple(_apart(known, list(last.values()))),
        icc=(_icc(known, list(last.values()), 0), _icc(known, list(last.values()), 1)),
    )
    items = [item for one in whole.latest() for item in one.items]
    group = (_errors(items, 0, rule), _errors(items, 1, rule))
    return Marked(
        set_id=whole.set_id,
        grade=whole.grade,
        rule=rule,
        sessions=sessions,
        group=group,
        apart=whole.apart,
        icc=whole.icc,
    )


def _session(key: Key, given: Answers, rule: PassRule) -> Session:
    answers = {answer.item: answer for answer in given.answers}
    items = tuple(_item(item, answers.get(item.name)) for item in key.items)
    both = [(item, answers[item.name]) for item in key.items if item.name in answers]
    errors = (_errors(items, 0, rule), _errors(items, 1, rule))
    high, low, repeats = _repeated(key, answers)
    return Session(
        learner=given.learner,
        saved=given.saved,
        mode=given.mode,
        items=items,
        errors=errors,
        habits=find_habits([item for item, _ in both], [answer for _, answer in both]),
        digits=_digits(answers),
        repeat_sd_mmhg=(high, low),
        repeats=repeats,
        passed=errors[0].passed and errors[1].passed,
    )


def _item(item: KeyItem, answer: Answer | None) -> MarkedItem:
    if answer is None:
        return MarkedItem(name=item.name, answered=False, replays=0, misses=())
    return MarkedItem(
        name=item.name, answered=True, replays=answer.replays, misses=misses(item, answer)
    )


def _nothing(measure: str) -> Errors:
    return Errors(
        measure=measure, count=0, missing=0, mean_mmhg=None, sd_mmhg=None, within=(), passed=False
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


def _digits(answers: dict[str, Answer]) -> tuple[ObserverFinding, ...]:
    """All and even digits of what was read from the dial."""
    read = [
        abs(round(value))
        for answer in answers.values()
        for value in (answer.systolic_mmhg, answer.diastolic_mmhg)
        if value is not None
    ]
    return check_observer(read)[:2] if read else ()


def _value(item: KeyItem, answer: Answer | None, place: int) -> float | None:
    if answer is None:
        return None
    said = (answer.systolic_mmhg, answer.diastolic_mmhg)[place]
    return None if said is None else said - item.offset_mmhg


def _repeated(key: Key, answers: dict[str, Answer]) -> tuple[float | None, float | None, int]:
    """Standard deviation of one reading among repeats: of differences, over root 2."""
    known = {item.name: item for item in key.items}
    apart: list[list[float]] = [[], []]
    for item in key.items:
        if item.same_as is None or item.same_as not in known:
            continue
        for place in (0, 1):
            one = _value(item, answers.get(item.name), place)
            other = _value(known[item.same_as], answers.get(item.same_as), place)
            if one is not None and other is not None:
                apart[place].append(one - other)
    sds = [
        math.sqrt(float(np.mean(np.square(values))) / 2.0) if values else None for values in apart
    ]
    return sds[0], sds[1], max(map(len, apart))


def _apart(known: dict[str, KeyItem], given: Sequence[Answers]) -> list[Apart]:
    found = []
    for one, other in itertools.combinations(given, 2):
        first = {answer.item: answer for answer in one.answers}
        second = {answer.item: answer for answer in other.answers}
        for place, measure in enumerate(MEASURES):
            pairs = [
                (_value(item, first.get(name), place), _value(item, second.get(name), place))
                for name, item in known.items()
            ]
            apart = [b - a for a, b in pairs if a is not None and b is not None]
            if apart:
                found.append(
                    Apart(
                        first=one.learner,
                        second=other.learner,
                        measure=measure,
                        count=len(apart),
                        mean_mmhg=float(np.mean(apart)),
                        sd_mmhg=float(np.std(apart, ddof=1)) if len(apart) > 1 else None,
                    )
                )
    return found


def _icc(known: dict[str, KeyItem], given: Sequence[Answers], place: int) -> Span | None:
    by_learner = [{answer.item: answer for answer in one.answers} for one in given]
    rows = [
        [_value(item, answers.get(name), place) for answers in by_learner]
        for name, item in known.items()
    ]
    whole = [[v for v in row if v is not None] for row in rows if all(v is not None for v in row)]
    if len(given) < 2 or len(whole) < 2:
        return None
    return icc_agreement(whole)
