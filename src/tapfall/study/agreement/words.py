"""Numbers, counts and groups of an agreement in words."""

from __future__ import annotations

from collections.abc import Sequence

from tapfall.model import simulated_words
from tapfall.study.agreement.digits import NAME as DIGITS
from tapfall.study.agreement.protocols import (
    BHS,
    BHS_GRADES,
    CRITERION_1,
    CRITERION_2,
    MEAN_MOST_MMHG,
    SD_MOST_MMHG,
)
from tapfall.study.agreement.result import NOT_TOLD, Agreement, Group, Number, Result
from tapfall.study.agreement.rows import SLACK_MMHG
from tapfall.wording import counted

#: Most decimals that are shown (our choice).
_MOST_PLACES = 6


def number_text(number: Number, bounds: Sequence[float] = ()) -> str:
    """Return a number with its interval and unit; rounded for display only.

    Parameters
    ----------
    number
        What was found.
    bounds
        What it is judged by: it has as many decimals as keep it on its side of each.

    Examples
    --------
    >>> number_text(Number(name="SD", value=2.125, low=1.0, high=3.0, unit="mmHg"))
    '2.12 mmHg (1.00 to 3.00)'
    >>> number_text(Number(name="p of no slope", value=0.0000001))
    'below 0.001'
    >>> number_text(Number(name="n", value=None))
    'none'
    >>> number_text(Number(name="mean error", value=5.004, unit="mmHg"), (-5.0, 5.0))
    '5.004 mmHg'
    """
    value = number.value
    if value is None:
        return "none"
    if number.name.startswith("p of") and value < 0.001:
        return "below 0.001"
    text = f"{_plain(value, number.unit, bounds)} {number.unit}".strip()
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
    >>> counts_text(Result(name=DIGITS, source="b", used=87, paired=83, abstained=1, bounded=0))
    '87 values written down'
    """
    if result.name.startswith(DIGITS):
        return f"{counted(result.used, 'value')} written down"
    used = f"{result.used} of " if result.used != result.paired else ""
    pairs = counted(result.paired, "pair")
    return f"{used}{pairs}; {result.abstained} abstained, {result.bounded} bounded"


def numbers_text(result: Result) -> tuple[tuple[str, str], ...]:
    """Return the numbers of a statistic, by name; what is judged is shown on its side of a bound.

    Examples
    --------
    >>> sd = Number(name="SD of subjects' means", value=6.9531, unit="mmHg")
    >>> most = Number(name="SD allowed by formula", value=6.9527, unit="mmHg")
    >>> [text for _, text in numbers_text(Result(name="ISO 81060-2 criterion 2", source="",
    ...     used=2, paired=2, abstained=0, bounded=0, numbers=(sd, most)))]
    ['6.953 mmHg', '6.95 mmHg']
    """
    bounds: dict[str, Sequence[float]] = {}
    if result.name == CRITERION_1:
        bounds = {"mean error": (-MEAN_MOST_MMHG, MEAN_MOST_MMHG), "SD": (SD_MOST_MMHG,)}
    elif result.name == CRITERION_2:
        # Each of the two is held against the other.
        sd, allowed = "SD of subjects' means", "SD allowed by formula"
        value = {one.name: one.value for one in result.numbers}
        both = {sd: value.get(allowed), allowed: value.get(sd)}
        bounds = {name: (bound,) for name, bound in both.items() if bound is not None}
    elif result.name == BHS:
        bounds = {
            f"within {size} mmHg": [grade[at] for _, grade in BHS_GRADES]
            for at, size in enumerate((5, 10, 15))
        }
    return tuple((one.name, number_text(one, bounds.get(one.name, ()))) for one in result.numbers)


def group_title(group: Group) -> str:
    """Return what a group is of."""
    measure = f"Measure {NOT_TOLD}" if group.measure == NOT_TOLD else group.measure.capitalize()
    return f"{measure}, {'all rows' if group.condition is None else group.condition}"


def group_counts(group: Group) -> str:
    """Return the rows of a group in words."""
    counts = group.counts
    subjects = NOT_TOLD if counts.subjects is None else f"{counts.subjects}"
    return (
        f"{counted(counts.rows, 'row')}: {counts.paired} paired (subjects: {subjects}), "
        f"{counts.abstained} abstained, {counts.bounded} bounded, "
        f"{counts.observers_apart} with observers too far apart, "
        f"{counts.without_reference} without a reference"
    )


def simulated_text(agreement: Agreement) -> str:
    """Return in how many rows no person was measured."""
    return simulated_words(agreement.simulated, counted(agreement.rows, "row"))


def _plain(value: float | int, unit: str, bounds: Sequence[float] = ()) -> str:
    if isinstance(value, int):
        return f"{value}"
    fewest = 1 if unit == "%" else 2 if unit in ("mmHg", "mmHg2") else 3
    text = f"{value:.{fewest}f}"
    for many in range(fewest, _MOST_PLACES):
        text = percent_text(value, many) if unit == "%" else f"{value:.{many}f}"
        if keeps_side(float(text), value, bounds):
            break
    return text.removeprefix("-") if float(text) == 0.0 else text


def keeps_side(shown: float, value: float, bounds: Sequence[float]) -> bool:
    """Whether what is shown of a value lies on its side of every bound, or on it as it does.

    Examples
    --------
    >>> keeps_side(5.0, 5.004, (5.0,)), keeps_side(5.0, 5.0 + 1e-12, (5.0,))
    (False, True)
    """
    return all(_side(shown, bound) == _side(value, bound) for bound in bounds)


def _side(value: float, bound: float) -> int:
    return 0 if abs(value - bound) <= SLACK_MMHG else 1 if value > bound else -1
