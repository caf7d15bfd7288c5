"""What the user states, held against what is taught.

The table of cuffs (AHA 2005) counts arms in whole cm and leaves 26-27, 34-35 and 44-45
open.  Here each row is a half-open range up to the next row's first value, so that a tie
goes to the larger cuff: 22 <= arm < 27 small adult, 27 <= arm < 35 adult, 35 <= arm < 45
large adult, 45 <= arm < 53 thigh (our choice).
"""

from __future__ import annotations

from calendar import monthrange
from datetime import date

from tapfall import standards
from tapfall.model import Finding, Reading
from tapfall.standards import CUFF_SIZES, CuffSize
from tapfall.technique.checks import FAULT, LOOK, OK, Check
from tapfall.technique.log import CuffWork
from tapfall.technique.stated import Stated

_POSTURE_SOURCE = "ACC/AHA checklist; AHA 2019"
_WAIT = Check(
    name="wait since the reading before",
    expected=f"{standards.BETWEEN_READINGS.value:g} or more",
    unit="s",
    source=standards.BETWEEN_READINGS.source,
)
_CUFF = Check(
    name="cuff size",
    expected="the cuff for the arm",
    unit="",
    source=f"{standards.CUFF_SIZES_SOURCE}; half-open ranges, a tie to the larger (our choice)",
)
_BLADDER = Check(
    name="cuff size",
    expected=(
        f"width {standards.BLADDER_WIDTH_LEAST.value:.0%} to "
        f"{standards.BLADDER_WIDTH_MOST.value:.0%}, length "
        f"{standards.BLADDER_LENGTH_LEAST.value:.0%} to {standards.BLADDER_LENGTH_MOST.value:.0%} "
        "of the arm"
    ),
    unit="",
    source=f"{standards.BLADDER_WIDTH_LEAST.source}, length 75 to 100 %",
)
_ARM = Check(
    name="arm",
    expected="both at the first visit, then the higher one",
    unit="",
    source=_POSTURE_SOURCE,
)
_POSTURE = Check(name="posture", expected="sitting", unit="", source=_POSTURE_SOURCE)
_ARM_SUPPORT = Check(
    name="arm support", expected="desk, cuff at heart level", unit="", source=_POSTURE_SOURCE
)
_BACK = Check(name="back", expected="supported", unit="", source=_POSTURE_SOURCE)
_LEGS = Check(
    name="legs", expected="uncrossed", unit="", source="teaching page; AHA 2005 (from memory)"
)
_TALKING = Check(name="talking", expected="no", unit="", source="ACC/AHA checklist")
_REST = Check(
    name="rest before",
    expected=f"{standards.REST.value:g} or more",
    unit="min",
    source=f"{standards.REST.source}; {standards.REST_LEAST.source}",
)
_CALIBRATION = Check(
    name="calibration",
    expected=f"within {standards.CALIBRATION_ANEROID.value:g} (aneroid) or "
    f"{standards.CALIBRATION.value:g}",
    unit="months",
    source=standards.CALIBRATION.source,
)
_NOT_STATED = "not stated"


def stated_findings(
    stated: Stated, work: CuffWork | None, today: date | None
) -> tuple[Finding, ...]:
    """Judge what is stated.

    Parameters
    ----------
    stated
        What the user says.
    work
        What the log shows: an earlier reading in the same log tells the wait.
    today
        Today, for the age of the calibration.

    Returns
    -------
    tuple of Finding
        One for each check, always the same ones; ``unknown`` where nothing is stated.
    """
    return (
        _wait(stated, work),
        _cuff(stated),
        _ARM.unknown(_NOT_STATED) if stated.arm is None else _ARM.says(OK, stated.arm),
        _posture(stated),
        _arm_support(stated),
        _yes_no(_BACK, stated.back_supported, True, ("supported", "unsupported")),
        _yes_no(_LEGS, stated.legs_crossed, False, ("crossed", "uncrossed")),
        _yes_no(_TALKING, stated.talking, False, ("yes", "no")),
        _rest(stated),
        _calibration(stated.manometer_calibrated, today),
    )


def arm_stated(reading: Reading) -> str | None:
    """The arm that was stated when a recording was read.

    Parameters
    ----------
    reading
        With the findings of :func:`tapfall.technique.check_technique`.

    Returns
    -------
    str or None
        ``left`` or ``right``; ``None`` where none was stated.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import Scenario, simulate
    >>> from tapfall.technique import Stated, check_technique, with_technique
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> reading = take_reading(recording)
    >>> found = check_technique(recording, reading, Stated(arm="left"))
    >>> arm_stated(reading), arm_stated(with_technique(reading, found))
    (None, 'left')
    """
    named = (one for one in reading.technique if one.check == _ARM.name and one.state is OK)
    return next((one.found for one in named), None)


def cuff_for(arm_cm: float) -> CuffSize | None:
    """The cuff of the table for an arm, ``None`` where it has none.

    Examples
    --------
    >>> cuff_for(26.9).name, cuff_for(27.0).name, cuff_for(53.0)
    ('small adult', 'adult', None)
    """
    ends = [size.arm_from_cm for size in CUFF_SIZES[1:]] + [CUFF_SIZES[-1].arm_to_cm + 1.0]
    for size, end_cm in zip(CUFF_SIZES, ends, strict=True):
        if size.arm_from_cm <= arm_cm < end_cm:
            return size
    return None


