"""The options of ``tapfall visit``."""

from __future__ import annotations

import argparse

#: What a visit is averaged and classed by unless something else is named.
VISIT_DEFAULT = "acc-aha-2025"


def add_visit(command: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    command.usage = "tapfall visit [options] READING.json... | AUDIO CUFFLOG... | LIST.csv"
    command.description = (
        "Average the readings of a visit by a named guideline, compare both arms, and place "
        "the average in a named scheme of categories."
    )
    command.epilog = (
        "A list is CSV with the columns audio and cuff (names of files in its own folder or "
        "below), and if wanted arm (left or right), time (2026-03-31T09:15), arm_cm and "
        "cuff_size, which count before the options of those names. A recording "
        "that cannot be read is told with its reason. Exit codes: 0 done, 1 nothing could be "
        "averaged, 2 bad input or usage."
    )
    command.add_argument("inputs", metavar="INPUT", nargs="*", help="readings, recordings, lists")
    command.add_argument(
        "--average",
        default=VISIT_DEFAULT,
        metavar="NAME",
        help=f"the guideline to average by ({VISIT_DEFAULT})",
    )
    command.add_argument(
        "--scheme",
        default=VISIT_DEFAULT,
        metavar="NAME",
        help=f"the scheme of categories ({VISIT_DEFAULT})",
    )
    command.add_argument("--list", action="store_true", help="list guidelines and schemes")
    command.add_argument(
        "--include-review",
        action="store_true",
        help="average also readings that a person should check",
    )
    command.add_argument(
        "--arm",
        type=_arms,
        metavar="SIDE",
        help="left or right, of all recordings that state none; or one of each: left,right,right",
    )
    command.add_argument("--json", metavar="FILE", help="write the visit as JSON; - for stdout")
    command.add_argument("--table", metavar="FILE", help="write the readings as CSV")
    command.add_argument(
        "--report",
        metavar="FILE",
        help="write a page with every recording, its figure and its sound: .html",
    )


def _arms(text: str) -> tuple[str, ...]:
    arms = tuple(text.split(","))
    if set(arms) - {"left", "right"}:
        raise argparse.ArgumentTypeError(
            f"found '{text}'; allowed left, right, or one of each recording such as left,right"
        )
    return arms
