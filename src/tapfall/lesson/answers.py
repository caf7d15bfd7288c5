"""Answers that a learner saved: JSON ``tapfall.answers/1``, or CSV with a row for each item.

The columns of the CSV are ``set_id, learner, saved, mode, item, systolic_mmHg,
diastolic_mmHg, replays, marks_s``; an empty pressure says that it cannot be told, marks are
seconds separated by blanks.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import datetime
from pathlib import Path

from tapfall.convert import from_json, kind
from tapfall.errors import InputError, ReadingError, fault_text, shown
from tapfall.files.jsonfile import read_json
from tapfall.files.names import PathLike, label_of, open_regular
from tapfall.lesson.nouns import ANSWERS_SCHEMA, Answer, Answers, Mode

#: Largest file, bytes, and most marks of an item (our choice).
MAX_BYTES, MOST_MARKS = 2_000_000, 2000
#: Pressures that a dial can show, its displaced zero included.
LEAST_MMHG, MOST_MMHG = -30.0, 340.0
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
_WANTED = f"answers in JSON ({ANSWERS_SCHEMA}) or CSV ({','.join(COLUMNS)})"
_CODE = re.compile(r"[A-Za-z0-9-]{1,20}")
_NUMBER = re.compile(r"-?\d{1,4}(\.\d{1,6})?")


def read_answers(path: PathLike) -> Answers:
    """Read what one learner saved of one set.

    Parameters
    ----------
    path
        The file, JSON or CSV, told by its first letter.

    Returns
    -------
    Answers
        At most one for each item.

    Raises
    ------
    InputError
        The file is neither, or a value is not what is allowed; the message names the line
        or the field.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> text = (",".join(COLUMNS) + "\\n"
    ...         "ab12,k-7,2026-01-05T10:00:00Z,examine,item-01,124,78,0,12.5 13.4\\n")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "answers.csv"
    ...     _ = path.write_text(text)
    ...     read_answers(path).answers[0].marks_s
    (12.5, 13.4)
    """
    label = label_of(path)
    with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES)
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        answers = _from_json(Path(path), label)
    else:
        answers = _from_csv(label, data)
    return _checked(label, answers)


def _from_json(path: Path, label: str) -> Answers:
    value = read_json(path, ReadingError, _WANTED, MAX_BYTES)
    if not isinstance(value, dict) or value.get("schema") != ANSWERS_SCHEMA:
        found = kind(value.get("schema")) if isinstance(value, dict) else kind(value)
        raise ReadingError(f"{label}: schema: found {found}; allowed '{ANSWERS_SCHEMA}'")
    value.pop("caution", None)
    return from_json(Answers, value, label)


def _from_csv(label: str, data: bytes) -> Answers:
    try:
        text = data.decode("utf-8-sig")
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except (UnicodeDecodeError, csv.Error):
        raise InputError(f"{label}: found what is not CSV in UTF-8; allowed {_WANTED}") from None
    rows = [(line, cells) for line, cells in rows if any(cells)]
    if not rows or tuple(rows[0][1]) != COLUMNS:
        found = ",".join(rows[0][1])[:60] if rows else ""
        raise InputError(f"{label}: line 1: found {shown(found)}; allowed {_WANTED}")
    if len(rows) < 2:
        raise InputError(f"{label}: found no answers; allowed at least one")
    answers: list[Answer] = []
    faults: list[str] = []
    heads: set[tuple[str, ...]] = set()
    for line, cells in rows[1:]:
        try:
            if len(cells) != len(COLUMNS):
                raise InputError(f"found {len(cells)} cells; allowed {len(COLUMNS)}")
            row = dict(zip(COLUMNS, cells, strict=True))
            heads.add(tuple(cells[:4]))
            answers.append(_row(row))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    if len(heads) != 1:
        raise InputError(
            f"{label}: found rows of {len(heads)} sets, learners, times or modes; allowed one"
        )
    set_id, learner, saved, mode = heads.pop()
    if mode not in set(Mode):
        raise InputError(f"{label}: mode: found {shown(mode)}; allowed {', '.join(Mode)}")
    return Answers(
        set_id=set_id, learner=learner, saved=saved, mode=Mode(mode), answers=tuple(answers)
    )


def _row(row: dict[str, str]) -> Answer:
    marks = tuple(_number("marks_s", cell) for cell in row["marks_s"].split())
    replays = row["replays"]
    if not (replays.isascii() and replays.isdigit() and len(replays) < 6):
        raise InputError(f"replays: found {shown(replays)}; allowed a whole number")
    return Answer(
        item=row["item"],
        systolic_mmhg=_pressure("systolic_mmHg", row["systolic_mmHg"]),
        diastolic_mmhg=_pressure("diastolic_mmHg", row["diastolic_mmHg"]),
        marks_s=marks,
        replays=int(replays),
    )


def _pressure(column: str, cell: str) -> float | None:
    return None if cell == "" else _number(column, cell)


def _number(column: str, cell: str) -> float:
    if not _NUMBER.fullmatch(cell):
        raise InputError(f"{column}: found {shown(cell)}; allowed a number such as 124 or 12.5")
    return float(cell)


def _checked(label: str, answers: Answers) -> Answers:
    if not _CODE.fullmatch(answers.learner):
        raise InputError(
            f"{label}: learner: found {shown(answers.learner)}; allowed a code of 1 to 20 "
            "letters, digits and hyphens"
        )
    if not saved_at(answers):
        raise InputError(
            f"{label}: saved: found {shown(answers.saved)}; allowed a time such as "
            "2026-01-05T10:00:00Z"
        )
    seen: set[str] = set()
    for one in answers.answers:
        if one.item in seen:
            raise InputError(f"{label}: found the item {shown(one.item)} twice; allowed once")
        seen.add(one.item)
        for value in (one.systolic_mmhg, one.diastolic_mmhg):
            if value is not None and not LEAST_MMHG <= value <= MOST_MMHG:
                raise InputError(
                    f"{label}: {shown(one.item)}: found {value:g} mmHg; allowed "
                    f"{LEAST_MMHG:g} to {MOST_MMHG:g}"
                )
        if one.replays < 0 or len(one.marks_s) > MOST_MARKS:
            raise InputError(
                f"{label}: {shown(one.item)}: found {one.replays} replays and "
                f"{len(one.marks_s)} marks; allowed 0 or more, and at most {MOST_MARKS}"
            )
    return answers


def saved_at(answers: Answers) -> float | None:
    """Return when answers were saved, seconds since 1970, ``None`` where that is no time."""
    try:
        when = datetime.fromisoformat(answers.saved)
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=datetime.fromisoformat("1970-01-01T00:00:00+00:00").tzinfo)
    return when.timestamp()