def _wait(stated: Stated, work: CuffWork | None) -> Finding:
    seen = None if work is None else work.since_reading_s
    wait_s = stated.since_last_s if seen is None else seen
    if wait_s is None:
        return _WAIT.unknown("no reading before it on the log, and none stated")
    if wait_s >= standards.BETWEEN_READINGS.value:
        return _WAIT.says(OK, f"{wait_s:.0f}")
    state = LOOK if wait_s >= standards.BETWEEN_SURVEY_READINGS.value else FAULT
    return _WAIT.says(state, f"{wait_s:.0f}", standards.CONGESTED)


def _cuff(stated: Stated) -> Finding:
    if stated.cuff is None or stated.arm_cm is None:
        return _CUFF.unknown(_NOT_STATED)
    return (
        _named_cuff(stated.cuff, stated.arm_cm)
        if isinstance(stated.cuff, str)
        else _bladder(stated.cuff, stated.arm_cm)
    )


def _named_cuff(name: str, arm_cm: float) -> Finding:
    wanted = cuff_for(arm_cm)
    found = f"{name} on an arm of {arm_cm:g} cm"
    if wanted is None:
        return _CUFF.says(LOOK, f"{found}, which the table has no cuff for")
    names = [size.name for size in CUFF_SIZES]
    if name == wanted.name:
        return _CUFF.says(OK, found)
    small = names.index(name) < names.index(wanted.name)
    bias = standards.CUFF_TOO_SMALL if small else standards.CUFF_TOO_LARGE
    return _CUFF.says(FAULT, f"{found}, which needs {wanted.name}", bias)


def _bladder(cuff_cm: tuple[float, float], arm_cm: float) -> Finding:
    width, length = cuff_cm[0] / arm_cm, cuff_cm[1] / arm_cm
    found = (
        f"{cuff_cm[0]:g} x {cuff_cm[1]:g} cm on an arm of {arm_cm:g} cm: width {width:.0%}, "
        f"length {length:.0%}"
    )
    low = width < standards.BLADDER_WIDTH_LEAST.value or (
        length < standards.BLADDER_LENGTH_LEAST.value
    )
    high = width > standards.BLADDER_WIDTH_MOST.value or (
        length > standards.BLADDER_LENGTH_MOST.value
    )
    if not (low or high):
        return _BLADDER.says(OK, found)
    named = cuff_for(arm_cm)
    if named is not None and cuff_cm == (named.width_cm, named.length_cm):
        # The two statements disagree on these.
        return _BLADDER.says(OK, f"{found}; the one that AHA 2005 names for this arm")
    bias = standards.CUFF_TOO_SMALL if low else standards.CUFF_TOO_LARGE
    if low and high:
        return _BLADDER.says(FAULT, found, "width and length err in opposite ways")
    return _BLADDER.says(FAULT, found, bias)


def _posture(stated: Stated) -> Finding:
    if stated.posture is None:
        return _POSTURE.unknown(_NOT_STATED)
    return _POSTURE.says(OK if stated.posture == "sitting" else LOOK, stated.posture)


def _arm_support(stated: Stated) -> Finding:
    where = stated.arm_support
    if where is None:
        return _ARM_SUPPORT.unknown(_NOT_STATED)
    bias = {"lap": standards.ARM_ON_LAP, "side": standards.ARM_AT_SIDE}.get(where)
    return _ARM_SUPPORT.says(OK if bias is None else FAULT, where, bias)


def _yes_no(check: Check, said: bool | None, wanted: bool, words: tuple[str, str]) -> Finding:
    if said is None:
        return check.unknown(_NOT_STATED)
    bias = {
        _BACK: standards.BACK_UNSUPPORTED,
        _LEGS: standards.LEGS_CROSSED,
        _TALKING: standards.TALKING,
    }[check]
    right = said is wanted
    return check.says(OK if right else FAULT, words[0 if said else 1], None if right else bias)


def _rest(stated: Stated) -> Finding:
    rested = stated.rested_min
    if rested is None:
        return _REST.unknown(_NOT_STATED)
    if rested >= standards.REST.value:
        return _REST.says(OK, f"{rested:g}")
    state = LOOK if rested >= standards.REST_LEAST.value else FAULT
    return _REST.says(state, f"{rested:g}")


def _calibration(day: date | None, today: date | None) -> Finding:
    if day is None:
        return _CALIBRATION.unknown(_NOT_STATED)
    if today is None:
        return _CALIBRATION.unknown("today is not known")
    if day > today:
        return _CALIBRATION.says(LOOK, f"on {day.isoformat()}, which lies ahead")
    months = (today.year - day.year) * 12 + today.month - day.month - (today.day < day.day)
    if today <= _months_after(day, round(standards.CALIBRATION_ANEROID.value)):
        return _CALIBRATION.says(OK, f"{months}")
    if today <= _months_after(day, round(standards.CALIBRATION.value)):
        return _CALIBRATION.says(LOOK, f"{months}, too long for an aneroid")
    return _CALIBRATION.says(FAULT, f"{months}")


def _months_after(day: date, months: int) -> date:
    """The same day of a later month, or that month's last.

    Examples
    --------
    >>> _months_after(date(2023, 8, 31), 6)
    datetime.date(2024, 2, 29)
    """
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
