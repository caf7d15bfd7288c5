"""Units that a channel of a laboratory file may be in, brought to mmHg or to volts."""

from __future__ import annotations

from tapfall.standards import CENTIMETRE_OF_WATER, KILOPASCAL

#: mmHg per unit, by the unit's plain spelling.
_PRESSURES = {
    "mmhg": 1.0,
    "kpa": KILOPASCAL.value,
    "hpa": KILOPASCAL.value / 10.0,
    "mbar": KILOPASCAL.value / 10.0,
    "pa": KILOPASCAL.value / 1000.0,
    "cmh2o": CENTIMETRE_OF_WATER.value,
}
_VOLTAGES = {"v": 1.0, "mv": 1e-3, "uv": 1e-6}

#: The pressure units, for messages.
PRESSURE_UNITS = "mmHg, kPa, hPa, mbar, Pa, cmH2O"


def _plain(unit: str) -> str:
    """A unit without brackets, spaces and case; both signs for micro become u."""
    kept = "".join(ch for ch in unit if not ch.isspace() and ch not in "[]()")
    kept = kept.replace("\u00b5", "u").replace("\u03bc", "u")
    # Case tells millivolts from megavolts, and millibars from megabars.
    return "" if kept.startswith(("MV", "MB", "Mb")) else kept.lower()


def mmhg_per(unit: str) -> float | None:
    """Return mmHg per unit of pressure, None for anything that is no pressure.

    Examples
    --------
    >>> mmhg_per("mm[Hg]"), round(mmhg_per("kPa"), 3), mmhg_per("mV")
    (1.0, 7.501, None)
    """
    return _PRESSURES.get(_plain(unit))


def volts_per(unit: str) -> float | None:
    """Return volts per unit of voltage, None for anything that is no voltage.

    Examples
    --------
    >>> volts_per("mV"), volts_per("mmHg")
    (0.001, None)
    """
    return _VOLTAGES.get(_plain(unit))
