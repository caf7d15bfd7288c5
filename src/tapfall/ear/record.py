"""What the listener keeps of one measurement: a small, bounded record."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """Band-limited sound and log rows of one measurement.

    ``sound`` and ``clipped`` have shape ``(n,)`` at ``rate_hz``, the first
    sample at audio time ``start_s``; ``log_s`` and ``log_mmhg`` have shape
    ``(k,)`` in log time; ``rest_s`` and ``rest_mmhg`` are the rows at rest just before them.
    ``lost_s`` are stretches of audio time that never came.
    """

    sound: FloatArray
    clipped: NDArray[np.bool_]
    rate_hz: float
    start_s: float
    log_s: FloatArray
    log_mmhg: FloatArray
    rest_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    rest_mmhg: FloatArray = field(default_factory=lambda: np.zeros(0))
    rows_repeated: int = 0
    lost_s: tuple[tuple[float, float], ...] = ()

    @property
    def end_s(self) -> float:
        """Audio time just after the last sound sample."""
        return self.start_s + self.sound.size / self.rate_hz

    def between(self, start_s: float, end_s: float) -> tuple[FloatArray, float]:
        """Sound between two audio times, and the time of its first sample."""
        first = max(0, int(np.ceil((start_s - self.start_s) * self.rate_hz)))
        last = max(first, min(self.sound.size, int((end_s - self.start_s) * self.rate_hz)))
        return self.sound[first:last], self.start_s + first / self.rate_hz
