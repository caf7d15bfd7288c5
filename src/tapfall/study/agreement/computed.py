"""Each statistic of a group of two pairs or more, as a result with its source."""

from __future__ import annotations

import numpy as np

from tapfall.study.agreement import digits, limits, proportional, reliability, replicates
from tapfall.study.agreement.limits import Limits, Span
from tapfall.study.agreement.pairs import Pairs
from tapfall.study.agreement.result import NOT_COMPUTED, Digits, Drawn, Number, Result
from tapfall.visit.category import diastolic_bounds, systolic_bounds
from tapfall.visit.schemes import Scheme

#: Half widths of the intervals that sample sizes are told for, mmHg (our choice).
WANTED_MMHG = (1.0, 2.0, 3.0)
#: Bounds of the shares, mmHg.
SHARES_MMHG = (5, 10, 15)


def limits_results(pairs: Pairs) -> tuple[list[Result], Drawn]:
    """The limits that hold for these pairs come first, and are the ones drawn."""
    first_of_each = pairs.difference[pairs.independent]
    if len(first_of_each) < limits.LEAST_PAIRS:
        name = "Limits of agreement within one subject"
        plain = limits.limits_of_agreement(pairs.difference)
        only = _limit_result(pairs, name, limits.SOURCE_1999, plain)
        return [only], _drawn(only)
    single = limits.limits_of_agreement(first_of_each)
    old = limits.limits_of_agreement(first_of_each, limits.WIDTH_1986)
    if pairs.subject is None or not pairs.repeated:
        only = _limit_result(pairs, "Limits of agreement", limits.SOURCE_1999, single)
        former = _limit_result(pairs, "Limits of agreement of 1986", limits.SOURCE_1986, old)
        return [only, former], _drawn(only)
    varying = replicates.varying_of(pairs.difference, pairs.subject)
    constant = replicates.constant_of(pairs.estimate, pairs.subject, pairs.reference, pairs.subject)
    first = _limit_result(
        pairs,
        "Limits of agreement, pairs of replicates",
        replicates.VARYING_SOURCE,
        varying.limits,
        (
            Number(name="mean square between subjects", value=varying.ms_between, unit="mmHg2"),
            Number(name="mean square within subjects", value=varying.ms_within, unit="mmHg2"),
        ),
        ("Taken as: the true value may move between a subject's pairs.",),
    )
    second = _limit_result(
        pairs,
        "Limits of agreement, true value constant",
        replicates.CONSTANT_SOURCE,
        constant.limits,
        (
            Number(
                name="repeatability of the estimate",
                value=constant.estimate_repeatability,
                unit="mmHg",
            ),
            Number(
                name="repeatability of the reference",
                value=constant.reference_repeatability,
                unit="mmHg",
            ),
        ),
        (
            "It holds only where nothing changed between a subject's readings. Its mean is that "
            "of the subjects' means.",
        ),
    )
    third = _limit_result(
        pairs, "Limits of agreement, first pair of each", limits.SOURCE_1999, single
    )
    fourth = _limit_result(
        pairs, "Limits of agreement of 1986, first pair of each", limits.SOURCE_1986, old
    )
    return [first, second, third, fourth], _drawn(first)


def _limit_result(
    pairs: Pairs,
    name: str,
    source: str,
    found: Limits,
    more: tuple[Number, ...] = (),
    notes: tuple[str, ...] = (),
) -> Result:
    numbers = (
        _number("mean difference", found.mean, "mmHg"),
        Number(name="SD", value=found.sd, unit="mmHg"),
        _number("lower limit", found.lower, "mmHg"),
        _number("upper limit", found.upper, "mmHg"),
        *more,
    )
    return _result(pairs, name, source, numbers, used=found.count, notes=notes)


def _drawn(result: Result) -> Drawn:
    mean, _, lower, upper, *_ = result.numbers
    return Drawn(name=result.name, mean=mean, lower=lower, upper=upper)


