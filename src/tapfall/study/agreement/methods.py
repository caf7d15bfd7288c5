"""The methods paragraph: what was computed, from what, and nothing that was not."""

from __future__ import annotations

from tapfall import __version__
from tapfall.study.agreement.result import NOT_COMPUTED, NOT_TOLD, Group
from tapfall.wording import counted

#: How each result came about, by how its name begins.
_HOW = (
    (
        "Limits of agreement, pairs of replicates",
        "Limits of agreement are mean -+ 1.96 SD, the SD from an analysis of variance of the "
        "paired differences by subject (Bland & Altman 1999, true value varying; a negative "
        "component taken as zero), their 95 % intervals from the variance components with the "
        "subjects' degrees of freedom (MOVER).",
    ),
    (
        "Limits of agreement, true value constant",
        "Limits for a constant true value were computed too, from the subjects' means with "
        "their variance corrected for the number of replicates, with intervals by MOVER.",
    ),
    (
        "Limits of agreement, first pair of each",
        "A third set of limits rests on the first pair of each subject.",
    ),
    (
        "Limits of agreement within one subject",
        "Limits of agreement are mean -+ 1.96 SD of the pairs of one single subject.",
    ),
    (
        "Limits of agreement of 1986",
        "Limits of mean -+ 2 SD with the standard error s sqrt(3/n) (Bland & Altman 1986) stand "
        "beside them, of one pair of each subject.",
    ),
    (
        "Limits of agreement",
        "Limits of agreement are mean -+ 1.96 SD (n - 1), with 95 % intervals by Student's t and "
        "the standard error s sqrt(1/n + 1.96^2 / (2 (n - 1))) (Bland & Altman 1999).",
    ),
    ("Ratio", "The ratio and its limits were computed on natural logs and transformed back."),
    ("Share", "Shares within 5, 10 and 15 mmHg count differences of exactly that size."),
    (
        "Does the difference",
        "The difference, and the size of its residuals, were regressed on the mean of both "
        "methods by least squares, one pair of each subject.",
    ),
    (
        "ICC",
        "The intraclass correlation is ICC(2,1), two-way random, absolute agreement, single "
        "measurement, one pair of each subject.",
    ),
    (
        "Weighted kappa",
        "Kappa with quadratic weights compares the categories of {scheme} of one pressure alone, "
        "one pair of each subject.",
    ),
    (
        "ISO 81060-2 criterion 1",
        "Criterion 1 of ISO 81060-2:2018 was applied to mean and SD of all pairs, unrounded.",
    ),
    (
        "ISO 81060-2 criterion 2",
        "Criterion 2 was applied to the SD of the subjects' mean differences by its formula, at "
        "the mean of all pairs, not by the published table.",
    ),
    ("BHS", "Grades are those of BHS 1993, of all pairs."),
    ("ESH", "The counts of ESH-IP 2010 were taken from 99 differences of 33 subjects."),
    (
        "Last digits",
        "The last even digits that each observer wrote down were held against equal shares by "
        "chi-square.",
    ),
    (
        "Independent pairs",
        "Sample sizes solve the standard error of a limit for the SD of this sample.",
    ),
)


def methods_text(groups: tuple[Group, ...], scheme: str, *, device: bool, two: bool) -> str:
    """Return the methods as one paragraph that can stand in a paper.

    Parameters
    ----------
    groups
        What was computed.
    scheme
        The title of the scheme of categories.
    device
        Whether the references are those of another device.
    two
        Whether the table has a column for a second reference.
    """
    whose = " The reference is another device, not observers." if device else ""
    told = [
        f"Differences are estimate minus reference.{whose}",
        *(_counted(one) for one in groups if one.condition is None),
        "Empty and bounded estimates were left out of the statistics of the pairs, counted, and "
        "never replaced.",
    ]
    if two:
        who = "devices" if device else "observers"
        told.append(
            f"Where two {who} gave a value, the reference is the mean of both; rows with "
            f"{who} more than 4 mmHg apart have none (ISO 81060-2, from memory)."
        )
    if any(one.condition is not None for one in groups):
        told.append("Everything was computed for all conditions together and for each.")
    if any(one.counts.subjects is None for one in groups):
        told.append("Subjects were not told: each row was taken for another person.")
    done = [
        result.name
        for group in groups
        for result in group.results
        if result.verdict != NOT_COMPUTED
    ]
    used: set[str] = set()
    for name in done:
        how = next((text for start, text in _HOW if name.startswith(start)), "")
        if how and how not in used:
            used.add(how)
            told.append(how.format(scheme=scheme))
    if any(one.coverage for one in groups):
        told.append(
            "The risk-coverage curve keeps pairs in order of confidence, ties together; coverage "
            "is their share of all rows with a reference."
        )
    told.append(
        f"Computed with tapfall {__version__}. Meeting a criterion on this sample is no "
        "validation of a method or device."
    )
    return " ".join(told)


def _counted(group: Group) -> str:
    counts = group.counts
    name = "The table" if group.measure == NOT_TOLD else f"For {group.measure} pressure the table"
    subjects = "" if counts.subjects is None else f" of {counted(counts.subjects, 'subject')}"
    return (
        f"{name} holds {counted(counts.rows, 'row')}: {counted(counts.paired, 'pair')}{subjects}, "
        f"{counted(counts.abstained, 'abstention')}, "
        f"{counted(counts.bounded, 'bounded estimate')}, "
        f"{counted(counts.observers_apart, 'row')} with observers too far apart and "
        f"{counted(counts.without_reference, 'row')} without a reference."
    )
