"""A whole agreement as lines for the terminal: a table first, then every statistic."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from tapfall.model import CAUTION
from tapfall.study.agreement.judged import TELLING, UNMET
from tapfall.study.agreement.protocols import (
    BHS,
    CRITERION_1,
    CRITERION_2,
    MEAN_MOST_MMHG,
    SD_MOST_MMHG,
)
from tapfall.study.agreement.result import MET, NOT_MET, Agreement, Group, Result
from tapfall.study.agreement.words import (
    counts_text,
    group_counts,
    group_title,
    keeps_side,
    numbers_text,
    simulated_text,
)
from tapfall.wording import WIDTH

_NAME = 40
#: Columns of the table: what a group is of, and what is found of it.
_GROUP = 24
_WORDS = {MET: "met", NOT_MET: "not met"}
_LEGEND = (
    "ISO 1, ISO 2: criteria 1 and 2 of ISO 81060-2:2018; BHS: grade of 1993; each of this sample "
    "alone, which validates nothing."
)
_SHORT = "Sources, and what protocols want of a sample, stand with all rows of a measure."


def agreement_text(agreement: Agreement) -> str:
    """Return an agreement as lines of at most 80 columns, with a line break at the end."""
    lines: list[str] = []
    if agreement.simulated:
        lines += [*_wrapped(simulated_text(agreement)), ""]
    lines += [*_overview(agreement), ""]
    if any(group.condition is not None for group in agreement.groups):
        lines += [*_wrapped(_SHORT), ""]
    for group in agreement.groups:
        lines += [*_wrapped(group_title(group)), *_wrapped(group_counts(group), "  ")]
        for note in group.notes:
            lines += _wrapped(note, "  ")
        said: set[str] = set()
        for result in group.results:
            lines += ["", *_result_lines(result, said, whole=group.condition is None)]
        lines.append("")
    for sentence in (*agreement.notes, "Figures and every number: --report and --json.", CAUTION):
        lines += _wrapped(sentence)
    return "\n".join(lines) + "\n"


def _overview(agreement: Agreement) -> list[str]:
    """One line for each group: how far its pairs differ, and what protocols say of them."""
    head = f"{'pairs':>7}{'bias':>7}{'SD':>6}{'limits (mmHg)':>16}"
    judged = any(one.name == BHS for group in agreement.groups for one in group.results)
    head += f"{'ISO 1':>8}{'ISO 2':>8}{'BHS':>4}" if judged else ""
    lines = [f"{'':<{_GROUP}}{head}"]
    for group in agreement.groups:
        name = _wrapped(group_title(group))
        if len(name) > 1 or len(name[0]) > _GROUP:
            lines += name
            name = [""]
        lines.append(f"{name[0]:<{_GROUP}}{_cells(group, judged=judged)}".rstrip())
    return [*lines, *(_wrapped(_LEGEND) if judged else [])]


def _cells(group: Group, *, judged: bool) -> str:
    found = {one.name: one for one in group.results}
    bias = spread = limits = "-"
    if group.drawn is not None:
        values = {one.name: one.value for one in found[group.drawn.name].numbers}
        bias = _signed(group.drawn.mean.value, bounds=(-MEAN_MOST_MMHG, MEAN_MOST_MMHG))
        spread = _signed(values["SD"], "", (SD_MOST_MMHG,))
        limits = f"{_signed(group.drawn.lower.value)} to {_signed(group.drawn.upper.value)}"
    text = f"{group.counts.paired:>7}{bias:>7}{spread:>6}{limits:>16}"
    if not judged:
        return text
    first, second = (_verdict(found.get(name)) for name in (CRITERION_1, CRITERION_2))
    grade = found[BHS].verdict.split()[1] if BHS in found else "-"
    return f"{text}{first:>8}{second:>8}{grade:>4}"


def _verdict(result: Result | None) -> str:
    return "-" if result is None else _WORDS.get(result.verdict, "-")


def _signed(value: float | None, sign: str = "+", bounds: Sequence[float] = ()) -> str:
    if value is None:
        return "-"
    many = next((n for n in (1, 2, 3) if keeps_side(round(value, n), value, bounds)), 1)
    text = f"{value:{sign}.{many}f}"
    return text[1:] if float(text) == 0.0 and text[0] in "+-" else text


def _result_lines(result: Result, said: set[str], *, whole: bool) -> list[str]:
    """One statistic; with a condition alone, what stands with all rows is left out."""
    verdict = f": {result.verdict}" if result.verdict else ""
    lines = _wrapped(f"{result.name}{verdict}", "  ")
    for name, text in numbers_text(result):
        lines += _wrapped(f"{name:<{_NAME}}{text}", "    ", _NAME)
    lines += _wrapped(counts_text(result), "    ")
    for note in result.notes:
        of_sample = note.startswith((TELLING, UNMET))
        # What one protocol wants is said once, though two of its criteria want it.
        if of_sample and (not whole or note in said):
            continue
        said.add(note)
        lines += _wrapped(note, "    ")
    return [*lines, *(_wrapped(f"Source: {result.source}", "    ") if whole else [])]


def _wrapped(text: str, indent: str = "", hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + " " * hang,
        break_on_hyphens=False,
    ) or [""]
