"""Observations: the models of a FHIR library, the profile's rules, and what must not be said."""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall import __version__
from tapfall.errors import InputError, SettingError
from tapfall.files import load, save
from tapfall.files.fhir import FhirContext, observation_of, write_observation
from tapfall.model import (
    CAUTION,
    FLAG_SENTENCES,
    CuffLog,
    Diastolic,
    Flag,
    Gap,
    Reading,
    Reason,
    Recording,
    Rule,
    Source,
    State,
    Status,
    Threshold,
)
from tapfall.standards import VERY_HIGH_CAUTION
from tapfall.synth import Scenario, simulate
from tests.files.made import bare_reading, full_reading, noise, plain_reading

LOG = CuffLog(time_s=np.array([0.0, 1.0]), pressure_mmhg=np.array([180.0, 150.0]))
SOURCE = Source(audio_name="Mr X.wav", audio_sha256="ab", cuff_name="x.csv", cuff_sha256="cd")
MADE = Recording(samples=noise(), rate_hz=4000.0, cuff=LOG, source=SOURCE)
CONTEXT = FhirContext(subject="Patient/17", effective="2026-03-01T10:15:00+01:00", arm="left")

UCUM = "http://unitsofmeasure.org"
LOINC = "http://loinc.org"


def observation(reading: Reading, context: FhirContext = CONTEXT) -> dict[str, Any]:
    """The observation as it is read back from its file."""
    return json.loads(json.dumps(observation_of(reading, MADE, context), allow_nan=False))


def coded(items: list[dict[str, Any]], code: str) -> list[dict[str, Any]]:
    return [one for one in items if code in {c["code"] for c in one["code"]["coding"]}]


def component(found: dict[str, Any], code: str) -> dict[str, Any]:
    (one,) = coded(found["component"], code)
    return one


def notes(found: dict[str, Any]) -> str:
    return "\n".join(note["text"] for note in found["note"])


def check_profile(found: dict[str, Any]) -> None:
    """The rules of the R4 profiles "vitalsigns" and "bp", written out.

    Sources: hl7.org/fhir/R4B/bp.html (code, slices, units, no value in the panel),
    hl7.org/fhir/R4B/vitalsigns.html (status, category, subject, effective, vs-1 to vs-3),
    hl7.org/fhir/R4/observation.html (obs-6, obs-7) and datatypes.html (rng-2); the last
    two, and the units that the profile binds, from memory.
    """
    assert found["resourceType"] == "Observation"
    assert "http://hl7.org/fhir/StructureDefinition/bp" in found["meta"]["profile"]
    assert found["status"] in {
        *("registered", "preliminary", "final", "amended", "corrected"),
        *("cancelled", "entered-in-error", "unknown"),
    }
    (vital,) = [
        c
        for category in found["category"]
        for c in category["coding"]
        if c["code"] == "vital-signs"
    ]
    assert vital["system"] == "http://terminology.hl7.org/CodeSystem/observation-category"
    assert [(c["system"], c["code"]) for c in found["code"]["coding"]] == [(LOINC, "85354-9")]
    assert found["subject"]["reference"]
    # vs-1: precise to the day at least; R4 dateTime: a time has seconds and a zone.
    assert re.fullmatch(
        r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d))?", found["effectiveDateTime"]
    )
    # obs-6, obs-7, vs-2: the panel has components, and neither value nor reason of its own.
    assert not [key for key in found if key.startswith("value") or key == "dataAbsentReason"]
    assert "85354-9" not in {c["code"] for p in found["component"] for c in p["code"]["coding"]}
    for code in ("8480-6", "8462-4"):  # 1..1 each
        part = component(found, code)
        assert part["code"]["coding"][0]["system"] == LOINC
        assert {key for key in part if key.startswith("value")} <= {"valueQuantity"}
    for part in found["component"]:
        values = [key for key in part if key.startswith("value")]
        # vs-3: a value or a reason; never both.
        assert len(values) + ("dataAbsentReason" in part) == 1
        quantities = [part["valueQuantity"]] if "valueQuantity" in part else []
        span = part.get("valueRange", {})
        quantities += span.values()
        for quantity in quantities:
            assert (quantity["system"], quantity["code"]) == (UCUM, "mm[Hg]")
            assert isinstance(quantity["value"], int)
        if len(span) == 2:  # rng-2
            assert span["low"]["value"] <= span["high"]["value"]
        for coding in part["code"]["coding"]:
            assert coding["system"]
            assert coding["code"]
    # dom-3: what is contained is referred to.
    assert [f"#{one['id']}" for one in found["contained"]] == [found["device"]["reference"]]


