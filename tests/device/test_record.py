"""A check of a device as JSON, against its schema."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

import tapfall
from tapfall.device import (
    DEVICE_SCHEMA_NAME,
    SHIPPED,
    check_device,
    device_record,
    device_schema,
)
from tapfall.model import CAUTION, CuffLog, Recording
from tests.ear.heard import fixture

VALIDATOR = jsonschema.Draft202012Validator(device_schema())
RESTING = Recording(
    samples=np.random.default_rng(2).normal(0.0, 0.01, 40_000),
    rate_hz=4000.0,
    cuff=CuffLog(time_s=np.arange(0.0, 10.0, 0.1), pressure_mmhg=np.zeros(100)),
)


@pytest.mark.parametrize(
    "made",
    [
        fixture("ordinary"),
        fixture("slow_rounded_log"),
        fixture("no_sounds"),
        RESTING,
        replace(RESTING, samples=RESTING.samples[:2000]),
    ],
)
def test_records_follow_the_schema(made: Recording) -> None:
    record = json.loads(json.dumps(device_record(check_device(made), made.source)))
    VALIDATOR.validate(record)
    assert record["schema"] == DEVICE_SCHEMA_NAME == "tapfall.device/1"
    assert (record["caution"], record["version"]) == (CAUTION, tapfall.__version__)
    assert "mmhg" not in json.dumps(record)


@pytest.mark.parametrize("change", [{"verdict": "fine"}, {"more": 1}, {"sound": {}}])
def test_the_schema_refuses_what_is_no_report(change: dict[str, object]) -> None:
    record = json.loads(json.dumps(device_record(check_device(RESTING)))) | change
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate(record)


def test_the_shipped_schema_is_the_generated_one() -> None:
    assert json.loads(SHIPPED.read_text(encoding="utf-8")) == device_schema()
    jsonschema.Draft202012Validator.check_schema(device_schema())
