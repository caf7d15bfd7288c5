"""How a reading was taken: every check, from log, reading and what is stated."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TypeVar

from tapfall.ear.flags import with_flag
from tapfall.model import Finding, Flag, Reading, Recording, Threshold
from tapfall.technique.checks import FAULT
from tapfall.technique.clocks import CLOCKS, clocks_finding
from tapfall.technique.log import measure_cuff
from tapfall.technique.on_log import log_findings
from tapfall.technique.on_sound import sound_findings
from tapfall.technique.on_stated import stated_findings
from tapfall.technique.person import person_finding
from tapfall.technique.stated import Stated

#: The most that is left of a confidence where the clocks are heard seconds apart: the values are
#: those of other beats (our choice).
MOST_WHERE_APART = 0.5

ValueT = TypeVar("ValueT", bound=Threshold)


def check_technique(
    recording: Recording,
    reading: Reading,
    stated: Stated | None = None,
    *,
    today: date | None = None,
) -> tuple[Finding, ...]:
    """Check how a reading was taken.

    Parameters
    ----------
    recording
        Sound and cuff log.
    reading
        The reading that was taken from it.
    stated
        What the user states; nothing if ``None``.
    today
        Today, for the age of the calibration.

    Returns
    -------
    tuple of Finding
        One for each check, always the same ones in the same order.  No value of the
        reading changes for any of them; see :func:`with_technique`.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> found = check_technique(recording, take_reading(recording), Stated(arm_support="lap"))
    >>> [one.check for one in found if one.state == "fault"]
    ['arm support']
    >>> {one.check: one.found for one in found}["deflation"]
    '2.5'
    """
    work = measure_cuff(recording.cuff, reading)
    return (
        *log_findings(work, recording, reading),
        *stated_findings(stated or Stated(), work, today),
        *sound_findings(reading.quality, recording),
        clocks_finding(work, recording, reading),
        person_finding(recording),
    )


def with_technique(reading: Reading, findings: tuple[Finding, ...]) -> Reading:
    """Put the findings into a reading.

    Parameters
    ----------
    reading
        What was read.
    findings
        What :func:`check_technique` found.

    Returns
    -------
    Reading
        The same values.  Where inflation and release are heard seconds off, all of them may be
        wrong: the lag is flagged as uncertain, what was ``ok`` is a ``review``, and no
        confidence is above 0.5.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> reading = take_reading(recording)
    >>> checked = with_technique(reading, check_technique(recording, reading))
    >>> checked.status == reading.status, len(checked.technique) > 20
    (True, True)
    """
    reading = replace(reading, technique=findings)
    if not any(one.check == CLOCKS and one.state == FAULT for one in findings):
        return reading
    doubted = replace(
        reading,
        systolic=_doubted(reading.systolic),
        diastolic=_doubted(reading.diastolic),
        first_silence=_doubted(reading.first_silence),
        muffling=_doubted(reading.muffling),
    )
    return with_flag(with_flag(doubted, Flag.LAG_UNCERTAIN), Flag.LOW_CONFIDENCE)


def _doubted(value: ValueT) -> ValueT:
    """A threshold as sure as may be where every value may be wrong."""
    if value.confidence is None:
        return value
    return replace(value, confidence=min(value.confidence, MOST_WHERE_APART))
