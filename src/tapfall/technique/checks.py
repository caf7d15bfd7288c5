"""One check: what it is called, what is expected and by whom, and how a finding is made."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.model import Finding, FindingState
from tapfall.standards import Effect

OK, LOOK = FindingState.OK, FindingState.LOOK
FAULT, UNKNOWN = FindingState.FAULT, FindingState.UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check before anything is found; the fields are those of a finding."""

    name: str
    expected: str
    unit: str
    source: str

    def says(self, state: FindingState, found: str, bias: Effect | str | None = None) -> Finding:
        """The finding of this check.

        Examples
        --------
        >>> check = Check(name="rest", expected="5 or more", unit="min", source="our choice")
        >>> check.says(OK, "6").found
        '6'
        """
        words = told_bias(bias) if isinstance(bias, Effect) else bias
        return Finding(
            check=self.name,
            state=state,
            found=found,
            expected=self.expected,
            unit=self.unit,
            source=self.source,
            bias=words,
        )

    def unknown(self, why: str) -> Finding:
        """The finding where nothing can be told."""
        return self.says(UNKNOWN, why)


def told_bias(bias: Effect) -> str:
    """An effect in words, with its source."""
    return f"{bias.words} ({bias.source})"


def within(value: float, ok: tuple[float, float], look: tuple[float, float]) -> FindingState:
    """Grade a number by the range that is fine and the wider one that asks for a look.

    Examples
    --------
    >>> [str(within(x, (2, 3), (1, 4))) for x in (2.0, 3.5, 4.5)]
    ['ok', 'look', 'fault']
    """
    if ok[0] <= value <= ok[1]:
        return OK
    return LOOK if look[0] <= value <= look[1] else FAULT
