"""``tapfall study``: many recordings, one table."""

from __future__ import annotations

import argparse
import sys

from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.output import say

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from tapfall.study import Choices, Progress, Study
    from tapfall.study.tables import Row

WIDTH = 80


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.cli.options import Usage
    from tapfall.study import cluster
    from tapfall.study import run as run_study

    if args.scheduler is not None and args.workers is not None:
        raise Usage("found --workers with --scheduler; allowed one of them")
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

    try:
        if args.scheduler is None:
            study = go(workers=args.workers)
        else:
            with cluster(args.scheduler) as (executor, threads):
                study = go(executor=executor, at_once=threads)
    finally:
        if told is not None:
            _show("")
    say(study_text(study))
    return DONE if study.read else UNREADABLE


def _choices(args: argparse.Namespace) -> Choices:
    from tapfall.errors import SettingError
    from tapfall.model import Rule, Settings
    from tapfall.study import Choices

    if args.cuff_channel is None and (args.cuff_scale, args.cuff_offset) != (None, None):
        raise SettingError("found a cuff scale or offset; allowed only with a cuff channel")
    return Choices(
        settings=Settings(
            diastolic=Rule(args.diastolic),
            lag_s=args.lag,
            manometer_mmhg=args.manometer_error,
        ),
        channel=args.channel,
        cuff_channel=args.cuff_channel,
        cuff_scale=args.cuff_scale,
        cuff_offset=args.cuff_offset,
    )


def _progress() -> Callable[[Progress], None] | None:
    """What shows how far the study is: on a terminal only."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None
    return lambda progress: _show(progress_text(progress))


def _show(text: str) -> None:
    if sys.stderr is not None:
        sys.stderr.write(f"\r{text:<{WIDTH - 2}}" + ("" if text else "\r"))
        sys.stderr.flush()


def progress_text(progress: Progress) -> str:
    """Return how far a study is, in one line.

    Examples
    --------
    >>> from tapfall.study import Progress
    >>> progress_text(Progress(done=12, total=510, failed=1, kept=0, left_s=130.0))
    '12 of 510, 1 failed, about 3 minutes left'
    """
    text = f"{progress.done} of {progress.total}"
    if progress.failed:
        text += f", {progress.failed} failed"
    left_s = progress.left_s
    if left_s is None or progress.done == progress.total:
        return text
    if left_s < 60:
        return f"{text}, less than a minute left"
    minutes = -(-left_s // 60)
    if minutes <= 90:
        return f"{text}, about {minutes:.0f} minutes left"
    return f"{text}, about {minutes / 60:.1f} hours left"


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
