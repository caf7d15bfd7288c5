"""``tapfall study``: many recordings, one table."""

from __future__ import annotations

import argparse
import sys

from tapfall.cli.chosen import settings_of
from tapfall.cli.codes import DONE, UNREADABLE, WIDTH
from tapfall.cli.output import check_report, say
from tapfall.cli.progress import bar, left_text, show
from tapfall.cli.streams import ended_alike

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from tapfall.study import Choices, Progress, Study
    from tapfall.study.tables import Row


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.cli.parser import Usage
    from tapfall.study import cluster
    from tapfall.study import run as run_study

    if args.scheduler is not None and args.workers is not None:
        raise Usage("found --workers with --scheduler; allowed one of them")
    if args.report is not None:
        from tapfall.files import check_writable

        check_report(args.report)
        check_writable(args.report, (args.manifest,))
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

    with ended_alike():
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


def study_text(study: Study) -> str:
    """Return what a study came to, at most 80 columns, with a line break at the end."""
    import textwrap

    from tapfall.errors import printable
    from tapfall.model import CAUTION

    people = len({entry.subject for entry in study.manifest.entries})
    lines = [
        f"{_count(study.read + study.failed, 'recording')} of "
        f"{_count(people, 'subject')}: {study.read} read, {study.failed} failed",
    ]
    if study.simulated:
        lines.append(f"Simulated: no person was measured in {study.simulated} of those read")
    if study.kept:
        lines.append(f"{study.kept} of them were done before and have not changed")
    if study.dropped:
        lines.append(
            f"{_count(study.dropped, 'row')} of recordings that the manifest no longer names "
            "left out"
        )
    lines += _errors(study.tables.errors) + _beats(study.tables.beats)
    if study.tables.observers_apart:
        values = _count(study.tables.observers_apart, "value")
        lines += ["", f"{values} without a reference: observers more than 4 mmHg apart"]
    folder = printable(str(study.folder))
    lines += ["", *textwrap.wrap(f"In {folder}: results.csv, readings, tables, study.json", WIDTH)]
    lines += ["", *textwrap.wrap(CAUTION, WIDTH)]
    return "\n".join(lines) + "\n"


def _errors(rows: tuple[Row, ...]) -> list[str]:
    from tapfall.study.cells import ALL

    lines = ["", f"{'mmHg':<36}{'pairs':>6}{'mean':>8}{'SD':>8}{'within 4':>10}"]
    for first, second, condition, measure, pairs, _, mean, spread, _, near, *_ in rows:
        if condition == ALL and isinstance(measure, str):
            name = f"{measure}: {_said(second)} - {_said(first)}"
            cells = (
                f"{_number(mean, '+.1f'):>8}{_number(spread, '.1f'):>8}{_number(near, '.0%'):>10}"
            )
            lines.append(f"{name:<36}{pairs!s:>6}{cells}")
    return lines if len(lines) > 2 else []


def _beats(rows: tuple[Row, ...]) -> list[str]:
    from tapfall.study.cells import ALL

    lines = ["", f"{'beats heard':<36}{'hits':>6}{'false':>8}{'missed':>8}{'F1':>10}"]
    for first, second, condition, _, hits, false, missed, _, _, f1, *_ in rows:
        if condition == ALL:
            name = f"{_said(second)} against {_said(first)}"
            lines.append(f"{name:<36}{hits!s:>6}{false!s:>8}{missed!s:>8}{_number(f1, '.3f'):>10}")
    return lines if len(lines) > 2 else []


def _said(name: object) -> str:
    return str(name).replace("_", " ")


def _number(value: object, form: str) -> str:
    return format(value, form) if isinstance(value, float) else "-"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
