"""``tapfall lesson``: graded sets of recordings, the listening page, marking."""

from __future__ import annotations

import argparse

from tapfall.cli.lesson_make import add_make
from tapfall.cli.lesson_mark import add_mark
from tapfall.cli.lesson_observe import add_observe
from tapfall.cli.lesson_own import add_own, add_rate
from tapfall.cli.lesson_page import add_page

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


def add_lesson(
    command: argparse.ArgumentParser, parents: list[Any], parser_class: type[Any]
) -> None:
    """Add what the command can do."""
    command.description = "Recordings to learn from: make a set, listen to it, mark the answers."
    actions = command.add_subparsers(
        dest="action", metavar="ACTION", required=True, parser_class=parser_class
    )
    add_make(actions.add_parser("make", parents=parents, help="make a graded set and its key"))
    add_page(actions.add_parser("page", parents=parents, help="make the page to listen with"))
    add_observe(
        actions.add_parser("observe", parents=parents, help="observers' answers into a study")
    )
    add_mark(actions.add_parser("mark", parents=parents, help="hold answers against the key"))
    add_own(actions.add_parser("own", parents=parents, help="make a set of your own recordings"))
    add_rate(actions.add_parser("rate", parents=parents, help="let experts rate a set"))


def run(args: argparse.Namespace) -> int:
    """Run the action and return its exit code."""
    if args.action == "make":
        from tapfall.cli.lesson_make import run
    elif args.action == "page":
        from tapfall.cli.lesson_page import run
    elif args.action == "observe":
        from tapfall.cli.lesson_observe import run
    elif args.action == "own":
        from tapfall.cli.lesson_own import run_own as run
    elif args.action == "rate":
        from tapfall.cli.lesson_own import run_rate as run
    else:
        from tapfall.cli.lesson_mark import run
    return run(args)
