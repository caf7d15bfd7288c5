"""Answers that learners gave: JSON ``tapfall.answers/1`` as the page saves it, or CSV.

Columns of the CSV, in any order (needed: the first, second, third, and both pressures):

===================================== ====================================================
``set_id``                            the set that was heard
``learner``                           a code, not a name; capitals make no difference
``item``                              the item; a row for each, none for what was not answered
``systolic_mmHg``, ``diastolic_mmHg`` whole mmHg as read from the dial; empty where the
                                      learner said that it cannot be told
``saved``                             day and time, to put sessions in order; a file may
                                      leave it out where each learner has one session in all
``mode``                              ``learn``, ``practise`` or ``examine`` (the default)
``replays``                           how often the item was heard again (0)
``marks_s``                           seconds of the sound, parted by blanks
===================================== ====================================================

A file of CSV may hold a whole class: rows of one learner, set and time are one session.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from tapfall.convert import check_keys, key_of, kind
from tapfall.errors import InputError, fault_text, shown
from tapfall.files.jsonfile import json_values
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.files.rows import columns_of, delimiter_of, rows_of, text_of, width_fault
from tapfall.files.tables import FORMULA_STARTS
from tapfall.lesson.answercells import HEAD, answer_of, check_known, check_new
from tapfall.lesson.nouns import ANSWERS_SCHEMA, NOT_DATED, Answer, Answers, Key, Mode

#: Largest file, bytes, and most answers in it (our choice).
MAX_BYTES, MAX_ANSWERS = 5_000_000, 20_000

COLUMNS = (
    "set_id",
    "learner",
    "saved",
    "mode",
    "item",
    "systolic_mmHg",
    "diastolic_mmHg",
    "replays",
    "marks_s",
)
NEEDED = ("set_id", "learner", "item", "systolic_mmHg", "diastolic_mmHg")

_WANTED = (
    f"answers (JSON {ANSWERS_SCHEMA} as the listening page saves it, or CSV with the columns "
    f"{', '.join(NEEDED)})"
)


def read_answers(path: PathLike) -> Answers:
    """Read the answers of one learner to one set.

    Parameters
    ----------
    path
        The file, UTF-8, at most 5 MB.

    Returns
    -------
    Answers
        No item twice; what was not answered is not there.

    Raises
    ------
    InputError
        It cannot be used, or holds the answers of several learners, sets or times; the
        message names the line or the field.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> text = "set_id,learner,item,systolic_mmHg,diastolic_mmHg\\nset-7,k-4,item-01,124,\\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "answers.csv"
    ...     _ = path.write_text(text)
    ...     found = read_answers(path)
    >>> found.learner, found.answers[0].systolic_mmhg, found.answers[0].diastolic_mmhg
    ('k-4', 124.0, None)
    """
    found = read_sessions(path)
    if len(found) > 1:
        raise InputError(
            f"{label_of(path)}: found {len(found)} sessions (the first two: "
            f"{_session(found[0])}; {_session(found[1])}); allowed the answers of one learner, "
            "set and time"
        )
    return found[0]


def read_sessions(path: PathLike, keys: Sequence[Key] = ()) -> tuple[Answers, ...]:
    """Read all answers of a file: of one learner, or of a whole class.

    Parameters
    ----------
    path
        The file, UTF-8, at most 5 MB.
    keys
        Keys of sets: answers to those are refused where an item is none of theirs.

    Returns
    -------
    tuple of Answers
        One for each learner, set and time, in the order of the file; at least one.

    Raises
    ------
    InputError
        It cannot be used; the message names the line or the field.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> text = (
    ...     "set_id,learner,saved,item,systolic_mmHg,diastolic_mmHg\\n"
    ...     "set-7,k-4,2026-03-31T09:15:00Z,item-01,124,78\\n"
    ...     "set-7,k-5,2026-03-31T09:15:00Z,item-01,,80\\n"
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "answers.csv"
    ...     _ = path.write_text(text)
    ...     found = read_sessions(path)
    >>> [(one.learner, one.answers[0].systolic_mmhg) for one in found]
    [('k-4', 124.0), ('k-5', None)]
    """
    label = label_of(path)
    with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES + 1)
    text = text_of(label, data, _WANTED)
    if text.lstrip()[:1] in ("{", "["):
        return (_of_json(label, text, keys),)
    return _of_csv(label, text, keys)


def saved_at(answers: Answers) -> datetime:
    """Return when answers were saved; a time without a zone is taken for UTC.

    Examples
    --------
    >>> answers = Answers(set_id="s", learner="A", saved="2026-03-01T10:00:00+01:00",
    ...                   mode=Mode.EXAMINE, answers=())
    >>> saved_at(answers).isoformat()
    '2026-03-01T09:00:00+00:00'
    """
    moment = datetime.fromisoformat(answers.saved)
    # astimezone would fail in the first and last year that can be written.
    offset = moment.utcoffset()
    bare = moment.replace(tzinfo=None)
    with contextlib.suppress(OverflowError):
        bare = bare if offset is None else bare - offset
    return bare.replace(tzinfo=UTC)


def _check_item(set_id: str | None, item: str, keys: Sequence[Key], where: str) -> None:
    for key in keys:
        if key.set_id == set_id:
            check_known(item, [one.name for one in key.items], where)


def _session(one: Answers) -> str:
    return f"{shown(one.learner)}, {shown(one.set_id)}, {shown(one.saved)}"


# --- JSON ---


def _of_json(label: str, text: str, keys: Sequence[Key]) -> Answers:
    value = json_values(label, text, InputError, _WANTED)
    if not isinstance(value, dict) or value.get("schema") != ANSWERS_SCHEMA:
        found = kind(value.get("schema")) if isinstance(value, dict) else kind(value)
        raise InputError(f"{label}: schema: found {found}; allowed '{ANSWERS_SCHEMA}'")
    value.pop("caution", None)
    check_keys(value, ["schema", "set_id", "learner", "saved", "mode", "answers"], label)
    items = value["answers"]
    if not isinstance(items, list) or len(items) > MAX_ANSWERS:
        found = f"{len(items)} answers" if isinstance(items, list) else kind(items)
        raise InputError(
            f"{label}: answers: found {found}; allowed at most {MAX_ANSWERS} in a list"
        )
    head: dict[str, Any] = {}
    faults: list[str] = []
    for name, check in HEAD.items():
        try:
            if not isinstance(value[name], str):
                raise InputError(f"found {kind(value[name])}; allowed a text")
            head[name] = check(value[name])
        except InputError as fault:
            faults.append(f"{name}: {fault}")
    answers: list[Answer] = []
    seen: set[str] = set()
    for place, item in enumerate(items, 1):
        where = f"answers, number {place}"
        try:
            answer = _answer_of_json(item, where)
            check_new(answer.item, seen, f"{where}, ")
            _check_item(head.get("set_id"), answer.item, keys, f"{where}, ")
            answers.append(answer)
        except InputError as fault:
            faults.append(str(fault))
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    return Answers(answers=tuple(answers), **head)


def _answer_of_json(value: Any, where: str) -> Answer:
    if not isinstance(value, dict):
        raise InputError(f"{where}: found {kind(value)}; allowed an object")
    names = ("item", "systolic_mmhg", "diastolic_mmhg", "marks_s", "replays")
    check_keys(value, [key_of(name) for name in names], where)
    if not isinstance(value["item"], str):
        raise InputError(f"{where}, item: found {kind(value['item'])}; allowed a text")
    marks = value["marks_s"]
    if not isinstance(marks, list):
        raise InputError(f"{where}, marks_s: found {kind(marks)}; allowed a list")
    plain = [
        "" if value[n] is None else _plain(value[n]) for n in ("systolic_mmHg", "diastolic_mmHg")
    ]
    return answer_of(
        {
            "item": value["item"],
            "systolic_mmHg": plain[0],
            "diastolic_mmHg": plain[1],
            "replays": _plain(value["replays"]),
        },
        [_plain(mark) for mark in marks],
        f"{where}, ",
    )


def _plain(value: Any) -> str:
    """A JSON number as a cell would hold it; what is no number as nothing that is one."""
    if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) >= 1e5:
        return kind(value) or "nothing"
    return f"{value:.6f}".rstrip("0").rstrip(".") if value else "0"


# --- CSV ---


def _of_csv(label: str, text: str, keys: Sequence[Key]) -> tuple[Answers, ...]:
    delimiter = delimiter_of(text)
    rows = [
        (line, [_unescaped(cell) for cell in cells])
        for line, cells in rows_of(label, text, delimiter, _WANTED)
    ]
    columns = columns_of(label, rows[0], COLUMNS, NEEDED, _WANTED)
    if not 1 <= len(rows) - 1 <= MAX_ANSWERS:
        raise InputError(
            f"{label}: found {len(rows) - 1} rows below the header; allowed 1 to {MAX_ANSWERS}"
        )
    sessions: dict[tuple[str, str, str], tuple[dict[str, Any], list[Answer]]] = {}
    seen: set[tuple[str, ...]] = set()
    faults: list[str] = []
    for line, cells in rows[1:]:
        try:
            if len(cells) != len(columns):
                raise InputError(width_fault(cells, len(columns)))
            cell = _filled(dict(zip(columns, cells, strict=True)))
            head = _head_of_row(cell)
            who = (head["learner"].upper(), head["set_id"], head["saved"])
            first, answers = sessions.setdefault(who, (head, []))
            if first["mode"] is not head["mode"]:
                raise InputError(
                    f"mode: found '{head['mode']}', '{first['mode']}' in a row before; allowed "
                    "one for a learner, set and time"
                )
            answer = answer_of(cell, cell["marks_s"].split(), "")
            check_new((*who, answer.item), seen, "")
            _check_item(head["set_id"], answer.item, keys, "")
            answers.append(answer)
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    return tuple(Answers(answers=tuple(answers), **head) for head, answers in sessions.values())


def _unescaped(cell: str) -> str:
    """A text that was kept from becoming a formula, as it was before."""
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(FORMULA_STARTS) else cell


def _filled(cell: dict[str, str]) -> dict[str, str]:
    """A row with every column, those left out as they are meant."""
    usual = {"saved": NOT_DATED, "mode": str(Mode.EXAMINE), "replays": "0", "marks_s": ""}
    return {**cell, **{name: cell.get(name) or value for name, value in usual.items()}}


def _head_of_row(cell: dict[str, str]) -> dict[str, Any]:
    head: dict[str, Any] = {}
    for name, check in HEAD.items():
        try:
            head[name] = check(cell[name])
        except InputError as fault:
            raise InputError(f"{name}: {fault}") from None
    return head
