"""What marking found, as one page of HTML.

Nothing is computed here; the page holds what :mod:`tapfall.lesson.marking` found.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from tapfall.files.names import PathLike
from tapfall.files.writing import write_bytes
from tapfall.lesson.between import BETWEEN_SOURCE, MEASURES
from tapfall.lesson.errors import ADVICE, Miss
from tapfall.lesson.habits import FAMILY_CHANCE, FEWEST, NAMED
from tapfall.lesson.marking import (
    WITHIN_MMHG,
    Digits,
    Errors,
    Group,
    Marked,
    MarkedItem,
    Session,
)
from tapfall.lesson.nouns import Habit
from tapfall.lesson.words import (
    NAMES,
    cause_text,
    group_habit_texts,
    group_passed_text,
    habit_texts,
    number,
    passed_text,
    repeats_text,
    saved_text,
    what_text,
)
from tapfall.model import FindingState
from tapfall.show.report import rendered

#: Rows of learners against each other on the page, and how long before a place a link
#: begins, seconds (our choice).
MOST_PAIRS, LEAD_S = 40, 3.0
MEANING = (
    "Errors are read minus true, the dial's displacement taken off. A missing value is outside "
    "every bound, and so is one given where none can be told; nothing is filled in. A habit is "
    f"named where all answers are at least {NAMED:.0f} times likelier with it than without: "
    f"a careful reader is then accused of any of the {len(Habit)} in at most "
    f"{100 * FAMILY_CHANCE:.0f} of 100 sets. It cannot be judged where fewer than "
    f"{FEWEST} answered items can show it, or where it might not show in them: they are few, "
    "scatter widely, or it changes them by little. What one single value comes from is a likely "
    "cause, no habit."
)
PROOF = (
    "Marks tell of these recordings. Whether somebody can measure blood pressure is decided by "
    "those who teach and examine, with people."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """A second of a sound: ``item-03 at 12.4 s``, with the place of the file if known."""

    what: str
    text: str
    link: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    item: str
    measure: str
    true: str
    read: str
    error: str
    advice: str
    places: tuple[_Place, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A session in the table of all of them; ``key`` is that of its section."""

    key: str
    learner: str
    saved: str
    session: str
    set_and_mode: str
    errors: tuple[tuple[str, str], ...]
    missing: int
    habits: str
    passed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A session or the whole group on the page."""

    key: str
    title: str
    passed: str
    errors: tuple[tuple[str, ...], ...]
    habits: tuple[str, ...]
    causes: tuple[str, ...]
    to_do: tuple[str, ...]
    digits: tuple[int, ...]
    digits_told: tuple[str, ...]
    repeats: str
    rows: tuple[_Row, ...]
    near: int
    missing: int


def write_marks(path: PathLike, marked: Marked, set_folder: PathLike | None = None) -> None:
    """Write what marking found as one page, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    marked
        What was found.
    set_folder
        Where the sounds are; places in them are links if it is given.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    write_bytes(path, marks_html(marked, path, set_folder).encode("utf-8"))


def marks_html(marked: Marked, path: PathLike, set_folder: PathLike | None = None) -> str:
    """Return the page that :func:`write_marks` writes."""
    base = None
    if set_folder is not None:
        here = Path(path).resolve().parent
        base = "/".join(map(quote, Path(os.path.relpath(Path(set_folder).resolve(), here)).parts))
    grade = f", grade {marked.grade}" if marked.grade else ""
    group = marked.group
    return rendered(
        "marks.html.j2",
        title=f"Marks, set {marked.set_id}{grade}",
        heading=f"Set {marked.set_id}{grade}",
        rule=marked.rule.source,
        bounds=[f"within {bound:g} mmHg" for bound in WITHIN_MMHG],
        parts=[_part(n, one, marked, base) for n, one in enumerate(marked.sessions, 1)],
        group=_group_part(group) if group.learners > 1 else None,
        learners=group.learners,
        iccs=[
            (measure, number(icc.value, ".3f"), number(icc.low, ".3f"), number(icc.high, ".3f"))
            for measure, icc in zip(MEASURES, group.icc, strict=True)
            if icc is not None
        ],
        apart=_apart(group),
        pairs=len(group.apart) // 2,
        between=BETWEEN_SOURCE,
        overview=_overview(marked) if len(marked.sessions) > 1 else [],
        same_set=_same_set(marked),
        read_this=MEANING,
        no_proof=PROOF,
    )


