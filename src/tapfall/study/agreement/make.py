"""From a table to its agreement: each measure, in all conditions and in each."""

from __future__ import annotations

import numpy as np

from tapfall.errors import SettingError, shown
from tapfall.study.agreement import coverage, limits
from tapfall.study.agreement.cells import HIGHEST_MMHG, MEASURES
from tapfall.study.agreement.computed import (
    digits_result,
    icc_result,
    kappa_result,
    limits_results,
    proportional_result,
    ratio_result,
    shares_result,
    sizes_result,
)
from tapfall.study.agreement.digits import digits_of
from tapfall.study.agreement.judged import judged
from tapfall.study.agreement.methods import methods_text
from tapfall.study.agreement.pairs import Pairs, pairs_of
from tapfall.study.agreement.result import (
    NOT_TOLD,
    Agreement,
    Digits,
    Drawn,
    Group,
    Point,
    Result,
    SharePoint,
)
from tapfall.study.agreement.rows import Table
from tapfall.visit.schemes import Scheme, scheme_of
from tapfall.wording import counted

#: Who the references are by.
OBSERVERS, DEVICE = "observers", "device"
REFERENCES = (OBSERVERS, DEVICE)
#: The name of those rows whose condition is empty.
NO_CONDITION = "(none)"
#: Most points, and the grids that more pairs are gathered on, mmHg (our choice).
MOST_POINTS, GRIDS_MMHG = 5000, (0.5, 1.0, 2.0, 5.0, 10.0)
#: What the share-within curve is told for, mmHg (our choice).
CURVE_MMHG = tuple(float(one) for one in range(31))

#: Said where the table does not tell systolic from diastolic.
POOLED = (
    "The table has no column measure: if it holds systolic and diastolic rows, all of them were "
    "pooled, and protocols judge each by itself."
)
NOTES = (
    "Differences are estimate minus reference, in mmHg; nothing was rounded or filled in.",
    "An empty or bounded estimate is in no statistic of the pairs; where such rows are many, "
    "the pairs may be the easy ones.",
)


def agreement(
    table: Table, scheme: str = "acc-aha-2025", *, reference: str = OBSERVERS
) -> Agreement:
    """Compute how far the estimates of a table agree with its references.

    Parameters
    ----------
    table
        The pairs, see :func:`tapfall.study.agreement.read_table`.
    scheme
        The scheme of categories for kappa, a name of :data:`tapfall.visit.SCHEMES`.
    reference
        ``observers``, or ``device`` where another device stands for them: protocols and last
        digits are then left out.

    Returns
    -------
    Agreement
        A group for each pressure (systolic first) and condition (all of them first, then
        by name); pressures in mmHg.

    Raises
    ------
    SettingError
        There is no such scheme or reference.

    Examples
    --------
    >>> from tapfall.study.agreement import table_of
    >>> found = agreement(table_of("t", b"reference,estimate\\n120,122\\n130,130\\n140,\\n"))
    >>> found.groups[0].counts.abstained, found.groups[0].drawn.mean.value
    (1, 1.0)
    """
    chosen = scheme_of(scheme)
    if reference not in REFERENCES:
        raise SettingError(f"reference: found {shown(reference)}; allowed {', '.join(REFERENCES)}")
    groups: list[Group] = []
    for measure, part in sorted(table.parts("measure"), key=lambda one: _place(one[0])):
        groups.append(_group(part, measure, None, chosen, reference))
        conditions = sorted(part.parts("condition"), key=lambda one: (not one[0], one[0]))
        if len(conditions) > 1:
            for name, own in conditions:
                groups.append(_group(own, measure, name or NO_CONDITION, chosen, reference))
    return Agreement(
        scheme=scheme,
        reference=reference,
        rows=len(table),
        simulated=int(table.simulated.sum()),
        groups=tuple(groups),
        methods=methods_text(
            tuple(groups),
            chosen.title,
            device=reference == DEVICE,
            two=table.second_mmhg is not None,
        ),
        notes=NOTES,
    )


def _place(measure: str) -> int:
    # What is not told stands last.
    return MEASURES.index(measure) if measure in MEASURES else len(MEASURES)


