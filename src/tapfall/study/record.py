"""A study as JSON values: what was read, what listened, and how far its confidence holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tapfall.convert import schema_of, shape_of, shape_of_object, to_json
from tapfall.model import CAUTION
from tapfall.study.compare import MEASURES
from tapfall.study.confidence import Calibration, Recalibration
from tapfall.study.manifest import Manifest
from tapfall.study.task import Choices, Ear, own_ear

#: The value of the field ``schema``.
STUDY_SCHEMA_NAME = "tapfall.study/1"
#: The copy of its JSON Schema that is shipped with the package.
SHIPPED = Path(__file__).parents[1] / "schema" / "study-1.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyCounts:
    """Recordings of a manifest, those of them with a reading and without, and subjects.

    Of ``simulated`` of those read it is known that no person was measured.
    """

    recordings: int
    read: int
    failed: int
    subjects: int
    simulated: int


def study_record(
    manifest: Manifest,
    choices: Choices,
    counts: StudyCounts,
    *,
    observers_apart: int,
    calibrations: Mapping[str, Calibration | None],
    recalibrations: Mapping[str, Recalibration | None],
) -> dict[str, Any]:
    """Return what ``study.json`` holds.

    Parameters
    ----------
    manifest, choices
        What was read, and how.
    counts
        What came of it.
    observers_apart
        How many values have no reference because the observers were too far apart.
    calibrations, recalibrations
        By measure, see :mod:`tapfall.study.confidence`.
    """
    return {
        "schema": STUDY_SCHEMA_NAME,
        "manifest": {"name": manifest.name, "sha256": manifest.sha256},
        "counts": to_json(counts),
        "observers_apart": observers_apart,
        "choices": to_json(choices),
        "ear": to_json(own_ear()),
        "calibration": {name: to_json(calibrations[name]) for name in MEASURES},
        "recalibration": {name: to_json(recalibrations[name]) for name in MEASURES},
        "caution": CAUTION,
    }


def study_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.study/1``.

    Unknown fields are refused everywhere.

    Examples
    --------
    >>> study_schema()["properties"]["schema"]
    {'const': 'tapfall.study/1'}
    """
    defs: dict[str, Any] = {}
    text = {"type": "string"}
    properties = {
        "schema": {"const": STUDY_SCHEMA_NAME},
        "manifest": shape_of_object({"name": text, "sha256": text}),
        "counts": shape_of(StudyCounts, "counts", defs),
        "observers_apart": {"type": "integer"},
        "choices": shape_of(Choices, "choices", defs),
        "ear": shape_of(Ear, "ear", defs),
        "calibration": _by_measure(Calibration | None, defs),
        "recalibration": _by_measure(Recalibration | None, defs),
        "caution": text,
    }
    return schema_of(STUDY_SCHEMA_NAME, shape_of_object(properties), defs)


def _by_measure(hint: Any, defs: dict[str, Any]) -> dict[str, Any]:
    return shape_of_object({name: shape_of(hint, name, defs) for name in MEASURES})
