"""A reading in words: short lines for labels, headlines and footers."""

from __future__ import annotations

from tapfall.model import (
    FLAG_SENTENCES,
    REASON_SENTENCES,
    Flag,
    Gap,
    Reading,
    Reason,
    Rule,
    State,
    Status,
    Threshold,
)
from tapfall.wording import chance, whole

#: Probability from which a beat is shown as sounding, and below which as silent (our choice).
SOUNDS, SILENT = 0.8, 0.2

#: Reasons that a flag says in other words.
_TOLD = {
    Reason.SOUNDS_FROM_TOP: Flag.SYSTOLIC_NOT_REACHED,
    Reason.SOUNDS_TO_END: Flag.DIASTOLIC_NOT_REACHED,
}

RULE_WORDS = {
    Rule.LAST_SOUND: "last sound, K5",
    Rule.FIRST_SILENCE: "first silence",
    Rule.K4: "muffling, K4",
}


def place_words(measurement: tuple[int, int]) -> str:
    """Which of the measurements in a recording it is.

    Examples
    --------
    >>> place_words((3, 3))
    'measurement 3 of 3'
    """
    return f"measurement {measurement[0]} of {measurement[1]}"


def confidence_line(confidence: float) -> str:
    """A confidence that never claims certainty.

    Examples
    --------
    >>> confidence_line(0.934), confidence_line(0.9991), confidence_line(0.001)
    ('confidence 0.93', 'confidence above 0.99', 'confidence below 0.01')
    """
    return f"confidence {chance(confidence)}"


def threshold_lines(name: str, one: Threshold) -> tuple[str, ...]:
    """Name, value or bound, interval and confidence of a threshold.

    Parameters
    ----------
    name
        What it is called: ``"systolic"``.
    one
        The threshold.

    Returns
    -------
    tuple of str
        Empty if nothing was observed or bounded.

    Examples
    --------
    >>> threshold_lines("systolic", Threshold(state=State.NOT_REACHED, low_mmhg=171.2))
    ('systolic at least 171 mmHg',)
    """
    if one.state is State.NOT_REACHED:
        if one.low_mmhg is not None:
            return (f"{name} at least {whole(one.low_mmhg)} mmHg",)
        if one.high_mmhg is not None:
            return (f"{name} at most {whole(one.high_mmhg)} mmHg",)
        return ()
    if one.state is not State.OBSERVED or one.mmhg is None:
        return ()
    lines = [f"{name} {whole(one.mmhg)} mmHg"]
    if one.low_mmhg is not None and one.high_mmhg is not None:
        lines.append(f"95 %: {whole(one.low_mmhg)} to {whole(one.high_mmhg)}")
    if one.confidence is not None:
        lines.append(confidence_line(one.confidence))
    return tuple(lines)


def gap_lines(gap: Gap) -> tuple[str, ...]:
    """Edges of a silent gap with their intervals."""
    return (
        f"silent gap {whole(gap.upper_mmhg)} to {whole(gap.lower_mmhg)} mmHg",
        f"95 %: {whole(gap.upper_low_mmhg)}-{whole(gap.upper_high_mmhg)} "
        f"and {whole(gap.lower_low_mmhg)}-{whole(gap.lower_high_mmhg)}",
        confidence_line(gap.confidence),
    )


def _part(one: Threshold) -> str:
    if one.state is State.OBSERVED and one.mmhg is not None:
        return f"{whole(one.mmhg)}"
    if one.state is State.NOT_REACHED and one.low_mmhg is not None:
        return f"at least {whole(one.low_mmhg)}"
    if one.state is State.NOT_REACHED and one.high_mmhg is not None:
        return f"at most {whole(one.high_mmhg)}"
    return "undetermined"


def headline(reading: Reading) -> str:
    """The reading in one line, ``130/70/0 mmHg`` where the sounds go on to zero.

    Examples
    --------
    >>> from tapfall.model import Diastolic
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> headline(Reading(
    ...     status=Status.REVIEW,
    ...     systolic=Threshold(state=State.NOT_REACHED, low_mmhg=170.0),
    ...     diastolic=Diastolic(state=State.OBSERVED, mmhg=88.0),
    ...     first_silence=nothing,
    ...     muffling=nothing,
    ... ))
    'at least 170 / 88 mmHg (review)'
    """
    if reading.status is Status.UNREADABLE:
        return "unreadable"
    upper, lower = _part(reading.systolic), _part(reading.diastolic)
    plain = upper.isdigit() and lower.isdigit()
    text = f"{upper}/{lower}" if plain else f"{upper} / {lower}"
    if plain and reading.diastolic.rule is Rule.K4 and reading.diastolic.k5_mmhg == 0.0:
        text += "/0"
    asks = " (review)" if reading.status is Status.REVIEW else ""
    return f"{text} mmHg{asks}"


def lag_unseen(reading: Reading) -> bool:
    """Whether no lag was given, and the log shows no pulse that could tell one."""
    lag = reading.lag
    return lag is not None and lag.estimated and Flag.COARSE_CUFF_LOG in reading.flags


def reasons_text(reading: Reading, told: frozenset[Reason] = frozenset()) -> str:
    """Why values are missing, but for what is told elsewhere; empty if nothing is."""
    why = [REASON_SENTENCES[reason] for reason in reading.reasons if reason not in told]
    for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic)):
        if one.reason is not None and one.reason not in {*reading.reasons, *told}:
            why.append(f"{name}: {REASON_SENTENCES[one.reason]}")
    return "; ".join(why)


def remarks(reading: Reading) -> tuple[str, ...]:
    """Status with the reasons that no flag tells, then one sentence for each flag."""
    told = frozenset(reason for reason, flag in _TOLD.items() if flag in reading.flags)
    status, why = f"Status: {reading.status.value}", reasons_text(reading, told)
    first = f"{status} ({why})." if why else f"{status}."
    return (first, *(FLAG_SENTENCES[flag] for flag in reading.flags))
