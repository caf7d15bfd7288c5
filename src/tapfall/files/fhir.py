"""A reading as an HL7 FHIR R4 Observation of the blood-pressure profile.

The observation is ``preliminary`` whatever the reading's status: R4 keeps ``final`` for
what needs no further action, and here a person has to confirm the value (our choice:
the confidence is calibrated on simulated sounds).  A value that was not observed is
never written as one: the component says why it is absent.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from html import escape
from typing import Any

from tapfall import __version__
from tapfall.errors import InputError, SettingError, shown
from tapfall.files.names import PathLike
from tapfall.files.writing import write_json
from tapfall.model import (
    CAUTION,
    FLAG_SENTENCES,
    REASON_SENTENCES,
    FindingState,
    Reading,
    Recording,
    Rule,
    State,
    Status,
    Threshold,
)
from tapfall.standards import VERY_HIGH_CAUTION, is_very_high
from tapfall.wording import whole, with_unit

#: The profile (HL7 FHIR R4, Observation profile "bp").
PROFILE = "http://hl7.org/fhir/StructureDefinition/bp"

#: Codes of ours, where no standard one is known: a name, not an address.
OWN_SYSTEM = "urn:tapfall:fhir"

_LOINC = "http://loinc.org"
_SNOMED = "http://snomed.info/sct"
_UCUM = "http://unitsofmeasure.org"
_TERMS = "http://terminology.hl7.org/CodeSystem"

#: SNOMED CT body structures, by the arm.
_ARMS = {
    "left": ("368208006", "Left upper arm structure"),
    "right": ("368209003", "Right upper arm structure"),
}

#: The diastolic end point: our code, and what it means.
_END_POINTS = {
    Rule.LAST_SOUND: ("diastolic-k5", "Diastolic at the last sound (Korotkoff phase V, K5)"),
    Rule.FIRST_SILENCE: ("diastolic-first-silence", "Diastolic at the first silence"),
    Rule.K4: ("diastolic-k4", "Diastolic at the muffling (Korotkoff phase IV, K4)"),
}

#: R4: an id is up to 64 letters, digits, - and . ; a patient is named by it, by an
#: address that ends in it, or by a UUID.
_SUBJECT = re.compile(
    r"((https?://[!-~]{1,500}/)?Patient/[A-Za-z0-9.-]{1,64}(/_history/[A-Za-z0-9.-]{1,64})?"
    r"|urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12})"
)
#: R4, dateTime: a time goes with seconds and a zone.
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-](0\d|1[0-3]):[0-5]\d|[+-]14:00)",
    re.ASCII,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FhirContext:
    """What no sound tells: of whom, when, and on which arm.

    Parameters
    ----------
    subject
        A reference to the patient: ``Patient/ID``, an address that ends so, or
        ``urn:uuid:...``.
    effective
        When it was measured: a day, or a moment with its time zone, ISO 8601.
    arm
        ``left``, ``right`` or None.

    Raises
    ------
    SettingError
        One of them has another form.

    Examples
    --------
    >>> FhirContext(subject="Patient/17", effective="2026-03-01T10:15+01:00").moment
    '2026-03-01T10:15:00+01:00'
    """

    subject: str
    effective: str
    arm: str | None = None

    def __post_init__(self) -> None:
        if not _SUBJECT.fullmatch(self.subject):
            raise SettingError(
                f"found subject {shown(self.subject)}; allowed a reference such as Patient/17"
            )
        if self.arm is not None and self.arm not in _ARMS:
            raise SettingError(f"found arm {shown(self.arm)}; allowed left or right")
        try:
            _ = self.moment
        except ValueError:
            raise SettingError(
                f"found effective {shown(self.effective)}; allowed a day such as 2026-03-01, or "
                "a moment with its time zone such as 2026-03-01T10:15:00+01:00"
            ) from None

    @property
    def moment(self) -> str:
        """``effective`` as R4 writes it: with seconds where there is a time."""
        if _DAY.fullmatch(self.effective):
            return datetime.fromisoformat(self.effective).date().isoformat()
        if not _MOMENT.fullmatch(self.effective):
            raise ValueError(self.effective)
        return datetime.fromisoformat(self.effective).isoformat()


def observation_of(reading: Reading, recording: Recording, context: FhirContext) -> dict[str, Any]:
    """Return a reading as an R4 Observation.

    Parameters
    ----------
    reading
        The reading.
    recording
        What it was read from: a simulated one is refused.
    context
        Of whom, when, and on which arm.

    Returns
    -------
    dict
        JSON values.  Pressures are whole mmHg: values rounded to the nearest (halves go
        up), as a person writes them; intervals and bounds rounded outward.

    Raises
    ------
    InputError
        The recording is known to be simulated.

    Notes
    -----
    An unreadable reading becomes an observation without values, each with its reason: it
    replaces an older file of that name, which a refusal would leave behind.
    """
    if recording.simulated:
        name = "" if recording.source is None else f"{shown(recording.source.audio_name)}: "
        raise InputError(
            f"{name}found a simulated recording; allowed one of a person where an Observation "
            "is written"
        )
    unreadable = reading.status is Status.UNREADABLE
    notes = list(_notes(reading, recording))
    observation: dict[str, Any] = {
        "resourceType": "Observation",
        "meta": {
            "profile": [PROFILE],
            "tag": [{"system": f"{OWN_SYSTEM}:status", "code": str(reading.status)}],
        },
        "text": _narrative([_headline(reading), *notes]),
        "contained": [_device()],
        "status": "preliminary",
        "category": [
            _concept(f"{_TERMS}/observation-category", "vital-signs", "Vital Signs"),
        ],
        "code": _concept(_LOINC, "85354-9", "Blood pressure panel with all children optional"),
        "subject": {"reference": context.subject},
        "effectiveDateTime": context.moment,
        "note": [{"text": note} for note in notes],
    }
    if context.arm is not None:
        observation["bodySite"] = _concept(_SNOMED, *_ARMS[context.arm])
    observation["method"] = {
        **_concept(_SNOMED, "37931006", "Auscultation"),
        "text": "Auscultation: Korotkoff sounds and cuff pressure, read by software",
    }
    observation["device"] = {"reference": "#tapfall"}
    observation["component"] = [
        _component("8480-6", "Systolic blood pressure", reading.systolic, unreadable),
        _diastolic(reading, unreadable),
        *([] if unreadable else _more(reading)),
    ]
    return observation


def write_observation(
    path: PathLike, reading: Reading, recording: Recording, context: FhirContext
) -> None:
    """Write a reading as an R4 Observation in JSON, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    reading, recording, context
        As in :func:`observation_of`.

    Raises
    ------
    InputError
        The recording is known to be simulated, or the file cannot be written.
    """
    write_json(path, observation_of(reading, recording, context))


def _concept(system: str, code: str, display: str) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code, "display": display}]}


def _quantity(mmhg: int) -> dict[str, Any]:
    return {"value": mmhg, "unit": "mmHg", "system": _UCUM, "code": "mm[Hg]"}


def _value(threshold: Threshold) -> float | None:
    """The pressure, where one was observed."""
    return threshold.mmhg if threshold.state is State.OBSERVED else None


def _bound(threshold: Threshold) -> str | None:
    """The bound in words, where the threshold lies beyond what was heard."""
    if threshold.state is not State.NOT_REACHED:
        return None
    if threshold.low_mmhg is not None:
        return f"at least {math.floor(threshold.low_mmhg)} mmHg"
    if threshold.high_mmhg is not None:
        return f"at most {math.ceil(threshold.high_mmhg)} mmHg"
    return None


def _component(code: str, display: str, threshold: Threshold, unreadable: bool) -> dict[str, Any]:
    component: dict[str, Any] = {"code": _concept(_LOINC, code, display)}
    value = None if unreadable else _value(threshold)
    if value is not None:
        return {**component, "valueQuantity": _quantity(whole(value))}
    why = None if threshold.reason is None else REASON_SENTENCES[threshold.reason]
    bound = None if unreadable else _bound(threshold)
    text = ": ".join(part for part in (bound or "not determined", why) if part)
    absent = {**_concept(f"{_TERMS}/data-absent-reason", "unknown", "Unknown"), "text": text}
    return {**component, "dataAbsentReason": absent}


def _diastolic(reading: Reading, unreadable: bool) -> dict[str, Any]:
    diastolic = reading.diastolic
    component = _component("8462-4", "Diastolic blood pressure", diastolic, unreadable)
    if "valueQuantity" in component:
        # The profile lets a more specific code stand beside its own.
        code, display = _END_POINTS[diastolic.rule]
        component["code"]["coding"].append({"system": OWN_SYSTEM, "code": code, "display": display})
        component["code"]["text"] = display
    return component


def _more(reading: Reading) -> Iterator[dict[str, Any]]:
    """Yield intervals, bounds, gaps and the last sound: all in mmHg, as the profile binds."""
    for name, threshold in (("systolic", reading.systolic), ("diastolic", reading.diastolic)):
        low, high = threshold.low_mmhg, threshold.high_mmhg
        if _value(threshold) is not None and low is not None and high is not None:
            words = f"95 % interval of the {name} pressure"
            yield _range(f"{name}-interval", words, math.floor(low), math.ceil(high))
        elif threshold.state is State.NOT_REACHED and (low is None) != (high is None):
            words = f"Bound of the {name} pressure, which was not reached"
            lowest = None if low is None else math.floor(low)
            highest = None if high is None else math.ceil(high)
            yield _range(f"{name}-bound", words, lowest, highest)
    for gap in reading.gaps:
        words = "Silent (auscultatory) gap: first sound below it to last sound above it"
        yield _range("silent-gap", words, whole(gap.lower_mmhg), whole(gap.upper_mmhg))
    diastolic = reading.diastolic
    if diastolic.k5_mmhg is not None and diastolic.rule is not Rule.LAST_SOUND:
        words = "Last sound (Korotkoff phase V, K5); 0 where sounds go on to zero"
        code = _concept(OWN_SYSTEM, "last-sound", words)
        yield {"code": code, "valueQuantity": _quantity(whole(diastolic.k5_mmhg))}


def _range(code: str, words: str, low: int | None, high: int | None) -> dict[str, Any]:
    ends = {"low": low, "high": high}
    value = {name: _quantity(mmhg) for name, mmhg in ends.items() if mmhg is not None}
    return {"code": _concept(OWN_SYSTEM, code, words), "valueRange": value}


def _device() -> dict[str, Any]:
    return {
        "resourceType": "Device",
        "id": "tapfall",
        "deviceName": [{"name": "tapfall", "type": "user-friendly-name"}],
        "type": {"text": "Software for education and research; not a medical device"},
        "version": [{"value": __version__}],
    }


def _written(threshold: Threshold) -> str:
    value = _value(threshold)
    return str(whole(value)) if value is not None else _bound(threshold) or "not determined"


def _headline(reading: Reading) -> str:
    if reading.status is Status.UNREADABLE:
        return "Blood pressure: unreadable."
    text = f"Systolic {_written(reading.systolic)}, diastolic {_written(reading.diastolic)}"
    if _value(reading.diastolic) is not None:
        text += f" {_END_POINTS[reading.diastolic.rule][1].removeprefix('Diastolic ')}"
    return f"{text}; pressures in mmHg."


def _notes(reading: Reading, recording: Recording) -> Iterator[str]:
    yield CAUTION
    if is_very_high(reading.systolic.at_least_mmhg, reading.diastolic.mmhg):
        yield VERY_HIGH_CAUTION
    yield (
        f"Read by tapfall {__version__}, status {reading.status}: preliminary until a person "
        "has confirmed it."
    )
    if reading.status is Status.UNREADABLE:
        reasons = "; ".join(REASON_SENTENCES[reason] for reason in reading.reasons)
        yield f"Unreadable: {reasons or 'no reason was given'}."
    else:
        yield from _trust(reading)
    for flag in reading.flags:
        yield FLAG_SENTENCES[flag]
    for one in reading.technique:
        if one.state is FindingState.FAULT:
            words = f"{one.check}: found {with_unit(one.found, one.unit)}"
            yield f"Technique: {words}; expected {one.expected}."
    if recording.source is not None:
        # Names of files may hold the name of a person: they stay outside.
        source = recording.source
        yield f"Made from files of SHA-256 {source.audio_sha256} and {source.cuff_sha256}."


def _trust(reading: Reading) -> Iterator[str]:
    named = (("Systolic", reading.systolic), ("Diastolic", reading.diastolic))
    for name, threshold in named:
        bound = _bound(threshold)
        if bound is not None:
            yield f"{name}: {bound}; it was not reached, so no value is given."
    if _value(reading.diastolic) is not None:
        yield f"{_END_POINTS[reading.diastolic.rule][1]}."
    chances = [
        f"{name.lower()} {min(threshold.confidence, 0.99):.2f}"
        for name, threshold in named
        if threshold.confidence is not None and _value(threshold) is not None
    ]
    if chances:
        yield (
            "Chance of lying within 4 mmHg of what an expert hears with this noise or without it, "
            "or between the two, "
            f"calibrated on simulated sounds: {', '.join(chances)}."
        )
    for gap in reading.gaps:
        span = f"{whole(gap.upper_mmhg)} down to {whole(gap.lower_mmhg)} mmHg"
        yield f"Silent gap from {span} (confidence {min(gap.confidence, 0.99):.2f})."
    if reading.manometer_mmhg is not None:
        error = f"{reading.manometer_mmhg:g} mmHg"
        yield f"Stated error of the manometer: +-{error}, not part of the intervals."


def _narrative(lines: list[str]) -> dict[str, Any]:
    body = "".join(f"<p>{escape(line)}</p>" for line in lines)
    return {"status": "generated", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{body}</div>'}
