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

__all__ = [
    "DeviceFinding",
    "DeviceLog",
    "DeviceReport",
    "DeviceSound",
    "DeviceState",
    "DeviceTrial",
    "Gain",
    "Verdict",
    "check_device",
]
