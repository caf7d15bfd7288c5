"""``study.json`` and its JSON Schema, and numbers on their way into the agreement."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tapfall.model import Settings
from tapfall.study import Choices, read_manifest, run
from tapfall.study.agreeing import agreements_of
from tapfall.study.confidence import calibration, recalibrate
from tapfall.study.record import SHIPPED, StudyCounts, study_record, study_schema
from tests.study.made import HEADER, Counting, study_of, write_manifest
from tests.study.test_run_compare import drawn

VALIDATOR = jsonschema.Draft202012Validator(study_schema())


def test_the_shipped_schema_is_the_generated_one() -> None:
    VALIDATOR.check_schema(study_schema())
    assert json.loads(SHIPPED.read_text(encoding="utf-8")) == study_schema()


@pytest.mark.parametrize("channel", [None, 1, "left"])
def test_records_follow_the_schema(tmp_path: Path, made: Path, channel: int | str | None) -> None:
    manifest = read_manifest(study_of(tmp_path, made, 1))
    values = drawn(1.0, ("fit", "check"))
    record = study_record(
        manifest,
        Choices(settings=Settings(lag_s=0.5), channel=channel),
        StudyCounts(recordings=1, read=1, failed=0, subjects=1, simulated=0),
        observers_apart=2,
        calibrations={"systolic": calibration(values), "diastolic": None},
        recalibrations={"systolic": recalibrate(values), "diastolic": None},
    )
    VALIDATOR.validate(json.loads(json.dumps(record)))
    for broken in (
        {**record, "more": 1},
        {**record, "choices": {**record["choices"], "channel": 1.5}},
        {**record, "counts": {"recordings": 1}},
        {**record, "calibration": {"systolic": None}},
        {**record, "recalibration": {"systolic": {}, "diastolic": None}},
    ):
        assert not VALIDATOR.is_valid(broken)


def test_a_study_writes_what_the_schema_says(tmp_path: Path, made: Path) -> None:
    run(study_of(tmp_path, made, 1), tmp_path / "out", executor=Counting())
    record = json.loads((tmp_path / "out" / "study.json").read_text(encoding="utf-8"))
    VALIDATOR.validate(record)
    counts = {"recordings": 1, "read": 1, "failed": 0, "subjects": 1, "simulated": 1}
    assert record["counts"] == counts


def test_numbers_that_a_manifest_allows_can_be_compared(tmp_path: Path, made: Path) -> None:
    # A float writes 0.00001 as 1e-05, and long decimals as they are: agree takes neither.
    study_of(tmp_path, made, 1)
    header = (*HEADER, "observer_1_systolic_mmHg", "observer_1_diastolic_mmHg", "age_years")
    row = ("r0", "p1", "r0.wav", "r0.csv", "115.12345678901234567", "0.00001", "0.00002")
    study = run(
        write_manifest(tmp_path / "m.csv", header, row), tmp_path / "out", executor=Counting()
    )
    assert study.tables.pairs[0][0] == 115.1235
    found = agreements_of(study.tables).tapfall
    assert found is not None
    assert [one.counts.paired for one in found.groups] == [1, 1]
