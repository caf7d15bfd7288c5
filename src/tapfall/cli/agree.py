"""``tapfall agree``: how far estimates agree with their references."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.output import check_outputs, check_report, tell
from tapfall.cli.visit_options import VISIT_DEFAULT


def add_agree(command: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    command.description = (
        "Compare estimates with references: limits of agreement, shares within 5, 10 and 15, "
        "criteria of protocols on this sample, ICC, kappa, each with its source."
    )
    command.epilog = (
        "The table is CSV with the columns reference and estimate, and if wanted subject, "
        "condition, measure (systolic, diastolic or mean), confidence, reference_2 (a second "
        "observer), sex, age_years, arm_cm, cuff_size and simulated (yes or no); mmHg. An empty "
        "estimate is an abstention, >=120 or <=60 a bound. Exit codes: 0 done, 1 nothing could "
        "be computed, 2 bad input or usage."
    )
    command.add_argument("table", metavar="TABLE", help="pairs of reference and estimate: .csv")
    command.add_argument("--json", metavar="FILE", help="write every number as JSON; - for stdout")
    command.add_argument("--report", metavar="FILE", help="write a page with figures: .html")
    command.add_argument(
        "--scheme",
        default=VISIT_DEFAULT,
        metavar="NAME",
        help=f"the scheme of categories, for kappa ({VISIT_DEFAULT})",
    )
    command.add_argument(
        "--reference",
        choices=("observers", "device"),
        default="observers",
        help="who the reference is by; with device no protocol is applied (observers)",
    )


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.files.names import base_name
    from tapfall.study.agreement import agreement, agreement_record, read_table
    from tapfall.study.agreement.text import agreement_text
    from tapfall.visit.schemes import scheme_of

    scheme_of(args.scheme)  # before anything is read
    if args.report is not None:
        check_report(args.report)
    check_outputs((args.report, args.json), (args.table,))
    table = read_table(args.table)
    found = agreement(table, args.scheme, reference=args.reference)
    name = base_name(args.table)
    record = agreement_record(found, name=name, sha256=table.sha256)
    if args.report is not None:
        from tapfall.show.agreement_page import write_agreement

        write_agreement(args.report, found, name=name, sha256=table.sha256)
    tell(agreement_text(found), record, args.json)
    return DONE if any(one.results for one in found.groups) else UNREADABLE
