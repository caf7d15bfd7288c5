"""From a table to its agreement: each measure, in all conditions and in each."""

from __future__ import annotations

from collections.abc import Sequence

from tapfall.study.agreement import coverage, limits, proportional, reliability, replicates
from tapfall.study.agreement.judged import judged
from tapfall.study.agreement.limits import Limits, Span
from tapfall.study.agreement.methods import methods_text
from tapfall.study.agreement.pairs import Pair, Pairs, pairs_of
from tapfall.study.agreement.result import (
    NOT_COMPUTED,
    Agreement,
    Drawn,
    Group,
    Number,
    Point,
    Result,
    SharePoint,
)
from tapfall.study.agreement.table import Row, Table
from tapfall.visit.category import diastolic_bounds, rank_of, systolic_bounds
from tapfall.visit.schemes import Scheme, scheme_of

#: What the share-within curve and the wanted intervals are told for, mmHg (our choice).
CURVE_MMHG = tuple(float(one) for one in range(31))
WANTED_MMHG = (1.0, 2.0, 3.0)
#: Bounds of the shares, mmHg.
SHARES_MMHG = (5, 10, 15)

NOTES = (
    "Differences are estimate minus reference, in mmHg; nothing was rounded or filled in.",
    "An empty or bounded estimate is in no statistic of the pairs; where such rows are many, "
    "the pairs may be the easy ones.",
)


def agreement(table: Table, scheme: str = "acc-aha-2025") -> Agreement:
    """Compute how far the estimates of a table agree with its references.

    Parameters
    ----------
    table
        The pairs, see :func:`tapfall.study.agreement.read_table`.
    scheme
        The scheme of categories for kappa, a name of :data:`tapfall.visit.SCHEMES`.

    Returns
    -------
    Agreement
        A group for each pressure and condition; pressures in mmHg.

    Raises
    ------
    SettingError
        There is no such scheme.

    Examples
    --------
    >>> from tapfall.study.agreement import table_of
    >>> found = agreement(table_of("t", b"reference,estimate\\n120,122\\n130,130\\n140,\\n"))
    >>> found.groups[0].counts.abstained, found.groups[0].drawn.mean.value
    (1, 1.0)
    """
    chosen = scheme_of(scheme)
    groups: list[Group] = []
    for measure in dict.fromkeys(one.measure for one in table.rows):
        rows = [one for one in table.rows if one.measure == measure]
        conditions = list(dict.fromkeys(one.condition for one in rows))
        groups.append(_group(rows, measure, None, chosen))
        if len(conditions) > 1:
            for name in conditions:
                own = [one for one in rows if one.condition == name]
                groups.append(_group(own, measure, name or "(none)", chosen))
    return Agreement(
        scheme=scheme,
        groups=tuple(groups),
        methods=methods_text(tuple(groups), chosen.title),
        notes=NOTES,
    )


def _group(rows: Sequence[Row], measure: str, condition: str | None, scheme: Scheme) -> Group:
    pairs = pairs_of(rows)
    differences = [one.difference for one in pairs.all]
    results: list[Result] = []
    drawn: Drawn | None = None
    if len(pairs.all) >= limits.LEAST_PAIRS:
        main, drawn = _limits(pairs)
        results += [*main, _ratio(pairs), _shares(pairs), _proportional(pairs), _icc(pairs)]
        results += [_kappa(pairs, measure, scheme), *judged(pairs, measure), _sizes(pairs)]
    curve = tuple(
        SharePoint(error_mmhg=one, share=limits.share_within(differences, one, exact=False).value)
        for one in (CURVE_MMHG if differences else ())
    )
    sure = [one for one in pairs.all if one.confidence is not None]
    counts = pairs.counts
    return Group(
        measure=measure or "not told",
        condition=condition,
        counts=counts,
        results=tuple(results),
        drawn=drawn,
        points=tuple(
            Point(mean_mmhg=(p.estimate + p.reference) / 2.0, difference_mmhg=p.difference)
            for p in pairs.all
        ),
        shares=curve,
        coverage=coverage.risk_coverage(
            [one.difference for one in sure],
            [one.confidence for one in sure if one.confidence is not None],
            counts.paired + counts.abstained + counts.bounded,
        ),
        notes=_notes(pairs, len(sure)),
    )


def _notes(pairs: Pairs, sure: int) -> tuple[str, ...]:
    notes: list[str] = []
    counts = pairs.counts
    if counts.paired < limits.LEAST_PAIRS:
        notes.append(f"Too few pairs for any statistic: {counts.paired}.")
    if counts.subjects is None:
        notes.append(
            "Subjects are not told: every interval takes each row for another person. Where "
            "persons repeat, the intervals are too narrow."
        )
    if counts.bounded:
        notes.append(
            f"Of {counts.bounded} bounded estimates {pairs.bounded_clash} exclude their reference."
        )
    if 0 < sure < counts.paired:
        notes.append(f"Confidence is given for {sure} of {counts.paired} pairs only.")
    return tuple(notes)


