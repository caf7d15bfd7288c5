"""Published figures: value, unit, source.

Every number of this package that rests on a publication is here, as a frozen
object that carries its citation; our own choices stand where they are used.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One published number.

    Parameters
    ----------
    value
        The number, in ``unit``.
    unit
        The unit, as it is printed.
    source
        Where the number is published.

    Examples
    --------
    >>> KILOPASCAL.value * 16.0
    120.00992
    """

    value: float
    unit: str
    source: str


KILOPASCAL = Figure(
    value=7.50062,
    unit="mmHg per kPa",
    source=(
        "1 mmHg = 13.5951 g/cm3 x 9.80665 m/s2 x 1 mm = 133.322387 Pa; "
        "NIST Special Publication 811 (2008), appendix B.8 (from memory)"
    ),
)

VERY_HIGH_SYSTOLIC = Figure(
    value=180.0,
    unit="mmHg",
    source="2017 ACC/AHA guideline on high blood pressure in adults: above 180 mmHg",
)

VERY_HIGH_DIASTOLIC = Figure(
    value=120.0,
    unit="mmHg",
    source="2017 ACC/AHA guideline on high blood pressure in adults: above 120 mmHg",
)
