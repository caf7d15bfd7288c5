"""One check of a device: what it is called, what it needs, and how a value is graded."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.device.facts import DeviceFinding, DeviceState


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


def graded(value: float, limit: float, most: float) -> DeviceState:
    """Good up to a limit, prevented beyond the most.

    Examples
    --------
    >>> str(graded(0.02, 0.02, 0.15)), str(graded(0.2, 0.02, 0.15))
    ('good', 'prevents')
    """
    if value <= limit:
        return DeviceState.GOOD
    return DeviceState.LIMITS if value <= most else DeviceState.PREVENTS
