"""``tapfall lesson mark``: answers against the key."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.output import check_outputs, check_report, tell

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.lesson import Answers, Key

#: What passes unless chosen.
PASS_RULE = "expert-1991"


def add_mark(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Hold answers against the key of their set: errors, what went wrong and where in the "
        "sound, habits, agreement of learners, progress over sessions."
    )
    command.epilog = (
        "A file of answers is what the page saved, or CSV with a row for each item; it may hold a "
        "whole class. Several of one learner are sessions, in order of time. Only examinations "
        "are passed. Exit codes: 0 done, 2 bad input or usage."
    )
    command.add_argument("key", metavar="KEY", help="the key of the set: .json")
    command.add_argument(
        "answers", metavar="ANSWERS", nargs="+", help="what learners saved: .json or .csv"
    )
    command.add_argument(
        "--key",
        dest="others",
        action="append",
        default=[],
        metavar="KEY",
        help="key of a further set, for sessions on several sets; may be given again",
    )
    command.add_argument(
        "--pass",
        dest="rule",
        default=PASS_RULE,
        metavar="RULE",
        help="expert-1991, sequences-4, sequences-2, or your own: MMHG:PERCENT,..., and "
        f"bias:MMHG if wanted ({PASS_RULE})",
    )
    command.add_argument("--csv", metavar="FILE", help="write a row for each value")
    command.add_argument("--learners", metavar="FILE", help="write a row for each session: .csv")
    command.add_argument("--json", metavar="FILE", help="write everything as JSON; - for stdout")
    command.add_argument("--report", metavar="FILE", help="write a page: .html")
    command.add_argument(
        "--set", metavar="FOLDER", help="where the sounds are: the page then links to them"
    )


def run(args: argparse.Namespace) -> int:
    """Mark the answers and say what was found."""
    from tapfall.errors import SettingError
    from tapfall.files.tables import table_text
    from tapfall.files.writing import write_bytes
    from tapfall.lesson import mark, pass_rule, read_key
    from tapfall.lesson.marking import marks_record
    from tapfall.lesson.marktables import (
        SESSION_COLUMNS,
        VALUE_COLUMNS,
        session_rows,
        value_rows,
    )
    from tapfall.lesson.sets import check_no_set_beside
    from tapfall.lesson.words import marked_text

    rule = pass_rule(args.rule)
    if args.report is not None:
        check_report(args.report)
    if args.set is not None and args.report is None:
        raise SettingError("--set: found no --report; allowed with one")
    for option, value in (("csv", args.csv), ("learners", args.learners), ("report", args.report)):
        if value == "-":
            raise SettingError(f"--{option}: found '-'; allowed the name of a file")
    inputs = (args.key, *args.others, *args.answers)
    files = check_outputs((args.csv, args.learners, args.json, args.report), inputs)
    for name in files:
        check_no_set_beside(name)
    key, others = read_key(args.key), [read_key(name) for name in args.others]
    if args.set is not None:
        _check_set(args.set, files, key)
    marked = mark(key, _answers(args.answers, (key, *others)), rule, others=others)
    for name, columns, rows in (
        (args.csv, VALUE_COLUMNS, value_rows),
        (args.learners, SESSION_COLUMNS, session_rows),
    ):
        if name is not None:
            write_bytes(name, table_text(columns, rows(marked)).encode("utf-8"))
    if args.report is not None:
        from tapfall.lesson.marks_page import write_marks

        write_marks(args.report, marked, args.set)
    tell(marked_text(marked), marks_record(marked), args.json)
    return DONE


def _answers(names: list[str], keys: tuple[Key, ...]) -> list[Answers]:
    """Read the sessions of every file; a fault of all of them together names the last file."""
    from tapfall.errors import InputError
    from tapfall.files.names import label_of
    from tapfall.lesson import read_sessions
    from tapfall.lesson.checks import check_answers

    given: list[Answers] = []
    for name in names:
        found = read_sessions(name, keys)
        try:
            check_answers(keys, (*given, *found))
        except InputError as fault:
            raise InputError(f"{label_of(name)}: {fault}") from None
        given += found
    return given


def _check_set(folder: str, outputs: list[str], key: Key) -> None:
    """Refuse a folder that the page could not link to, or that outputs must not lie in."""
    from pathlib import Path

    from tapfall.errors import InputError, shown
    from tapfall.files.names import label_of
    from tapfall.lesson.sets import check_outside, read_set

    if not Path(folder).is_dir():
        raise InputError(f"{label_of(folder)}: found no such folder; allowed the set's folder")
    found = read_set(folder).set_id
    if found != key.set_id:
        raise InputError(
            f"{label_of(folder)}: found the set {shown(found)}; allowed {shown(key.set_id)}, "
            "that of the key"
        )
    for name in outputs:
        check_outside(name, folder)
