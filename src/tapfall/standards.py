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
    source="NIST Special Publication 811 (2008), appendix B.8: 1 mmHg = 133.3224 Pa",
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
