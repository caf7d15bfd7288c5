"""Whether readings are possible with a device; imports numpy and scipy only."""

from __future__ import annotations

from tapfall.device.check import check_device
from tapfall.device.facts import (
    DeviceFinding,
    DeviceLog,
    DeviceReport,
    DeviceSound,
    DeviceState,
    DeviceTrial,
    Gain,
    Verdict,
)
from tapfall.device.record import DEVICE_SCHEMA_NAME, SHIPPED, device_record, device_schema

__all__ = [
    "DEVICE_SCHEMA_NAME",
    "SHIPPED",
    "DeviceFinding",
    "DeviceLog",
    "DeviceReport",
    "DeviceSound",
    "DeviceState",
    "DeviceTrial",
    "Gain",
    "Verdict",
    "check_device",
    "device_record",
    "device_schema",
]