def ratio_result(pairs: Pairs) -> Result:
    """Limits of agreement of the ratio, by logs."""
    name = "Ratio of estimate to reference"
    source = f"{limits.SOURCE_1999}: limits of the logs"
    values = limits.log_ratios(pairs.estimate, pairs.reference)
    if values is None:
        return _absent(pairs, name, source, "A value is zero: it has no logarithm.")
    if pairs.repeated and pairs.subject is not None and len(pairs.independent) > 1:
        found = replicates.varying_of(values, pairs.subject).limits
        source = f"{source}, of pairs of replicates"
    else:
        found = limits.limits_of_agreement(values)
    mean, lower, upper = limits.exponential(found)
    numbers = (
        _number("geometric mean ratio", mean),
        _number("lower limit", lower),
        _number("upper limit", upper),
    )
    return _result(pairs, name, source, numbers)


def shares_result(pairs: Pairs) -> Result:
    """Shares of the pairs, and of all attempts, within 5, 10 and 15 mmHg."""
    differences, counts = pairs.difference, pairs.counts
    attempts = counts.paired + counts.abstained + counts.bounded
    numbers: list[Number] = []
    for bound in SHARES_MMHG:
        share = limits.share_within(differences, bound, exact=not pairs.repeated)
        numbers.append(_number(f"within {bound} mmHg, of the pairs", _percent(share), "%"))
    for bound in SHARES_MMHG if attempts > counts.paired else ():
        share = limits.share_within(differences, bound, exact=False)
        numbers.append(
            Number(
                name=f"within {bound} mmHg, of all attempts",
                value=100.0 * share.value * counts.paired / attempts,
                unit="%",
            )
        )
    notes = ("No interval: pairs of one subject are not independent.",) if pairs.repeated else ()
    return _result(
        pairs, "Share within 5, 10, 15", limits.SHARES_SOURCE, tuple(numbers), notes=notes
    )


def proportional_result(pairs: Pairs) -> Result:
    """Whether the difference, or its size, grows with the level."""
    name, used = "Does the difference grow with the level", pairs.independent
    estimates, references = pairs.estimate[used], pairs.reference[used]
    if len(used) < proportional.LEAST_FOR_LINE or proportional.at_one_level(estimates + references):
        why = f"It wants {proportional.LEAST_FOR_LINE} independent pairs, not all at one level."
        return _absent(pairs, name, proportional.SOURCE, why)
    found = proportional.proportional_bias(estimates, references)
    numbers = (
        Number(name="intercept", value=found.intercept, unit="mmHg"),
        _number("slope", found.slope, "mmHg per mmHg"),
        Number(name="p of no slope", value=found.p_value),
        Number(name="intercept of the size", value=found.spread_intercept, unit="mmHg"),
        _number("slope of the size", found.spread_slope, "mmHg per mmHg"),
        Number(name="p of no slope of the size", value=found.spread_p_value),
    )
    notes = (
        "Limits at a level A: intercept + slope A, less and plus 2.46 times the size fitted at A.",
        "Methods of unequal spread give a slope also without proportional bias.",
    )
    return _result(pairs, name, proportional.SOURCE, numbers, used=len(used), notes=notes)


def icc_result(pairs: Pairs) -> Result:
    """Intraclass correlation of one pair of each subject."""
    name, used = "ICC(2,1), absolute agreement", pairs.independent
    found = None
    if len(used) >= limits.LEAST_PAIRS:
        found = reliability.icc_agreement(
            np.column_stack([pairs.estimate[used], pairs.reference[used]])
        )
    if found is None:
        return _absent(pairs, name, reliability.ICC_SOURCE, "It wants subjects that differ.")
    notes = ("It grows with the spread of the subjects: it says little of the error itself.",)
    number = (_number("ICC", found),)
    return _result(pairs, name, reliability.ICC_SOURCE, number, used=len(used), notes=notes)