def check_model(found: dict[str, Any]) -> None:
    """The resource as an independent library models it: R4B, here equal to R4 (from memory)."""
    module = pytest.importorskip(
        "fhir.resources.R4B.observation", reason="fhir.resources is not installed: extra 'test'"
    )
    model = module.Observation.model_validate(found)
    again = json.loads(model.model_dump_json(exclude_none=True))
    assert sorted(again) == sorted(found)
    assert len(again["component"]) == len(found["component"])


@pytest.mark.parametrize("reading", [full_reading(), bare_reading(), plain_reading()])
def test_profile_and_model(reading: Reading) -> None:
    found = observation(reading)
    check_profile(found)
    check_model(found)


def test_the_models_refuse() -> None:
    found = observation(plain_reading())
    for wrong in (
        {**found, "status": None},
        {**found, "valve": 1},
        {**found, "component": [{"valueQuantity": {"value": 1}}]},
        {**found, "effectiveDateTime": "yesterday"},
    ):
        with pytest.raises(ValueError, match="validation error"):
            check_model(wrong)


# --- any reading -----------------------------------------------------------------------------

MMHG = st.one_of(st.none(), st.floats(-20.0, 400.0))
SHARE = st.one_of(st.none(), st.floats(0.0, 1.0))
COMMON = {
    "state": st.sampled_from(State),
    "mmhg": MMHG,
    "confidence": SHARE,
    "reason": st.one_of(st.none(), st.sampled_from(Reason)),
}


def thresholds(cls: Any, **more: Any) -> st.SearchStrategy[Any]:
    """Thresholds whose intervals are in order, whatever else they hold."""
    ends = st.tuples(MMHG, MMHG).map(
        lambda two: two if None in two else (min(two), max(two))  # type: ignore[type-var]
    )
    return st.builds(
        lambda both, **rest: cls(low_mmhg=both[0], high_mmhg=both[1], **rest),
        ends,
        **COMMON,
        **more,
    )


GAPS = st.tuples(st.floats(0.0, 200.0), st.floats(0.0, 50.0), st.floats(0.0, 1.0)).map(
    lambda gap: Gap(
        upper_mmhg=gap[0] + gap[1],
        lower_mmhg=gap[0],
        upper_low_mmhg=gap[0],
        upper_high_mmhg=gap[0],
        lower_low_mmhg=gap[0],
        lower_high_mmhg=gap[0],
        confidence=gap[2],
    )
)
READINGS = st.builds(
    Reading,
    status=st.sampled_from(Status),
    systolic=thresholds(Threshold),
    diastolic=thresholds(Diastolic, rule=st.sampled_from(Rule), k5_mmhg=MMHG),
    first_silence=thresholds(Threshold),
    muffling=thresholds(Threshold),
    reasons=st.lists(st.sampled_from(Reason), max_size=3).map(tuple),
    gaps=st.lists(GAPS, max_size=2).map(tuple),
    flags=st.lists(st.sampled_from(Flag), max_size=4, unique=True).map(tuple),
    manometer_mmhg=st.one_of(st.none(), st.floats(0.0, 50.0)),
)


@settings(deadline=None, max_examples=150)
@given(READINGS, st.sampled_from(["left", "right", None]))
def test_any_reading(reading: Reading, arm: str | None) -> None:
    found = observation(reading, replace(CONTEXT, arm=arm))
    check_profile(found)
    check_model(found)
    assert found["status"] == "preliminary"
    for code, threshold in (("8480-6", reading.systolic), ("8462-4", reading.diastolic)):
        part = component(found, code)
        seen = threshold.state is State.OBSERVED and reading.status is not Status.UNREADABLE
        if seen and threshold.mmhg is not None:
            assert abs(part["valueQuantity"]["value"] - threshold.mmhg) <= 0.5
        else:
            assert "valueQuantity" not in part  # no number that was not observed
            assert part["dataAbsentReason"]["coding"][0]["code"] == "unknown"
            assert part["dataAbsentReason"]["text"]
    text = notes(found)
    assert CAUTION in text
    for flag in reading.flags:
        assert FLAG_SENTENCES[flag] in text
    assert ("bodySite" in found) is (arm is not None)
    if reading.status is Status.UNREADABLE:
        assert len(found["component"]) == 2
    ET.fromstring(found["text"]["div"])


