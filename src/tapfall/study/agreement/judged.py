"""The criteria of the protocols for one group, as results with their requirements."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tapfall.study.agreement import protocols, sample
from tapfall.study.agreement.limits import share_within
from tapfall.study.agreement.pairs import Pairs
from tapfall.study.agreement.result import (
    FULFILLED,
    MET,
    NOT_COMPUTED,
    NOT_MET,
    NOT_TOLD,
    UNFULFILLED,
    Number,
    Requirement,
    Result,
)

#: Said with every criterion.
NO_VALIDATION = "A criterion met on this sample validates nothing."
#: How notes begin that tell what a protocol wants of a sample.
TELLING, UNMET = "Of what ", "Not met: "


def judged(pairs: Pairs, measure: str) -> tuple[Result, ...]:
    """Return what ISO 81060-2, BHS 1993 and ESH-IP 2010 say of a group with two pairs or more."""
    return (*_iso(pairs, measure), _bhs(pairs, measure), _esh(pairs, measure))


def _iso(pairs: Pairs, measure: str) -> tuple[Result, Result]:
    differences = pairs.difference
    wanted = sample.iso_requirements(measure, pairs)
    mean, sd = float(differences.mean()), float(differences.std(ddof=1))
    first = _result(
        pairs,
        protocols.CRITERION_1,
        protocols.ISO_SOURCE,
        verdict=MET if protocols.criterion_1(mean, sd) else NOT_MET,
        numbers=(
            Number(name="mean error", value=mean, unit="mmHg"),
            Number(name="SD", value=sd, unit="mmHg"),
        ),
        wanted=wanted,
        protocol="ISO 81060-2",
    )
    return first, _iso_2(pairs, wanted)


def _iso_2(pairs: Pairs, wanted: tuple[Requirement, ...]) -> Result:
    name, source = protocols.CRITERION_2, protocols.ISO_2_SOURCE
    if pairs.subject is None or len(pairs.independent) < 2:
        why = "It wants the means of two subjects or more; the table does not tell them."
        return _result(
            pairs, name, source, verdict=NOT_COMPUTED, wanted=wanted, protocol="ISO 81060-2",
            notes=(why,),
        )  # fmt: skip
    # The limit is that of the mean of all pairs, the SD that of the subjects' means.
    mean = float(pairs.difference.mean())
    sd = float(pairs.subject_means(pairs.difference).std(ddof=1))
    limit, remembered = protocols.criterion_2_limit(mean), protocols.remembered_limit(mean)
    met = limit is not None and sd <= limit
    notes: tuple[str, ...] = ()
    if remembered is not None and met != (sd <= remembered):
        notes = (
            "The published table as remembered would decide otherwise: look it up in the standard.",
        )
    return _result(
        pairs,
        name,
        source,
        verdict=MET if met else NOT_MET,
        numbers=(
            Number(name="mean error of criterion 1", value=mean, unit="mmHg"),
            Number(name="SD of subjects' means", value=sd, unit="mmHg"),
            Number(name="SD allowed by formula", value=limit, unit="mmHg"),
            Number(name="SD allowed by table (from memory)", value=remembered, unit="mmHg"),
        ),
        wanted=wanted,
        protocol="ISO 81060-2",
        notes=notes,
    )


def _bhs(pairs: Pairs, measure: str) -> Result:
    percents = [
        100.0 * share_within(pairs.difference, bound, exact=False).value
        for bound in (5.0, 10.0, 15.0)
    ]
    grade = protocols.bhs_grade(percents)
    return _result(
        pairs,
        protocols.BHS,
        protocols.BHS_SOURCE,
        verdict=f"grade {grade} on this sample",
        numbers=_within(percents, "%"),
        wanted=sample.bhs_requirements(measure, pairs),
        protocol="BHS 1993",
        notes=("It asks for grade A or B of systolic and of diastolic.",),
    )


def _esh(pairs: Pairs, measure: str) -> Result:
    wanted = sample.esh_requirements(measure, pairs)
    name, source = "ESH-IP 2010", protocols.ESH_SOURCE
    if pairs.subject is None or wanted[0].state != FULFILLED:
        why = (
            f"Its counts are those of {protocols.ESH_DIFFERENCES} differences of "
            f"{protocols.ESH_SUBJECTS} subjects; they suit no other number."
        )
        return _result(
            pairs, name, source, verdict=NOT_COMPUTED, wanted=wanted, protocol=name, notes=(why,)
        )
    order = np.argsort(pairs.subject, kind="stable")
    found = protocols.esh_counts(
        pairs.difference[order].reshape(-1, protocols.ESH_READINGS).tolist()
    )
    met = found.part_1 and found.part_2
    of_subjects = f"of {protocols.ESH_SUBJECTS}"
    return _result(
        pairs,
        name,
        source,
        verdict=MET if met else NOT_MET,
        numbers=(
            *_within(found.within, f"of {protocols.ESH_DIFFERENCES}"),
            Number(
                name="subjects with 2 or more within 5",
                value=found.subjects_two_within_5,
                unit=of_subjects,
            ),
            Number(
                name="subjects with none within 5",
                value=found.subjects_none_within_5,
                unit=of_subjects,
            ),
        ),
        wanted=wanted,
        protocol=name,
    )


def _within(values: Sequence[float | int], unit: str) -> tuple[Number, ...]:
    return tuple(
        Number(name=f"within {bound} mmHg", value=value, unit=unit)
        for bound, value in zip((5, 10, 15), values, strict=True)
    )


def _result(
    pairs: Pairs,
    name: str,
    source: str,
    *,
    verdict: str,
    wanted: tuple[Requirement, ...],
    protocol: str,
    numbers: tuple[Number, ...] = (),
    notes: tuple[str, ...] = (),
) -> Result:
    unmet = sum(one.state == UNFULFILLED for one in wanted)
    untold = sum(one.state == NOT_TOLD for one in wanted)
    missing = (
        f"{TELLING}{protocol} wants of a sample this one does not meet {unmet} and does not "
        f"tell {untold} of {len(wanted)} requirements."
    )
    named = tuple(
        f"{UNMET}{one.wanted}; found {one.found}." for one in wanted if one.state == UNFULFILLED
    )
    return Result(
        name=name,
        source=source,
        used=len(pairs),
        paired=pairs.counts.paired,
        abstained=pairs.counts.abstained,
        bounded=pairs.counts.bounded,
        numbers=numbers,
        verdict=verdict,
        requirements=wanted,
        notes=(missing, *named, NO_VALIDATION, *notes),
    )