def kappa_result(pairs: Pairs, measure: str, scheme: Scheme) -> Result:
    """Weighted kappa of the categories of one pair of each subject."""
    name, used = f"Weighted kappa of categories, {scheme.title}", pairs.independent
    source = f"{reliability.KAPPA_SOURCE}; categories: {scheme.source}"
    bounds = {"systolic": systolic_bounds(scheme), "diastolic": diastolic_bounds(scheme)}
    if measure not in bounds:
        return _absent(pairs, name, source, "It wants a measure: systolic or diastolic.")
    edges = bounds[measure]
    # As rank_of does: the highest category whose lower bound a pressure reaches.
    first, second = (
        np.searchsorted(edges, values[used], side="right")
        for values in (pairs.estimate, pairs.reference)
    )
    found = reliability.weighted_kappa(first, second, len(edges) + 1)
    if found is None:
        return _absent(pairs, name, source, "All lie in one category: kappa is not defined.")
    same = float((first == second).mean())
    numbers = (
        _number("kappa", found),
        Number(name="same category", value=100.0 * same, unit="%"),
    )
    notes = (f"Categories of the {measure} alone; kappa depends on how common each is.",)
    return _result(pairs, name, source, numbers, used=len(used), notes=notes)


def sizes_result(pairs: Pairs) -> Result:
    """How many pairs a wanted interval of the limits needs."""
    name = "Independent pairs for a wanted interval of each limit"
    source = f"{limits.SOURCE_1999}: standard error of a limit, at this sample's SD"
    if len(pairs.independent) < limits.LEAST_PAIRS:
        return _absent(pairs, name, source, "It wants two subjects or more.")
    sd = limits.limits_of_agreement(pairs.difference[pairs.independent]).sd
    if sd == 0.0:
        return _absent(pairs, name, source, "All differences are equal: the SD is unknown.")
    numbers = tuple(
        Number(name=f"pairs for +-{one:g} mmHg", value=limits.pairs_needed(sd, one))
        for one in WANTED_MMHG
    )
    return _result(pairs, name, source, numbers, used=len(pairs.independent))


def digits_result(pairs: Pairs, found: Digits) -> Result:
    """Last digits that somebody wrote down."""
    name = f"{digits.NAME}, {found.who}"
    numbers = (
        Number(name="ending in 0", value=found.counts[0]),
        Number(name="ending in another even digit", value=sum(found.counts[2::2])),
        Number(name="odd", value=sum(found.counts[1::2])),
        Number(name="not whole", value=found.not_whole),
        Number(name="chi-square of the even digits", value=found.chi_square),
        Number(name="p of equal shares", value=found.p_value),
        Number(name="digit score", value=found.score),
    )
    notes = ["All values written down, also in rows that are no pairs."]
    if found.look:
        notes.append("Chance alone is unlikely: some digits were preferred.")
    return _result(pairs, name, digits.SOURCE, numbers, used=found.values, notes=tuple(notes))


def _percent(share: Span) -> Span:
    return Span(
        value=100.0 * share.value,
        low=None if share.low is None else 100.0 * share.low,
        high=None if share.high is None else 100.0 * share.high,
    )


def _number(name: str, span: Span, unit: str = "") -> Number:
    return Number(name=name, value=span.value, low=span.low, high=span.high, unit=unit)


def _absent(pairs: Pairs, name: str, source: str, why: str) -> Result:
    return _result(pairs, name, source, (), used=0, verdict=NOT_COMPUTED, notes=(why,))


def _result(
    pairs: Pairs,
    name: str,
    source: str,
    numbers: tuple[Number, ...],
    *,
    used: int | None = None,
    verdict: str = "",
    notes: tuple[str, ...] = (),
) -> Result:
    return Result(
        name=name,
        source=source,
        used=pairs.counts.paired if used is None else used,
        paired=pairs.counts.paired,
        abstained=pairs.counts.abstained,
        bounded=pairs.counts.bounded,
        numbers=numbers,
        verdict=verdict,
        notes=notes,
    )
