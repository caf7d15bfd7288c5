"""What the listener keeps of its streams: a bounded stretch of sound and log."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapfall.ear.record import Record
from tapfall.model import FloatArray

#: Sound and log kept before a measurement starts and after it ends: the
#: largest lag either way and a margin.
BEFORE_S, AFTER_S = 6.0, 2.6
#: Room that a store begins with.
LEAST_ROOM = 4096


class Store:
    """Numbers appended at the end and dropped from the front.

    Its room doubles when it is full, so that many small pushes cost as much as one.

    Examples
    --------
    >>> store = Store(np.float64)
    >>> store.append(np.arange(5.0))
    >>> store.drop(3)
    >>> store.values.tolist(), store.dropped
    ([3.0, 4.0], 3)
    """

    def __init__(self, dtype: type) -> None:
        self._room: NDArray[Any] = np.zeros(LEAST_ROOM, dtype)
        self._begin = self._end = 0
        self.dropped = 0

    @property
    def values(self) -> NDArray[np.generic]:
        """What is kept, as a view."""
        return self._room[self._begin : self._end]

    @property
    def size(self) -> int:
        """How many are kept."""
        return self._end - self._begin

    def append(self, values: NDArray[np.generic]) -> None:
        """Add numbers at the end."""
        if self._end + values.size > self._room.size:
            kept = self.values.copy()
            size = max(LEAST_ROOM, 2 * (kept.size + values.size))
            if size != self._room.size:
                self._room = np.zeros(size, self._room.dtype)
            self._room[: kept.size] = kept
            self._begin, self._end = 0, kept.size
        self._room[self._end : self._end + values.size] = values
        self._end += values.size

    def drop(self, count: int) -> None:
        """Forget the first ones."""
        self._begin += count
        self.dropped += count


class Memory:
    """Band-limited sound, clipping marks and log rows, as far as they are needed.

    Parameters
    ----------
    rate_hz
        Rate of the sound.
    delay_s
        Delay of the front end's filters.
    """

    def __init__(self, rate_hz: float, delay_s: float) -> None:
        self.rate_hz, self.delay_s = rate_hz, delay_s
        self._sound, self._marks = Store(np.float64), Store(np.bool_)
        self._log_s, self._log_mmhg = Store(np.float64), Store(np.float64)
        self.repeated_s: list[float] = []
        self.lost_s: list[tuple[float, float]] = []

    @property
    def log_s(self) -> FloatArray:
        """Times of the rows kept."""
        return np.asarray(self._log_s.values, np.float64)

    @property
    def log_mmhg(self) -> FloatArray:
        """Pressures of the rows kept."""
        return np.asarray(self._log_mmhg.values, np.float64)

    def hear(self, sound: FloatArray, marks: NDArray[np.bool_]) -> None:
        """Keep more sound."""
        self._sound.append(sound)
        self._marks.append(marks)

    def note(self, times_s: FloatArray, pressures_mmhg: FloatArray) -> None:
        """Keep more rows."""
        self._log_s.append(times_s)
        self._log_mmhg.append(pressures_mmhg)

    def drop_rows(self, count: int) -> None:
        """Forget the first rows."""
        self._log_s.drop(count)
        self._log_mmhg.drop(count)

    def forget_before(self, audio_s: float, log_s: float) -> None:
        """Drop the sound before an audio time, and notes of rows before a log time."""
        first = math.floor(audio_s * self.rate_hz) - self._sound.dropped
        count = min(max(first, 0), self._sound.size)
        self._sound.drop(count)
        self._marks.drop(count)
        self.repeated_s = [at for at in self.repeated_s if at >= log_s]
        self.lost_s = [span for span in self.lost_s if span[1] >= audio_s]

    def in_hole(self, rows: int, at_s: float, least_s: float) -> float | None:
        """Pressure within a hole of the log, on the line between the rows that bound it.

        Parameters
        ----------
        rows
            How many rows lie before the hole; the log has got beyond it.
        at_s
            Log time.
        least_s
            What is no longer than this is no hole.

        Returns
        -------
        float or None
            In mmHg; ``None`` where there is no hole.
        """
        bounds_s = self.log_s[rows - 1 : rows + 1]
        if bounds_s.size < 2 or bounds_s[1] - bounds_s[0] <= least_s:
            return None
        return float(np.interp(at_s, bounds_s, self.log_mmhg[rows - 1 : rows + 1]))

    def record(self, begin: int, stop: int, shift_s: float, end_s: float) -> Record:
        """Cut the record of a measurement, by times alone.

        Parameters
        ----------
        begin, stop
            Half-open range of rows.
        shift_s
            Log time minus audio time, as far as it is known.
        end_s
            Log time at which the sound ends at the latest.

        Returns
        -------
        Record
            A copy; its log runs on a clock that is ``shift_s`` slow.
        """
        log_s = self.log_s[begin:stop]
        rest = int(np.searchsorted(self.log_s[:begin], self.log_s[begin] - BEFORE_S))
        first_s, last_s = float(log_s[0]), min(float(log_s[-1]) + AFTER_S, end_s)
        skipped = self._sound.dropped
        first = math.floor((first_s - shift_s - BEFORE_S) * self.rate_hz)
        last = math.ceil((last_s - shift_s) * self.rate_hz)
        low = min(max(first - skipped, 0), self._sound.size)
        high = min(max(last - skipped, low), self._sound.size)
        start_s = (skipped + low) / self.rate_hz
        return Record(
            sound=np.array(self._sound.values[low:high], np.float64),
            clipped=np.array(self._marks.values[low:high], np.bool_),
            rate_hz=self.rate_hz,
            start_s=start_s - self.delay_s,
            log_s=log_s.copy(),
            log_mmhg=self.log_mmhg[begin:stop].copy(),
            rest_s=self.log_s[rest:begin].copy(),
            rest_mmhg=self.log_mmhg[rest:begin].copy(),
            rows_repeated=sum(first_s <= at <= float(log_s[-1]) for at in self.repeated_s),
            lost_s=tuple(self.lost_s),
        )

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """All that is kept, as arrays."""
        return {
            "sound": self._sound.values.copy(),
            "marks": self._marks.values.copy(),
            "sound_dropped": np.array(self._sound.dropped),
            "log_s": self._log_s.values.copy(),
            "log_mmHg": self._log_mmhg.values.copy(),
            "repeated_s": np.array(self.repeated_s, np.float64),
            "lost_s": np.array(self.lost_s, np.float64).reshape(-1, 2),
        }

    def restore(self, arrays: Mapping[str, Any]) -> None:
        """Take over what :meth:`arrays` of another memory returned."""
        for store, name in (
            (self._sound, "sound"),
            (self._marks, "marks"),
            (self._log_s, "log_s"),
            (self._log_mmhg, "log_mmHg"),
        ):
            store.append(np.asarray(arrays[name]))
        self._sound.dropped = self._marks.dropped = int(arrays["sound_dropped"])
        self.repeated_s = np.asarray(arrays["repeated_s"]).tolist()
        self.lost_s = [(float(a), float(b)) for a, b in np.asarray(arrays["lost_s"])]