def _limits(pairs: Pairs) -> tuple[list[Result], Drawn]:
    """The limits that hold for these pairs come first, and are the ones drawn."""
    single = limits.limits_of_agreement([one.difference for one in pairs.independent]) if (
        len(pairs.independent) >= limits.LEAST_PAIRS
    ) else None  # fmt: skip
    if not pairs.repeated and single is not None:
        only = _limit_result(pairs, "Limits of agreement", limits.SOURCE_1999, single)
        return [only], _drawn(only)
    groups = list((pairs.by_subject or {}).values())
    if single is None:
        plain = limits.limits_of_agreement([one.difference for one in pairs.all])
        one_subject = _limit_result(
            pairs, "Limits of agreement within one subject", limits.SOURCE_1999, plain
        )
        return [one_subject], _drawn(one_subject)
    varying = replicates.varying_limits([[p.difference for p in one] for one in groups])
    constant = replicates.constant_limits(
        [[p.estimate for p in one] for one in groups],
        [[p.reference for p in one] for one in groups],
    )
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
    second = _result(
        pairs,
        "Limits of agreement, true value constant",
        replicates.CONSTANT_SOURCE,
        (
            Number(name="mean of subjects' means", value=constant.mean, unit="mmHg"),
            Number(name="SD", value=constant.sd, unit="mmHg"),
            Number(name="lower limit", value=constant.lower, unit="mmHg"),
            Number(name="upper limit", value=constant.upper, unit="mmHg"),
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
        notes=("It holds only where nothing changed between a subject's readings.",),
    )
    third = _limit_result(
        pairs, "Limits of agreement, first pair of each", limits.SOURCE_1999, single
    )
    return [first, second, third], _drawn(first)


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


def _ratio(pairs: Pairs) -> Result:
    name = "Ratio of estimate to reference"
    source = f"{limits.SOURCE_1999}: limits of the logs"
    logs = limits.log_ratios(
        [one.estimate for one in pairs.all], [one.reference for one in pairs.all]
    )
    if logs is None:
        return _absent(pairs, name, source, "A value is zero: it has no logarithm.")
    values = [float(one) for one in logs]
    if pairs.repeated and pairs.by_subject is not None and len(pairs.by_subject) > 1:
        grouped: dict[str | None, list[float]] = {}
        for pair, value in zip(pairs.all, values, strict=True):
            grouped.setdefault(pair.subject, []).append(value)
        found = replicates.varying_limits(list(grouped.values())).limits
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


def _shares(pairs: Pairs) -> Result:
    differences = [one.difference for one in pairs.all]
    counts = pairs.counts
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


def _proportional(pairs: Pairs) -> Result:
    name, used = "Does the difference grow with the level", pairs.independent
    estimates, references = _columns(used)
    levels = {one + two for one, two in zip(estimates, references, strict=True)}
    if len(used) < proportional.LEAST_FOR_LINE or len(levels) < 3:
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


def _icc(pairs: Pairs) -> Result:
    name, used = "ICC(2,1), absolute agreement", pairs.independent
    found = None
    if len(used) >= limits.LEAST_PAIRS:
        found = reliability.icc_agreement([[one.estimate, one.reference] for one in used])
    if found is None:
        return _absent(pairs, name, reliability.ICC_SOURCE, "It wants subjects that differ.")
    notes = ("It grows with the spread of the subjects: it says little of the error itself.",)
    number = (_number("ICC", found),)
    return _result(pairs, name, reliability.ICC_SOURCE, number, used=len(used), notes=notes)


def _kappa(pairs: Pairs, measure: str, scheme: Scheme) -> Result:
    name, used = f"Weighted kappa of categories, {scheme.title}", pairs.independent
    source = f"{reliability.KAPPA_SOURCE}; categories: {scheme.source}"
    bounds = {"systolic": systolic_bounds(scheme), "diastolic": diastolic_bounds(scheme)}
    if measure not in bounds:
        return _absent(pairs, name, source, "It wants a measure: systolic or diastolic.")
    edges = (None, *bounds[measure])
    first, second = ([rank_of(one, edges) for one in column] for column in _columns(used))
    found = reliability.weighted_kappa(first, second, len(edges))
    if found is None:
        return _absent(pairs, name, source, "All lie in one category: kappa is not defined.")
    same = sum(one == two for one, two in zip(first, second, strict=True)) / len(used)
    numbers = (
        _number("kappa", found),
        Number(name="same category", value=100.0 * same, unit="%"),
    )
    notes = (f"Categories of the {measure} alone; kappa depends on how common each is.",)
    return _result(pairs, name, source, numbers, used=len(used), notes=notes)


def _sizes(pairs: Pairs) -> Result:
    name = "Independent pairs for a wanted interval of each limit"
    source = f"{limits.SOURCE_1999}: standard error of a limit, at this sample's SD"
    if len(pairs.independent) < limits.LEAST_PAIRS:
        return _absent(pairs, name, source, "It wants two subjects or more.")
    sd = limits.limits_of_agreement([one.difference for one in pairs.independent]).sd
    if sd == 0.0:
        return _absent(pairs, name, source, "All differences are equal: the SD is unknown.")
    numbers = tuple(
        Number(name=f"pairs for +-{one:g} mmHg", value=limits.pairs_needed(sd, one))
        for one in WANTED_MMHG
    )
    return _result(pairs, name, source, numbers, used=len(pairs.independent))


def _columns(pairs: Sequence[Pair]) -> tuple[list[float], list[float]]:
    return [one.estimate for one in pairs], [one.reference for one in pairs]


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