@settings(deadline=None, max_examples=100)
@given(st.floats(90.0, 250.0), st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_intervals_are_rounded_outward(mmhg: float, below: float, above: float) -> None:
    plain = plain_reading()
    systolic = replace(plain.systolic, mmhg=mmhg, low_mmhg=mmhg - below, high_mmhg=mmhg + above)
    found = observation(replace(plain, systolic=systolic))
    span = component(found, "systolic-interval")["valueRange"]
    assert mmhg - below - 1.0 < span["low"]["value"] <= mmhg - below
    assert mmhg + above <= span["high"]["value"] < mmhg + above + 1.0
    assert component(found, "8480-6")["valueQuantity"]["value"] == math.floor(mmhg + 0.5)


# --- what stands where -----------------------------------------------------------------------


def test_an_ordinary_reading() -> None:
    found = observation(plain_reading(128.3, 81.7))
    assert component(found, "8480-6")["valueQuantity"]["value"] == 128
    assert component(found, "8462-4")["valueQuantity"]["value"] == 82
    assert component(found, "diastolic-interval")["valueRange"]["low"]["value"] == 79
    assert "phase V" in component(found, "8462-4")["code"]["text"]
    assert found["method"]["coding"][0]["code"] == "37931006"
    assert found["bodySite"]["coding"][0]["code"] == "368208006"
    assert found["effectiveDateTime"] == "2026-03-01T10:15:00+01:00"
    (device,) = found["contained"]
    assert device["deviceName"][0]["name"] == "tapfall"
    assert device["version"] == [{"value": __version__}]
    assert found["meta"]["tag"][0]["code"] == "ok"
    assert "systolic 0.98, diastolic 0.87" in notes(found)
    assert "128" in found["text"]["div"]
    words = (
        "Systolic 128, diastolic 82 at the last sound (Korotkoff phase V, K5); pressures in mmHg."
    )
    assert words in found["text"]["div"]


def test_bounds_and_gaps_and_sounds_to_zero() -> None:
    found = observation(full_reading())
    absent = component(found, "8480-6")["dataAbsentReason"]["text"]
    assert absent.startswith("at least 189 mmHg: sounds were present from the top")
    assert component(found, "systolic-bound")["valueRange"] == {
        "low": {"value": 189, "unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}
    }
    assert "Systolic: at least 189 mmHg; it was not reached" in notes(found)
    gap = component(found, "silent-gap")["valueRange"]
    assert (gap["low"]["value"], gap["high"]["value"]) == (122, 150)
    assert component(found, "last-sound")["valueQuantity"]["value"] == 0
    codes = [c["code"] for c in component(found, "8462-4")["code"]["coding"]]
    assert codes == ["8462-4", "diastolic-k4"]
    assert "Technique: deflation rate: found 5.1 mmHg/s; expected 2 to 3." in notes(found)


def test_a_bound_of_the_diastolic_is_no_value() -> None:
    plain = plain_reading()
    bound = Diastolic(state=State.NOT_REACHED, high_mmhg=62.2, reason=Reason.SOUNDS_TO_END)
    found = observation(replace(plain, status=Status.REVIEW, diastolic=bound))
    part = component(found, "8462-4")
    assert part["dataAbsentReason"]["text"].startswith("at most 63 mmHg: sounds were still")
    assert [c["code"] for c in part["code"]["coding"]] == ["8462-4"]
    assert component(found, "diastolic-bound")["valueRange"]["high"]["value"] == 63


def test_unreadable() -> None:
    found = observation(bare_reading())
    assert "Unreadable: no sounds in step with the heart" in notes(found)
    assert found["meta"]["tag"][0]["code"] == "unreadable"
    assert all("dataAbsentReason" in part for part in found["component"])


def test_names_of_files_stay_outside() -> None:
    text = json.dumps(observation(plain_reading()))
    assert "Mr X" not in text
    assert "SHA-256 ab and cd" in text


def test_a_finding_bears_its_unit_behind_the_number() -> None:
    one = full_reading().technique[0]
    for text, told in (
        ("-18 (-44 to 8), by pulse", "-18 mmHg (-44 to 8), by pulse"),
        ("stopped at 106 mmHg with sounds there", "stopped at 106 mmHg with sounds there"),
    ):
        made = replace(one, check="inflation", found=text, unit="mmHg")
        found = observation(replace(plain_reading(), technique=(made,)))
        assert f"Technique: inflation: found {told}; expected" in notes(found)


def test_markup_is_escaped() -> None:
    odd = replace(full_reading().technique[0], found="<script>&")
    found = observation(replace(plain_reading(), technique=(odd,)))
    assert "<script>" not in found["text"]["div"]
    ET.fromstring(found["text"]["div"])


# --- context ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_as", "written"),
    [
        ("2026-03-01", "2026-03-01"),
        ("2026-03-01T10:15Z", "2026-03-01T10:15:00+00:00"),
        ("2026-03-01T10:15:30.5-03:30", "2026-03-01T10:15:30.500000-03:30"),
        ("2024-02-29T23:59:59+14:00", "2024-02-29T23:59:59+14:00"),
    ],
)
def test_moments(given_as: str, written: str) -> None:
    assert FhirContext(subject="Patient/1", effective=given_as).moment == written


@pytest.mark.parametrize(
    "wrong",
    [
        *("", "2026", "2026-03", "2026-13-01", "2025-02-29", "2026-03-01T10:15", "20260301"),
        *("2026-03-01 10:15Z", "2026-03-01T25:00Z", "2026-03-01T10:15+15:00", "now", "0000-01-01"),
        *("2026-03-01\n", "\uff12026-03-01", "2026-03-01T10Z"),
    ],
)
def test_moments_that_are_none(wrong: str) -> None:
    with pytest.raises(SettingError, match="allowed a day such as 2026-03-01, or a moment"):
        FhirContext(subject="Patient/1", effective=wrong)


@pytest.mark.parametrize(
    "subject",
    [
        "Patient/a.B-9",
        "https://ehr.example/r4/Patient/1",
        f"urn:uuid:{'0' * 8}-{'0000-' * 3}{'a' * 12}",
    ],
)
def test_subjects(subject: str) -> None:
    assert FhirContext(subject=subject, effective="2026-03-01").subject == subject


@pytest.mark.parametrize(
    "subject",
    ["", "17", "Patient/", "Patient/a b", "Group/1", "patient/1", "Patient/1\n", "x" * 999],
)
def test_subjects_that_are_none(subject: str) -> None:
    with pytest.raises(SettingError, match="allowed a reference such as Patient/17"):
        FhirContext(subject=subject, effective="2026-03-01")


def test_arms() -> None:
    with pytest.raises(SettingError, match="found arm 'both'; allowed left or right"):
        FhirContext(subject="Patient/1", effective="2026-03-01", arm="both")


# --- simulated recordings --------------------------------------------------------------------


def test_a_simulated_recording_is_refused_and_stays_known(tmp_path: Path) -> None:
    made = simulate(Scenario(seed=5)).recording
    assert made.simulated
    for _ in range(2):  # loaded and saved again
        save(made, tmp_path / "arm.wav", tmp_path / "arm.csv")
        made = load(tmp_path / "arm.wav", tmp_path / "arm.csv")
        assert made.simulated
    with pytest.raises(InputError, match=r"'arm.wav': found a simulated recording; allowed one of"):
        write_observation(tmp_path / "out.json", plain_reading(), made, CONTEXT)
    assert not (tmp_path / "out.json").exists()


def test_either_file_tells(tmp_path: Path) -> None:
    save(replace(MADE, simulated=True), tmp_path / "sim.wav", tmp_path / "sim.csv")
    save(MADE, tmp_path / "real.wav", tmp_path / "real.csv")
    assert (tmp_path / "real.csv").read_text().startswith("time_s,pressure_mmHg\n0.0,180.0\n")
    told = {
        (a, b): load(tmp_path / f"{a}.wav", tmp_path / f"{b}.csv").simulated
        for a in ("sim", "real")
        for b in ("sim", "real")
    }
    assert told == {
        ("sim", "sim"): True,
        ("sim", "real"): True,
        ("real", "sim"): True,
        ("real", "real"): False,
    }


def test_the_mark_survives_another_form(tmp_path: Path) -> None:
    import soundfile

    save(replace(MADE, simulated=True), tmp_path / "sim.wav", tmp_path / "sim.csv")
    save(MADE, tmp_path / "real.wav", tmp_path / "real.csv")
    with soundfile.SoundFile(tmp_path / "sim.wav") as track:
        comment, samples = track.comment, track.read()
    with soundfile.SoundFile(tmp_path / "sim.flac", "w", 4000, 1, format="FLAC") as track:
        track.comment = comment
        track.write(samples)
    assert load(tmp_path / "sim.flac", tmp_path / "real.csv").simulated


def test_writing(tmp_path: Path) -> None:
    write_observation(tmp_path / "out.json", plain_reading(), MADE, CONTEXT)
    assert json.loads((tmp_path / "out.json").read_text()) == observation(plain_reading())


@pytest.mark.parametrize(("mmhg", "told"), [(180.0, False), (181.0, True)])
def test_a_very_high_value_says_to_repeat_and_to_follow_the_local_protocol(
    mmhg: float, told: bool
) -> None:
    reading = plain_reading()
    high = replace(reading.systolic, mmhg=mmhg, low_mmhg=mmhg - 1, high_mmhg=mmhg + 1)
    found = observation(replace(reading, systolic=high))
    assert (VERY_HIGH_CAUTION in notes(found)) == told
