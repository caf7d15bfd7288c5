"""A visit as text for a terminal, at most 80 columns, and as a table."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Sequence

from tapfall.errors import printable
from tapfall.files.tables import Cell, table_text
from tapfall.model import CAUTION, FindingState, Status, simulated_words
from tapfall.standards import ARMS_TO_AVOID, NO_DIAGNOSIS
from tapfall.visit import (
    GUIDELINES,
    SCHEMES,
    Cited,
    Counted,
    Lost,
    Mean,
    Scheme,
    Taken,
    Visit,
)
from tapfall.visit.make import cited_guideline, cited_scheme
from tapfall.visit.words import (
    HOW,
    Measure,
    arm_words,
    averaged_words,
    doubt_words,
    even_pair,
    mean_words,
    scheme_shown,
    shown_pair,
    shown_reading,
    what_words,
)
from tapfall.wording import WIDTH, counted

#: Columns of labels, and of a table of readings.
_LEFT, _NAME, _ARM, _MMHG, _STATUS = 16, 30, 7, 18, 12
_ALWAYS = (NO_DIAGNOSIS, ARMS_TO_AVOID)
_TABLE_HEADER = (
    "reading",
    "arm",
    "time",
    "status",
    "systolic_mmHg",
    "systolic_at_least_mmHg",
    "diastolic_mmHg",
    "diastolic_at_most_mmHg",
    "diastolic_rule",
    "rhythm",
    "averaged",
    "why_not",
    "simulated",
)
#: Values, bounds, rule and rhythm of a recording that could not be read.
_NOTHING = (None,) * 6


def visit_text(
    visit: Visit,
    lost: Sequence[Lost] = (),
    technique: Sequence[str] = (),
) -> str:
    """Return a visit as lines of at most 80 columns, with a line break at the end.

    ``technique`` is what was found of how the readings were taken.
    """
    pressing = tuple(one for one in visit.cautions if one not in _ALWAYS)
    lines = [*_headline(visit), "", *_values(visit), "", *_rows(visit, lost)]
    simulated = sum(one.simulated for one in visit.readings)
    if simulated:
        lines += ["", *_wrap(simulated_words(simulated, counted(len(visit.readings), "reading")))]
    for title, sentences in (
        ("Check", pressing),
        ("Technique", technique),
        ("Take more readings", visit.more),
        ("Both arms", () if visit.arms is None else visit.arms.sentences),
        ("Note", visit.notes),
    ):
        if sentences:
            lines += ["", f"{title}:"]
            for sentence in sentences:
                lines += _wrap(printable(sentence), "  - ", "    ")
    lines.append("")
    if visit.average is not None:
        lines += _wrap(HOW)
    for caution in (*_ALWAYS, CAUTION):
        lines += _wrap(caution)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def technique_told(taken: Sequence[Taken]) -> list[str]:
    """Say of each reading what its technique has of faults; no value is changed for it."""
    told = []
    for one in taken:
        faults = [f.check for f in one.reading.technique if f.state is FindingState.FAULT]
        if faults:
            names = ", ".join(name.replace("_", " ") for name in faults)
            told.append(f"{one.label or '(no name)'}: {names} (--report tells which way it biases)")
    return told


def visit_table(visit: Visit, lost: Sequence[Lost] = ()) -> str:
    """Return the readings of a visit as CSV; texts that could be formulas are escaped."""
    rows: list[tuple[Cell, ...]] = [
        (
            one.label,
            one.arm,
            one.time,
            one.status,
            one.systolic_mmhg,
            one.systolic_at_least_mmhg,
            one.diastolic_mmhg,
            one.diastolic_at_most_mmhg,
            one.diastolic_rule,
            one.rhythm,
            one.averaged,
            one.why_not,
            one.simulated,
        )
        for one in visit.readings
    ]
    rows += [(one.name, None, None, "lost", *_NOTHING, False, one.reason, None) for one in lost]
    return table_text(_TABLE_HEADER, rows)


def lists_text() -> str:
    """Return the guidelines and schemes that can be named, with dates and sources."""
    lines = ["Guidelines (--average):"]
    for guideline in GUIDELINES.values():
        lines += _cited(cited_guideline(guideline))
    lines += ["", "Schemes of categories (--scheme):"]
    for scheme in SCHEMES.values():
        lines += _cited(cited_scheme(scheme))
    return "\n".join(lines) + "\n"


def _cited(one: Cited) -> Iterator[str]:
    yield f"  {one.name:<14}{one.title} ({one.date})"
    indent = " " * 16
    yield from _wrap(f"{one.rule}.", indent, indent)
    yield from _wrap(f"Source: {one.source}.", indent, indent)


def _headline(visit: Visit) -> Iterator[str]:
    average = visit.average
    if average is None:
        yield "Nothing could be averaged."
        return
    pair = shown_pair(scheme_shown(visit), average.systolic.mmhg, average.diastolic.mmhg)
    yield f"{pair} mmHg   {what_words(visit)}"


def _values(visit: Visit) -> Iterator[str]:
    average = visit.average
    if average is not None:
        scheme = scheme_shown(visit)
        yield f"{'Systolic':<{_LEFT}}{_mean(scheme, 'systolic', average.systolic)}"
        yield f"{'Diastolic':<{_LEFT}}{_mean(scheme, 'diastolic', average.diastolic)}"
        yield f"{'To 2 mmHg':<{_LEFT}}{even_pair(average)} mmHg   for display only"
        yield f"{'Pulse pressure':<{_LEFT}}{average.pulse_pressure_mmhg:.1f} mmHg"
        yield (
            f"{'Mean arterial':<{_LEFT}}{average.mean_arterial_mmhg:.1f} mmHg   "
            "diastolic + pulse pressure / 3"
        )
        for other in visit.averages if len(visit.averages) > 1 else ():
            pair = shown_pair(scheme, other.systolic.mmhg, other.diastolic.mmhg)
            arm = arm_words(other).capitalize()
            yield f"{arm:<{_LEFT}}{pair} mmHg   {counted(other.count, 'reading')}"
        if visit.arms is not None:
            apart = f"{visit.arms.systolic_mmhg:+.1f} / {visit.arms.diastolic_mmhg:+.1f} mmHg"
            yield f"{'Left - right':<{_LEFT}}{apart}"
    rule = f"{visit.guideline.title}: {visit.guideline.rule}"
    yield from _field("Averaged", averaged_words(visit) + rule)
    yield from _field("Category", _category(visit))


def _mean(scheme: Scheme, measure: Measure, mean: Mean) -> str:
    mmhg, span = mean_words(scheme, measure, mean)
    return f"{mmhg} mmHg   " + ("range not known" if span is None else f"({span})")


def _category(visit: Visit) -> str:
    title, placed = visit.scheme.title, visit.placed
    if placed is None:
        return f"none ({title}). {visit.why_not_placed}"
    return f"{placed.category} ({title}){doubt_words(placed)}"


def _rows(visit: Visit, lost: Sequence[Lost]) -> Iterator[str]:
    yield f"{'reading':<{_NAME}}{'arm':<{_ARM}}{'mmHg':<{_MMHG}}{'status':<{_STATUS}}averaged"
    for one in visit.readings:
        yield from _row(one, scheme_shown(visit))
    for gone in lost:
        yield f"{_within(printable(gone.name)):<{_NAME}}{'':<{_ARM + _MMHG}}lost"
        yield from _wrap(printable(gone.reason), "    ", "    ")


def _row(one: Counted, scheme: Scheme) -> Iterator[str]:
    pair = "-" if one.status is Status.UNREADABLE else shown_reading(scheme, one)
    pair += " "  # two bounds are wider than the column
    name = _within(printable(one.label or "(no name)"))
    pad = " " * (_NAME - _columns(name))
    arm = one.arm or "-"
    said = "yes" if one.averaged else "no"
    yield f"{name}{pad}{arm:<{_ARM}}{pair:<{_MMHG}}{one.status:<{_STATUS}}{said}"
    if one.why_not is not None:
        yield from _wrap(printable(one.why_not), "    ", "    ")


def _field(name: str, text: str) -> list[str]:
    return _wrap(f"{name:<{_LEFT}}{text}", "", " " * _LEFT)


def _columns(text: str) -> int:
    return sum(2 if unicodedata.east_asian_width(ch) in "WF" else 1 for ch in text)


def _within(name: str) -> str:
    """A name that leaves a blank at the end of its column; wide letters take two."""
    longest = _NAME - 2
    if _columns(name) <= longest:
        return name
    while _columns(name) > longest - 3:
        name = name[:-1]
    return f"{name}..."


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
