"""Numbers, counts and whole agreements as text of at most 80 columns."""

from __future__ import annotations

import textwrap

from tapfall.model import CAUTION, simulated_words
from tapfall.study.agreement.result import Agreement, Group, Number, Result

WIDTH = 80
_NAME = 40
#: Most decimals that are shown (our choice).
_MOST_PLACES = 6


def number_text(number: Number) -> str:
    """Return a number with its interval and unit; rounded for display only.

    Examples
    --------
    >>> number_text(Number(name="SD", value=2.125, low=1.0, high=3.0, unit="mmHg"))
    '2.12 mmHg (1.00 to 3.00)'
    >>> number_text(Number(name="p of no slope", value=0.0000001))
    'below 0.001'
    >>> number_text(Number(name="n", value=None))
    'none'
    """
    value = number.value
    if value is None:
        return "none"
    if number.name.startswith("p of") and value < 0.001:
        return "below 0.001"
    text = f"{_plain(value, number.unit)} {number.unit}".strip()
    if number.low is None or number.high is None:
        return text
    return f"{text} ({_plain(number.low, number.unit)} to {_plain(number.high, number.unit)})"


def percent_text(percent: float, places: int = 0) -> str:
    """Return a per cent with as few decimals as keep it from looking like all or nothing.

    Parameters
    ----------
    percent
        0 to 100.
    places
        The fewest decimals.

    Examples
    --------
    >>> [percent_text(one) for one in (95.4, 99.7, 99.96, 100.0, 0.2)]
    ['95', '99.7', '99.96', '100', '0.2']
    """
    for many in range(places, _MOST_PLACES):
        text = f"{percent:.{many}f}"
        if all((float(text) == end) == (percent == end) for end in (0.0, 100.0)):
            return text
    return f"{percent:.{_MOST_PLACES}f}"


def counts_text(result: Result) -> str:
    """Return the rows a statistic rests on, and those that it does not.

    Examples
    --------
    >>> counts_text(Result(name="a", source="b", used=2, paired=4, abstained=1, bounded=0))
    '2 of 4 pairs; 1 abstained, 0 bounded'
    """
    used = f"{result.used} of " if result.used != result.paired else ""
    return f"{used}{result.paired} pairs; {result.abstained} abstained, {result.bounded} bounded"


def group_title(group: Group) -> str:
    """Return what a group is of."""
    measure = "Measure not told" if group.measure == "not told" else group.measure.capitalize()
    return f"{measure}, {'all rows' if group.condition is None else group.condition}"


def group_counts(group: Group) -> str:
    """Return the rows of a group in words."""
    counts = group.counts
    subjects = "not told" if counts.subjects is None else f"{counts.subjects}"
    return (
        f"{counts.rows} rows: {counts.paired} paired (subjects: {subjects}), {counts.abstained} "
        f"abstained, {counts.bounded} bounded, {counts.observers_apart} with observers too far "
        f"apart, {counts.without_reference} without a reference"
    )


def simulated_text(agreement: Agreement) -> str:
    """Return in how many rows no person was measured."""
    rows = "1 row" if agreement.rows == 1 else f"{agreement.rows} rows"
    return simulated_words(agreement.simulated, rows)


def agreement_text(agreement: Agreement) -> str:
    """Return an agreement as lines of at most 80 columns, with a line break at the end."""
    lines: list[str] = []
    if agreement.simulated:
        lines += [*_wrapped(simulated_text(agreement)), ""]
    for group in agreement.groups:
        lines += [*_wrapped(group_title(group)), *_wrapped(group_counts(group), "  ")]
        for note in group.notes:
            lines += _wrapped(note, "  ")
        for result in group.results:
            lines += ["", *_result_lines(result)]
        lines.append("")
    for sentence in (*agreement.notes, "Figures and every number: --report and --json.", CAUTION):
        lines += _wrapped(sentence)
    return "\n".join(lines) + "\n"


def _result_lines(result: Result) -> list[str]:
    verdict = f": {result.verdict}" if result.verdict else ""
    lines = _wrapped(f"{result.name}{verdict}", "  ")
    for number in result.numbers:
        lines += _wrapped(f"{number.name:<{_NAME}}{number_text(number)}", "    ", _NAME)
    lines += _wrapped(counts_text(result), "    ")
    for note in result.notes:
        lines += _wrapped(note, "    ")
    return [*lines, *_wrapped(f"Source: {result.source}", "    ")]


def _plain(value: float | int, unit: str) -> str:
    if isinstance(value, int):
        return f"{value}"
    if unit == "%":
        return percent_text(value, 1)
    places = 2 if unit in ("mmHg", "mmHg2") else 3
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def _wrapped(text: str, indent: str = "", hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + " " * hang,
        break_on_hyphens=False,
    ) or [""]
