"""A check of a device as JSON values, schema ``tapfall.device/1``, and its JSON Schema."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tapfall import __version__
from tapfall.convert import schema_of, shape_of, shape_of_fields, shape_of_object, to_json
from tapfall.device.facts import DeviceReport
from tapfall.model import CAUTION, Source

#: The name of the schema, the value of the field ``schema``.
DEVICE_SCHEMA_NAME = "tapfall.device/1"

#: The copy that is shipped with the package.
SHIPPED = Path(__file__).parent.parent / "schema" / "device-1.json"


def device_record(report: DeviceReport, source: Source | None = None) -> dict[str, Any]:
    """Return a report as JSON values.

    Parameters
    ----------
    report
        What was found.
    source
        Names and hashes of the files that it was found in.

    Returns
    -------
    dict
        Keys as in the schema, see :func:`device_schema`; pressures in mmHg, levels in dB re
        full scale, times in s.

    Examples
    --------
    >>> import numpy as np
    >>> from tapfall.device import check_device
    >>> from tapfall.model import CuffLog, Recording
    >>> noise = 0.01 * np.random.default_rng(1).standard_normal(80_000)
    >>> rest = CuffLog(time_s=np.arange(0, 20, 0.05), pressure_mmhg=np.zeros(400))
    >>> report = check_device(Recording(samples=noise, rate_hz=4000.0, cuff=rest))
    >>> record = device_record(report)
    >>> record["schema"], record["verdict"], record["source"]
    ('tapfall.device/1', 'not told', None)
    """
    return {
        "schema": DEVICE_SCHEMA_NAME,
        **to_json(report),
        "source": to_json(source),
        "version": __version__,
        "caution": CAUTION,
    }


def device_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.device/1``.

    Unknown fields are refused everywhere; verdicts and states are enumerated.

    Returns
    -------
    dict
        The schema as JSON values.

    Examples
    --------
    >>> device_schema()["properties"]["schema"]
    {'const': 'tapfall.device/1'}
    """
    defs: dict[str, Any] = {}
    properties = {
        "schema": {"const": DEVICE_SCHEMA_NAME},
        **shape_of_fields(DeviceReport, defs),
        "source": shape_of(Source | None, "source", defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    return schema_of(DEVICE_SCHEMA_NAME, shape_of_object(properties), defs)
