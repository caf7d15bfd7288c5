"""``tapfall lesson mark``: answers against the key."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.output import say

#: What passes unless chosen.
PASS_RULE = "expert-1991"


def add_mark(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Hold answers against the key of their set: errors, what went wrong and where in the "
        "sound, habits, agreement of learners, progress over sessions."
    )
    command.add_argument("key", metavar="KEY", help="the key of the set: .json")
    command.add_argument(
        "answers", metavar="ANSWERS", nargs="+", help="what learners saved: .json or .csv"
    )
    command.add_argument(
        "--pass",
        dest="rule",
        default=PASS_RULE,
        metavar="RULE",
        help=f"expert-1991, sequences-4, sequences-2, or MMHG:PERCENT,... ({PASS_RULE})",
    )
    command.add_argument("--csv", metavar="FILE", help="write a row for each value")
    command.add_argument("--json", metavar="FILE", help="write everything as JSON; - for stdout")
    command.add_argument("--report", metavar="FILE", help="write a page: .html")
    command.add_argument(
        "--set", metavar="FOLDER", help="where the sounds are: the page then links to them"
    )


def run(args: argparse.Namespace) -> int:
    """Mark the answers and say what was found."""
    from tapfall.convert import to_json
    from tapfall.errors import SettingError
    from tapfall.files import check_writable, write_json
    from tapfall.files.names import label_of
    from tapfall.files.tables import table_text
    from tapfall.files.writing import json_text, write_bytes
    from tapfall.lesson import mark, pass_rule, read_answers, read_key
    from tapfall.lesson.words import COLUMNS, marked_text, rows
    from tapfall.model import CAUTION

    rule = pass_rule(args.rule)
    if args.report is not None and not args.report.lower().endswith((".html", ".htm")):
        raise SettingError(
            f"--report: found {label_of(args.report)}; allowed a name that ends in .html"
        )
    if args.set is not None and args.report is None:
        raise SettingError("--set: found no --report; allowed with one")
    for name in (args.csv, args.json, args.report):
        if name not in (None, "-"):
            check_writable(name, (args.key, *args.answers))
    key = read_key(args.key)
    marked = mark(key, [read_answers(name) for name in args.answers], rule)
    if args.csv is not None:
        write_bytes(args.csv, table_text(COLUMNS, rows(marked)).encode("utf-8"))
    if args.report is not None:
        from tapfall.lesson.marks_page import write_marks

        write_marks(args.report, marked, args.set)
    record = {"schema": "tapfall.marks/1", **to_json(marked), "caution": CAUTION}
    if args.json not in (None, "-"):
        write_json(args.json, record)
    say(json_text(record) if args.json == "-" else marked_text(marked))
    return DONE
