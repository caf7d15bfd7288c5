"""``tapfall study``: many recordings, one table."""

from __future__ import annotations

import argparse
import sys

from tapfall.cli.chosen import settings_of
from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.ending import cleared_up
from tapfall.cli.output import check_outputs, check_report, say
from tapfall.cli.progress import bar, left_text, show

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from tapfall.study import Choices, Progress, Study


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.cli.parser import Usage
    from tapfall.cli.study_text import study_text
    from tapfall.study import cluster
    from tapfall.study import run as run_study

    if args.scheduler is not None and args.workers is not None:
        raise Usage("found --workers with --scheduler; allowed one of them")
    if args.report is not None:
        check_report(args.report)
    check_outputs((args.report,), (args.manifest,))
    choices, told = _choices(args), _progress()

    def go(**how: object) -> Study:
        return run_study(
            args.manifest,
            args.output,
            choices=choices,
            allow_outside=args.allow_outside,
            told=told,
            **how,  # type: ignore[arg-type]
        )

    with cleared_up(("SIGTERM",)):
        try:
            if args.scheduler is None:
                study = go(workers=args.workers)
            else:
                with cluster(args.scheduler) as (executor, threads):
                    study = go(executor=executor, at_once=threads)
        finally:
            if told is not None:
                show("")
        if args.report is not None:
            _report(study, args.report)
    say(study_text(study))
    return DONE if study.read else UNREADABLE


def _report(study: Study, path: str) -> None:
    """Write the page, and what it rests on beside the tables."""
    from tapfall.show.study_page import write_study
    from tapfall.study.agreeing import agreements_of, write_agreements

    found = agreements_of(study.tables)
    write_agreements(study.folder, found)
    write_study(path, study, found)


def _choices(args: argparse.Namespace) -> Choices:
    from tapfall.errors import SettingError
    from tapfall.study import Choices

    if args.cuff_channel is None and (args.cuff_scale, args.cuff_offset) != (None, None):
        raise SettingError("found a cuff scale or offset; allowed only with a cuff channel")
    return Choices(
        settings=settings_of(args),
        channel=args.channel,
        cuff_channel=args.cuff_channel,
        cuff_scale=args.cuff_scale,
        cuff_offset=args.cuff_offset,
    )


def _progress() -> Callable[[Progress], None] | None:
    """What shows how far the study is: on a terminal only."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None
    return lambda progress: show(progress_text(progress))


def progress_text(progress: Progress) -> str:
    """Return how far a study is, in one line.

    Examples
    --------
    >>> from tapfall.study import Progress
    >>> progress_text(Progress(done=12, total=510, failed=1, kept=0, left_s=130.0))
    '|=                       | 12 of 510, 1 failed, about 3 minutes left'
    """
    text = f"{progress.done} of {progress.total}"
    if progress.failed:
        text += f", {progress.failed} failed"
    if progress.left_s is not None and progress.done < progress.total:
        text += f", {left_text(progress.left_s)}"
    return f"{bar(progress.done, progress.total)} {text}"
