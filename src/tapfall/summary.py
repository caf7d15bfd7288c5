"""A reading as text for a terminal: pure text, at most 80 columns.

Pressures are shown rounded to the nearest whole mmHg (halves go up); the JSON
holds them unrounded.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator

from tapfall.errors import printable
from tapfall.model import (
    CAUTION,
    FLAG_SENTENCES,
    REASON_SENTENCES,
    REVIEW_FLAGS,
    SIMULATED,
    FindingState,
    Flag,
    Reading,
    Rhythm,
    Rule,
    Source,
    State,
    Status,
    Threshold,
)
from tapfall.standards import VERY_HIGH_CAUTION, is_very_high
from tapfall.wording import WIDTH, brief_chance, whole, with_unit

#: From which confidence on it is called high, and fair; below it is low (our choice).
HIGH_CONFIDENCE = 0.95
FAIR_CONFIDENCE = 0.80

_RULES = {
    Rule.LAST_SOUND: "last sound (K5)",
    Rule.FIRST_SILENCE: "first silence",
    Rule.K4: "muffling (K4)",
}
_STATUS = {
    Status.OK: "ok",
    Status.REVIEW: "review: a person should check it",
    Status.UNREADABLE: "unreadable",
}
_BOLD, _PLAIN = "\x1b[1m", "\x1b[0m"


def summary_text(
    reading: Reading,
    source: Source | None = None,
    *,
    colour: bool = False,
    simulated: bool = False,
) -> str:
    r"""Return a reading as a few lines of text.

    Parameters
    ----------
    reading
        The reading.
    source
        The files it came from, for the first line.
    colour
        Whether the headline may carry terminal codes.
    simulated
        Whether the recording is known to be.

    Returns
    -------
    str
        Lines of at most 80 columns, with a line break at the end.

    Examples
    --------
    >>> from tapfall.model import Diastolic, Reason
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> reading = Reading(
    ...     status=Status.UNREADABLE, reasons=(Reason.SILENT_AUDIO,), systolic=nothing,
    ...     diastolic=Diastolic(state=State.UNDETERMINED), first_silence=nothing, muffling=nothing)
    >>> print(summary_text(reading).partition("\n")[0])
    Unreadable: the sound is silent or constant while the cuff falls.
    """
    lines: list[str] = []
    if source is not None:
        lines.append(_names(source))
    if simulated:
        lines.append(SIMULATED)
    if lines:
        lines.append("")
    headline = _headline(reading)
    lines += [f"{_BOLD}{line}{_PLAIN}" if colour else line for line in _wrap(headline, "", "  ")]
    if reading.status is not Status.UNREADABLE:
        lines += ["", *_values(reading)]
    for title, sentences in (
        ("Check", tuple(_checks(reading))),
        ("Note", tuple(FLAG_SENTENCES[flag] for flag in _notes(reading))),
        ("Technique", tuple(_technique(reading))),
    ):
        if sentences:
            lines += ["", f"{title}:"]
            for sentence in sentences:
                lines += _wrap(sentence, "  - ", "    ")
    lines.append("")
    if reading.status is not Status.UNREADABLE:
        lines += _wrap(
            "Rounded to the nearest mmHg; ranges hold 95 %; confidence, calibrated on simulated "
            "sounds, is the chance of being within 4 mmHg of what an expert hears with this "
            "noise or without it, or between the two."
        )
    lines += _wrap(CAUTION)
    return "\n".join(lines) + "\n"


def confidence_word(confidence: float) -> str:
    """Name a confidence: high from 0.95, fair from 0.80, else low (our choice).

    Examples
    --------
    >>> confidence_word(0.97), confidence_word(0.80), confidence_word(0.5)
    ('high', 'fair', 'low')
    """
    if confidence >= HIGH_CONFIDENCE:
        return "high"
    return "fair" if confidence >= FAIR_CONFIDENCE else "low"


def written(reading: Reading) -> str:
    """Return the pressures as they are written: 128/82, or 130/70/0 for sounds to zero.

    Examples
    --------
    >>> from tapfall.model import Diastolic
    >>> nothing = Threshold(state=State.UNDETERMINED)
    >>> written(Reading(
    ...     status=Status.REVIEW, first_silence=nothing, muffling=nothing,
    ...     systolic=Threshold(state=State.OBSERVED, mmhg=129.6),
    ...     diastolic=Diastolic(state=State.OBSERVED, mmhg=70.2, rule=Rule.K4, k5_mmhg=0.0)))
    '130/70/0'
    """
    parts = [_shown(reading.systolic), _shown(reading.diastolic)]
    if reading.diastolic.k5_mmhg == 0.0:
        parts.append("0")
    return ("/" if all(part.isdigit() for part in parts) else " / ").join(parts)


def _shown(threshold: Threshold) -> str:
    if threshold.mmhg is not None:
        return str(whole(threshold.mmhg))
    if threshold.state is State.NOT_REACHED and threshold.low_mmhg is not None:
        return f"at least {whole(threshold.low_mmhg)}"
    if threshold.state is State.NOT_REACHED and threshold.high_mmhg is not None:
        return f"at most {whole(threshold.high_mmhg)}"
    return "?"


def _names(source: Source) -> str:
    names = [printable(source.audio_name)]
    if source.cuff_name != source.audio_name:
        names.append(printable(source.cuff_name))
    longest = (WIDTH - len(" with ")) // 2
    return " with ".join(_within(name, longest) for name in names)


def _within(name: str, columns: int) -> str:
    """A name that takes no more columns than given; wide letters take two."""

    def taken(text: str) -> int:
        return sum(2 if unicodedata.east_asian_width(ch) in "WF" else 1 for ch in text)

    if taken(name) <= columns:
        return name
    while taken(name) > columns - 3:
        name = name[:-1]
    return f"{name}..."


def _headline(reading: Reading) -> str:
    if reading.status is Status.UNREADABLE:
        reasons = "; ".join(REASON_SENTENCES[reason] for reason in reading.reasons)
        return f"Unreadable: {reasons or 'no reason was given'}."
    return f"{written(reading)} mmHg   {_STATUS[reading.status]}"


def _values(reading: Reading) -> Iterator[str]:
    yield _value_line("Systolic", reading.systolic, "")
    # A bound is no sound that was read: it follows no rule.
    bound = reading.diastolic.state is State.NOT_REACHED
    rule = "" if bound else _RULES[reading.diastolic.rule]
    yield _value_line("Diastolic", reading.diastolic, rule)
    for gap in reading.gaps:
        span = f"{whole(gap.upper_mmhg)} down to {whole(gap.lower_mmhg)} mmHg"
        yield f"{'Silent gap':<11} {span}   {_confidence(gap.confidence)}"
    also = [
        f"{name} {whole(threshold.mmhg)}"
        for name, threshold, rule in (
            ("first silence", reading.first_silence, Rule.FIRST_SILENCE),
            ("muffling (K4)", reading.muffling, Rule.K4),
        )
        if threshold.mmhg is not None and reading.diastolic.rule is not rule
    ]
    if also:
        yield f"{'Also':<11} {', '.join(also)} mmHg"
    if reading.pulse_per_min is not None:
        rhythm = "" if reading.rhythm is Rhythm.UNKNOWN else f", {reading.rhythm}"
        yield f"{'Pulse':<11} {whole(reading.pulse_per_min)} per minute{rhythm}"
    if reading.lag is not None and reading.lag.seconds != 0.0:
        side = "late" if reading.lag.seconds > 0.0 else "early"
        how = "found" if reading.lag.estimated else "given"
        yield f"{'Lag':<11} the log's times are {abs(reading.lag.seconds):.2f} s {side} ({how})"
    if reading.manometer_mmhg is not None:
        error = f"+-{reading.manometer_mmhg:g} mmHg"
        yield f"{'Manometer':<11} stated error {error}, not part of the ranges"


def _value_line(name: str, threshold: Threshold, rule: str) -> str:
    value = f"{_shown(threshold)} mmHg" if _shown(threshold) != "?" else "not determined"
    parts = [f"{name:<11} {value:<9}"]
    if threshold.mmhg is not None and None not in (threshold.low_mmhg, threshold.high_mmhg):
        low, high = whole(threshold.low_mmhg or 0.0), whole(threshold.high_mmhg or 0.0)
        parts.append(f"({low} to {high})".ljust(12))
    if threshold.mmhg is not None and threshold.confidence is not None:
        parts.append(_confidence(threshold.confidence))
    if rule:
        parts.append(rule)
    return "  ".join(parts).rstrip()


def _confidence(confidence: float) -> str:
    # The word follows the number that is shown.
    return f"confidence {confidence_word(round(confidence, 2))} ({brief_chance(confidence)})"


def _checks(reading: Reading) -> Iterator[str]:
    """Yield what a person has to do or decide, the most pressing first."""
    systolic, diastolic = reading.systolic, reading.diastolic
    if is_very_high(systolic.at_least_mmhg, diastolic.mmhg):
        yield VERY_HIGH_CAUTION
    for name, threshold in (("Systolic", systolic), ("Diastolic", diastolic)):
        told = reading.status is Status.UNREADABLE or threshold.state is not State.UNDETERMINED
        if threshold.reason is not None and not told:
            yield f"{name}: {REASON_SENTENCES[threshold.reason]}."
    for flag in reading.flags:
        if flag in REVIEW_FLAGS:
            yield FLAG_SENTENCES[flag]


def _notes(reading: Reading) -> Iterator[Flag]:
    return (flag for flag in reading.flags if flag not in REVIEW_FLAGS)


def _technique(reading: Reading) -> Iterator[str]:
    """Yield what was done otherwise than taught, faults first; parts of it only once."""
    told: list[str] = []
    for state in (FindingState.FAULT, FindingState.LOOK):
        for one in reading.technique:
            if one.state is not state or any(one.check.startswith(f"{name} ") for name in told):
                continue
            told.append(one.check)
            bias = "" if one.bias is None else f"; {one.bias}"
            yield printable(
                f"{one.check}: {with_unit(one.found, one.unit)}, expected {one.expected}{bias}."
            )


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)
