"""How a reading was taken: every check, from log, reading and what is stated."""

from __future__ import annotations

from datetime import date

from tapfall.model import Finding, Reading, Recording
from tapfall.technique.clocks import clocks_finding
from tapfall.technique.log import measure_cuff
from tapfall.technique.on_log import log_findings
from tapfall.technique.on_sound import sound_findings
from tapfall.technique.on_stated import stated_findings
from tapfall.technique.stated import Stated


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
        reading changes for any of them.

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
    )
