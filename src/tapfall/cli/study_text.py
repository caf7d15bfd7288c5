"""What a study came to, as text for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from tapfall.errors import printable
from tapfall.model import CAUTION, simulated_words
from tapfall.study import Study
from tapfall.study.agreement.words import percent_text
from tapfall.study.cells import ALL
from tapfall.study.columns import kept
from tapfall.study.tables import Row
from tapfall.wording import WIDTH, counted

#: So many failures, copies and columns are told by name; all stand in the tables (our choice).
MOST_TOLD = 5
#: Lines that a reason takes at most (our choice).
_LINES = 3


def study_text(study: Study) -> str:
    """Return what a study came to, at most 80 columns, with a line break at the end."""
    people = len({entry.subject for entry in study.manifest.entries})
    lines = [
        f"{counted(study.read + study.failed, 'recording')} of "
        f"{counted(people, 'subject')}: {study.read} read, {study.failed} failed",
    ]
    if study.simulated:
        lines.append(simulated_words(study.simulated, f"{counted(study.read, 'recording')} read"))
    if study.read:
        told = ", ".join(f"{count} {status}" for status, count in study.outline.statuses)
        lines.append(f"Of those read: {told}")
    if study.kept:
        lines.append(f"{study.kept} of them were done before and have not changed")
    if study.dropped:
        lines.append(
            f"{counted(study.dropped, 'row')} of recordings that the manifest no longer names "
            "left out"
        )
    lines += _failures(study) + _noted(study)
    lines += _errors(study.tables.errors) + _unread(study) + _beats(study.tables.beats)
    if study.tables.observers_apart:
        values = counted(study.tables.observers_apart, "value")
        lines += ["", f"{values} without a reference: observers more than 4 mmHg apart"]
    folder = printable(str(study.folder))
    lines += ["", *textwrap.wrap(f"In {folder}: results.csv, readings, tables, study.json", WIDTH)]
    lines += ["", *textwrap.wrap(CAUTION, WIDTH)]
    return "\n".join(lines) + "\n"


def _failures(study: Study) -> list[str]:
    """The first recordings that failed, and why."""
    failures = study.outline.failures
    lines = ["", "Failed:"]
    for name, reason in failures[:MOST_TOLD]:
        lines += textwrap.wrap(
            printable(f"{name}: {reason}"),
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
            max_lines=_LINES,
            placeholder=" ...",
        )
    if len(failures) > MOST_TOLD:
        lines.append(f"  and {len(failures) - MOST_TOLD} more: see results.csv")
    return lines if failures else []


def _noted(study: Study) -> list[str]:
    """Columns that were taken for notes, and recordings that are copies."""
    lines: list[str] = []
    notes = kept(study.manifest.columns)
    if notes:
        lines += textwrap.wrap(f"Columns kept without a meaning: {_listed(notes)}", WIDTH)
    copies = [" = ".join(names) for names in study.outline.copies]
    if copies:
        words = "Equal files under several names, each counted as a recording: "
        lines += textwrap.wrap(words + _listed(copies), WIDTH)
    return ["", *lines] if lines else []


def _listed(names: Iterable[str]) -> str:
    every = [printable(name) for name in names]
    more = f" and {len(every) - MOST_TOLD} more" if len(every) > MOST_TOLD else ""
    return ", ".join(every[:MOST_TOLD]) + more


def _errors(rows: tuple[Row, ...]) -> list[str]:
    lines = ["", f"{'mmHg':<36}{'pairs':>6}{'no value':>10}{'mean':>8}{'SD':>8}{'within 4':>10}"]
    for first, second, condition, measure, pairs, none, mean, spread, _, near, *_ in rows:
        if condition == ALL and isinstance(measure, str):
            name = f"{measure}: {_said(second)} - {_said(first)}"
            share = f"{percent_text(100.0 * near)}%" if isinstance(near, float) else "-"
            cells = f"{_number(mean, '+.1f'):>8}{_number(spread, '.1f'):>8}{share:>10}"
            lines.append(f"{name:<36}{pairs!s:>6}{none!s:>10}{cells}")
    return lines if len(lines) > 2 else []


def _unread(study: Study) -> list[str]:
    """How many of those without a value come of files that could not be read."""
    counts: dict[str, int] = {}
    for (measure, _), count in study.tables.unread.items():
        counts[measure] = counts.get(measure, 0) + count
    if not counts:
        return []
    told = " and ".join(f"{count} {measure}" for measure, count in sorted(counts.items())[::-1])
    words = (
        f"Of those without a value (tapfall - observers) {told} are of recordings that could "
        "not be read."
    )
    return textwrap.wrap(words, WIDTH)


def _beats(rows: tuple[Row, ...]) -> list[str]:
    lines = ["", f"{'beats heard':<36}{'hits':>6}{'false':>8}{'missed':>8}{'F1':>10}"]
    for first, second, condition, _, hits, false, missed, _, _, f1, *_ in rows:
        if condition == ALL:
            name = f"{_said(second)} against {_said(first)}"
            lines.append(f"{name:<36}{hits!s:>6}{false!s:>8}{missed!s:>8}{_number(f1, '.3f'):>10}")
    return lines if len(lines) > 2 else []


def _said(name: object) -> str:
    return str(name).replace("_", " ")


def _number(value: object, form: str) -> str:
    text = format(value, form) if isinstance(value, float) else "-"
    return text if text.strip("+-0.") or text == "-" else text.lstrip("+-")
