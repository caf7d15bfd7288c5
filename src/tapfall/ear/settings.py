"""Check what the user chose about a reading."""

from __future__ import annotations

import math
from dataclasses import replace

from tapfall.errors import SettingError
from tapfall.model import Rule, Settings


def check_settings(settings: Settings) -> Settings:
    """Check what the user chose and return it with typed fields.

    Raises
    ------
    SettingError
        If a field is outside what is allowed.

    Examples
    --------
    >>> check_settings(Settings(diastolic="k4")).diastolic
    <Rule.K4: 'k4'>
    """
    if not isinstance(settings, Settings):
        raise SettingError(f"settings are a {type(settings).__name__}; allowed Settings")
    try:
        rule = Rule(settings.diastolic)
    except ValueError:
        allowed = ", ".join(r.value for r in Rule)
        raise SettingError(f"diastolic is {settings.diastolic!r}; allowed {allowed}") from None
    for name, value, low, high, optional in (
        ("lag_s", settings.lag_s, -60.0, 60.0, True),
        ("manometer_mmhg", settings.manometer_mmhg, 0.0, 50.0, True),
        ("longest_s", settings.longest_s, 30.0, 3600.0, False),
    ):
        if value is None and optional:
            continue
        if not (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and math.isfinite(value)
            and low <= value <= high
        ):
            raise SettingError(f"{name} is {value!r}; allowed {low:g} to {high:g}")
    return replace(settings, diastolic=rule)
