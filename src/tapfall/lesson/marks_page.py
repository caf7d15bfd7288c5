"""What marking found, as one page of HTML.

Nothing is computed here; the page holds what :mod:`tapfall.lesson.marking` found.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from tapfall.files.names import PathLike
from tapfall.files.writing import write_bytes
from tapfall.lesson.errors import ADVICE, Miss
from tapfall.lesson.marking import WITHIN_MMHG, Errors, Marked, MarkedItem, Session
from tapfall.lesson.words import NAMES, habit_text, number
from tapfall.show.report import rendered

MEANING = (
    "Errors are read minus true, the dial's displacement taken off. A missing value is outside "
    "every bound; nothing is filled in. A habit is named where it explains at least half of the "
    "answers that it could change and chance does not (five in a thousand for each habit)."
)
PROOF = (
    "Marks tell of these recordings. Whether somebody can measure blood pressure is decided by "
    "those who teach and examine, with people."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    item: str
    measure: str
    true: str
    read: str
    error: str
    advice: str
    places: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    key: str
    title: str
    errors: tuple[tuple[str, ...], ...]
    habits: tuple[str, ...]
    to_do: tuple[str, ...]
    digits: tuple[str, ...]
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
    parts = tuple(_part(n, session, base) for n, session in enumerate(marked.sessions, 1))
    grade = f", grade {marked.grade}" if marked.grade else ""
    return rendered(
        "marks.html.j2",
        title=f"Marks, set {marked.set_id}{grade}",
        heading=f"Set {marked.set_id}{grade}",
        rule=marked.rule.source,
        bounds=[f"within {bound:g}" for bound in WITHIN_MMHG],
        parts=parts,
        group=tuple(_errors(one) for one in marked.group) if len(marked.latest()) > 1 else (),
        iccs=tuple(
            (measure, number(icc.value, ".3f"), number(icc.low, ".3f"), number(icc.high, ".3f"))
            for measure, icc in zip(("systolic", "diastolic"), marked.icc, strict=True)
            if icc is not None
        ),
        apart=tuple(
            (
                f"{one.second} minus {one.first}",
                one.measure,
                str(one.count),
                number(one.mean_mmhg, "+.1f"),
                number(one.sd_mmhg),
            )
            for one in marked.apart
        ),
        progress=_progress(marked),
        read_this=MEANING,
        no_proof=PROOF,
    )


def _progress(marked: Marked) -> tuple[tuple[str, ...], ...]:
    """Sessions of learners who have more than one."""
    count: dict[str, int] = {}
    for one in marked.sessions:
        count[one.learner] = count.get(one.learner, 0) + 1
    return tuple(
        (one.learner, one.saved,
         *(number(error.mean_mmhg, "+.1f") for error in one.errors),
         *(number(error.sd_mmhg) for error in one.errors),
         *(f"{error.within[1]:.0%}" for error in one.errors),
         "yes" if one.passed else "no")
        for one in marked.sessions
        if count[one.learner] > 1
    )  # fmt: skip


def _errors(one: Errors) -> tuple[str, ...]:
    return (
        one.measure,
        str(one.count),
        str(one.missing),
        number(one.mean_mmhg, "+.1f"),
        number(one.sd_mmhg),
        *(f"{share:.0%}" for share in one.within),
        "yes" if one.passed else "no",
    )


def _part(n: int, session: Session, base: str | None) -> _Part:
    high, low = session.repeat_sd_mmhg
    rows = [_row(item, one, base) for item in session.items for one in item.misses if not one.right]
    return _Part(
        key=f"s{n}",
        title=f"{session.learner}, {session.saved}",
        errors=tuple(_errors(one) for one in session.errors),
        habits=tuple(habit_text(found) for found in session.habits),
        to_do=tuple(ADVICE[found.habit] for found in session.habits if found.present),
        digits=tuple(found.sentence for found in session.digits if found.state == "look"),
        repeats=(
            f"Items that stood twice: SD {number(high)} mmHg systolic, {number(low)} mmHg "
            f"diastolic, over {session.repeats}."
            if session.repeats
            else ""
        ),
        rows=tuple(rows),
        near=sum(one.right for item in session.items for one in item.misses),
        missing=sum(not item.answered for item in session.items),
    )


def _row(item: MarkedItem, one: Miss, base: str | None) -> _Row:
    places = []
    for name, at_s in (("threshold", one.at_s), ("read", one.read_s)):
        if at_s is not None:
            # A little earlier, so that the sounds before it are heard too.
            start_s = max(at_s - 3.0, 0.0)
            link = "" if base is None else f"{base}/{quote(item.name)}.flac#t={start_s:.1f}"
            places.append((name, f"{at_s:.1f} s", link))
    what = one.advice if one.kind is None else f"{NAMES[one.kind].capitalize()}. {one.advice}"
    return _Row(
        item=item.name,
        measure=one.measure,
        true=number(one.true_mmhg, ".0f"),
        read=number(one.read_mmhg, ".0f"),
        error=number(one.error_mmhg, "+.0f"),
        advice=what,
        places=tuple(places),
    )
