"""Whether a person was measured, as far as the files tell.

A saved reading holds no more of its recording than names and hashes; this check is where it
keeps that the recording was marked as simulated.
"""

from __future__ import annotations

from tapfall.model import Finding, Reading, Recording
from tapfall.technique.checks import OK, Check

_PERSON = Check(
    name="person",
    expected="a person, or a simulation that says so",
    unit="",
    source="the mark that simulated sound files and cuff logs carry",
)
_SIMULATED, _UNMARKED = "none was measured: simulated", "not marked as simulated"


def person_finding(recording: Recording) -> Finding:
    """Tell whether a recording is marked as simulated.

    Parameters
    ----------
    recording
        Sound and cuff log.

    Returns
    -------
    Finding
        Always ``ok``: a simulation is no fault of the technique.
    """
    return _PERSON.says(OK, _SIMULATED if recording.simulated else _UNMARKED)


def is_simulated(reading: Reading) -> bool:
    """Tell whether a reading says of itself that no person was measured.

    Parameters
    ----------
    reading
        With the findings of :func:`tapfall.technique.check_technique`; without them it
        says nothing.

    Returns
    -------
    bool
        False also where nothing is known.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import Scenario, simulate
    >>> from tapfall.technique import check_technique, with_technique
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> reading = take_reading(recording)
    >>> checked = with_technique(reading, check_technique(recording, reading))
    >>> is_simulated(reading), is_simulated(checked)
    (False, True)
    """
    return any(one.check == _PERSON.name and one.found == _SIMULATED for one in reading.technique)
