"""``tapfall visit``: several readings, one average."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.output import check_outputs, check_report, say, tell


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    if args.list:
        from tapfall.cli.visit_text import lists_text

        say(lists_text())
        return DONE
    from tapfall.cli.visit_jobs import arms_of, how_of, jobs_of, read_jobs
    from tapfall.cli.visit_text import technique_told, visit_table, visit_text
    from tapfall.files import write_bytes
    from tapfall.visit import visit, visit_record
    from tapfall.visit.guidelines import guideline_of
    from tapfall.visit.schemes import scheme_of

    guideline_of(args.average), scheme_of(args.scheme)  # before anything is read
    if args.report is not None:
        check_report(args.report)
    how = how_of(args)
    jobs = jobs_of(args.inputs, how)
    inputs = tuple(path for _, paths, _ in jobs for path in paths) + tuple(args.inputs)
    check_outputs((args.json, args.table, args.report), inputs)
    found, lost = read_jobs(jobs, arms_of(args.arm, len(jobs)))
    taken = [one for here in found for one in here.taken]
    sources = [here.source for here in found if here.source is not None]
    made = visit(
        taken, average=args.average, scheme=args.scheme, include_review=args.include_review
    )
    record = visit_record(made, sources=sources, lost=lost)
    tell(visit_text(made, lost, technique_told(taken)), record, args.json)
    if args.table is not None:
        write_bytes(args.table, visit_table(made, lost).encode("utf-8"))
    if args.report is not None:
        from tapfall.show.visit_page import Shown, write_visit

        shown = [
            Shown(taken=one, recording=here.recording, source=here.source)
            for here in found
            for one in here.taken
        ]
        write_visit(args.report, made, shown, lost=lost, settings=how.settings)
    return UNREADABLE if made.average is None else DONE
