"""One check of a device: what it is called, what it needs, and how a value is graded.

A bound of the verdicts marked *measured* comes from simulated recordings of development
seeds from 3000 on, ordinary ones with noise at 14-26 dB, that were given one fault and
read: 72 of them, 71 with both pressures right without a fault, or the first 24 (23
right).  ``limits`` begins where about five in a hundred are lost, ``prevents`` where
about one value in ten is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.device.facts import DeviceFinding, DeviceState

GOOD, LIMITS = DeviceState.GOOD, DeviceState.LIMITS
PREVENTS, UNKNOWN = DeviceState.PREVENTS, DeviceState.UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check before anything is found; the fields are those of a finding."""

    part: str
    name: str
    unit: str
    needed: str

    def found(self, found: float | str | None, state: DeviceState, sentence: str) -> DeviceFinding:
        """The finding of this check; words carry no unit."""
        return DeviceFinding(
            part=self.part,
            check=self.name,
            found=found,
            unit="" if found is None or isinstance(found, str) else self.unit,
            needed=self.needed,
            state=state,
            sentence=sentence,
        )


def plain(value: float) -> str:
    """A number as people write it: short, and never with an exponent.

    Examples
    --------
    >>> plain(0.25), plain(12.0), plain(1660000.0), plain(-3000000.0)
    ('0.25', '12', '1660000', '-3000000')
    """
    return f"{value:g}" if 1e-4 <= abs(value) < 1e6 else f"{value:.6f}".rstrip("0").rstrip(".")


def graded(value: float, limit: float, most: float) -> DeviceState:
    """Good up to a limit, prevented beyond the most.

    Examples
    --------
    >>> str(graded(0.02, 0.02, 0.15)), str(graded(0.2, 0.02, 0.15))
    ('good', 'prevents')
    """
    if value <= limit:
        return GOOD
    return LIMITS if value <= most else PREVENTS