def _apart(group: Group) -> list[tuple[str, ...]]:
    """Learners against each other, those furthest apart if there are many."""
    rows = sorted(group.apart, key=lambda one: -abs(one.mean_mmhg))
    if len(rows) <= MOST_PAIRS:
        rows = list(group.apart)
    return [
        (
            f"{one.second} minus {one.first}",
            one.measure,
            str(one.count),
            number(one.mean_mmhg, "+.1f"),
            number(one.sd_mmhg),
            *(f"{share:.0%}" for share in one.within),
            "yes" if one.kept else "no",
        )
        for one in rows[:MOST_PAIRS]
    ]


def _overview(marked: Marked) -> list[_Line]:
    """A row for each session, in order of learner and time."""
    of = Counter(one.learner for one in marked.sessions)
    place: Counter[str] = Counter()
    lines = []
    for n, one in enumerate(marked.sessions, 1):
        place[one.learner] += 1
        named = [NAMES[found.habit] for found in one.habits if found.present]
        lines.append(
            _Line(
                key=f"s{n}",
                learner=one.learner,
                saved=saved_text(one.saved),
                set_and_mode=f"{one.set_id}, {one.mode}",
                session=f"{place[one.learner]} of {of[one.learner]}",
                errors=tuple(
                    (
                        f"{number(error.mean_mmhg, '+.1f')} ({number(error.sd_mmhg)})",
                        f"{error.within[1]:.0%}",
                    )
                    for error in one.errors
                ),
                missing=sum(error.missing for error in one.errors),
                habits=", ".join(named) or "none named",
                passed=passed_text(one.passed),
            )
        )
    return lines


def _same_set(marked: Marked) -> bool:
    """Whether a learner heard one set more than once."""
    count = Counter((one.learner, one.set_id) for one in marked.sessions)
    return max(count.values()) > 1


def _errors(one: Errors) -> tuple[str, ...]:
    return (
        one.measure,
        str(one.count),
        str(one.missing),
        number(one.mean_mmhg, "+.1f"),
        number(one.sd_mmhg),
        *(f"{share:.0%}" for share in one.within),
    )


def _part(n: int, session: Session, marked: Marked, base: str | None) -> _Part:
    # The sounds of another set are not in the folder that was named.
    home = base if session.set_id == marked.set_id else None
    other = "" if session.set_id == marked.set_id else f", set {session.set_id}"
    return _Part(
        key=f"s{n}",
        title=f"{session.learner}, {saved_text(session.saved)}{other}",
        passed=passed_text(session.passed),
        errors=tuple(map(_errors, session.errors)),
        habits=tuple(habit_texts(session.habits)),
        causes=tuple(map(cause_text, session.causes)),
        to_do=tuple(ADVICE[found.habit] for found in session.habits if found.present),
        digits=session.digits.counts,
        digits_told=_digits(session.digits),
        repeats=repeats_text(session.repeats),
        rows=tuple(
            _row(item, one, home) for item in session.items for one in item.misses if not one.right
        ),
        near=sum(one.right for item in session.items for one in item.misses),
        missing=sum(not item.answered for item in session.items),
    )


def _group_part(group: Group) -> _Part:
    return _Part(
        key="group",
        title="All learners",
        passed=group_passed_text(group),
        errors=tuple(map(_errors, group.errors)),
        habits=tuple(group_habit_texts(group)) or ("none named in anybody",),
        causes=tuple(map(cause_text, group.causes)),
        to_do=(),
        digits=group.digits.counts,
        digits_told=_digits(group.digits),
        repeats=repeats_text(group.repeats),
        rows=(),
        near=0,
        missing=0,
    )


def _digits(digits: Digits) -> tuple[str, ...]:
    """What the tests of digits say, where there are values enough for them."""
    return tuple(
        found.sentence + (f" p = {found.p_value:.2g}." if found.state is FindingState.LOOK else "")
        for found in digits.findings
        if found.state is not FindingState.UNKNOWN
    )


def _row(item: MarkedItem, one: Miss, base: str | None) -> _Row:
    places = []
    for what, at_s in (("the threshold", one.at_s), ("the reading", one.read_s)):
        if at_s is not None:
            # A little earlier, so that the sounds before it are heard too.
            start_s = max(at_s - LEAD_S, 0.0)
            link = "" if base is None else f"{base}/{quote(item.name)}.flac#t={start_s:.1f}"
            places.append(_Place(what=what, text=f"{item.name} at {at_s:.1f} s", link=link))
    return _Row(
        item=item.name,
        measure=one.measure,
        true=number(one.true_mmhg, ".0f"),
        read=number(one.read_mmhg, ".0f"),
        error=number(one.error_mmhg, "+.0f"),
        advice=what_text(one),
        places=tuple(places),
    )