def _group(
    table: Table, measure: str, condition: str | None, scheme: Scheme, reference: str
) -> Group:
    pairs = pairs_of(table)
    counts = pairs.counts
    results: list[Result] = []
    drawn: Drawn | None = None
    if len(pairs) >= limits.LEAST_PAIRS:
        main, drawn = limits_results(pairs)
        results += [*main, ratio_result(pairs), shares_result(pairs)]
        results += [proportional_result(pairs), icc_result(pairs)]
        results.append(kappa_result(pairs, measure, scheme))
        if reference == OBSERVERS:
            results += judged(pairs, measure)
        results.append(sizes_result(pairs))
    written: tuple[Digits, ...] = ()
    if reference == OBSERVERS:
        written = tuple(
            digits_of(f"observer {number}", values)
            for number, values in enumerate(pairs.written, 1)
            if len(values)
        )
    results += [digits_result(pairs, one) for one in written if results]
    curve = tuple(
        SharePoint(
            error_mmhg=one, share=limits.share_within(pairs.difference, one, exact=False).value
        )
        for one in (CURVE_MMHG if len(pairs) else ())
    )
    sure = ~np.isnan(pairs.confidence)
    points, step = points_of(pairs)
    return Group(
        measure=measure or NOT_TOLD,
        condition=condition,
        counts=counts,
        results=tuple(results),
        drawn=drawn,
        points=points,
        points_step_mmhg=step,
        digits=written,
        shares=curve,
        coverage=coverage.risk_coverage(
            pairs.difference[sure],
            pairs.confidence[sure],
            counts.paired + counts.abstained + counts.bounded,
        ),
        notes=(
            *_notes(pairs, int(sure.sum()), reference),
            *(() if measure or condition is not None else (POOLED,)),
        ),
    )


def points_of(pairs: Pairs) -> tuple[tuple[Point, ...], float | None]:
    """Return the pairs as points, each by itself, or gathered on the finest grid that does."""
    means = (pairs.estimate + pairs.reference) / 2.0
    if len(pairs) <= MOST_POINTS:
        return tuple(
            Point(mean_mmhg=mean, difference_mmhg=difference, pairs=1)
            for mean, difference in zip(means.tolist(), pairs.difference.tolist(), strict=True)
        ), None
    for step in GRIDS_MMHG:
        wide = round(3 * HIGHEST_MMHG / step)
        places = np.rint(means / step).astype(np.int64) * wide
        places += np.rint((pairs.difference + HIGHEST_MMHG) / step).astype(np.int64)
        counts = np.bincount(places)
        used = np.flatnonzero(counts)
        if len(used) <= MOST_POINTS:
            break
    return tuple(
        Point(
            mean_mmhg=place // wide * step,
            difference_mmhg=place % wide * step - HIGHEST_MMHG,
            pairs=int(counts[place]),
        )
        for place in used.tolist()
    ), step


def _notes(pairs: Pairs, sure: int, reference: str) -> tuple[str, ...]:
    notes: list[str] = []
    counts = pairs.counts
    if counts.paired < limits.LEAST_PAIRS:
        notes.append(f"Too few pairs for any statistic: {counts.paired}.")
    if counts.subjects is None:
        notes.append(
            "Subjects are not told: every interval takes each row for another person. Where "
            "persons repeat, the intervals are too narrow."
        )
    if counts.observers_apart:
        notes.append(
            f"In {counted(counts.observers_apart, 'row')} the two observers are more than 4 mmHg "
            "apart: they give no reference and are in no statistic of the pairs (ISO 81060-2, "
            "from memory)."
        )
    if counts.bounded:
        clash = pairs.bounded_clash
        notes.append(
            f"Of {counted(counts.bounded, 'bounded estimate')} {clash} "
            f"{'excludes its' if clash == 1 else 'exclude their'} reference."
        )
    if 0 < sure < counts.paired:
        notes.append(f"Confidence is given for {sure} of {counts.paired} pairs only.")
    if reference == DEVICE:
        notes.append(
            "The reference is another device: no protocol's criterion was applied, for they want "
            "trained observers."
        )
    return tuple(notes)
