"""The listener: the one stateful object, fed live or once with a whole file.

It keeps the band-limited sound and the log of the measurement under way and
nothing else.  A measurement is judged when its log has rested for five
seconds and the sound has caught up, or at the end of the streams; what is
judged depends on times and row numbers only, never on how the streams were
cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapfall.ear.compose import unreadable
from tapfall.ear.cuff import REST_MMHG, REST_S, measurement_bounds
from tapfall.ear.frontend import FrontEnd, as_samples
from tapfall.ear.reader import judge
from tapfall.ear.record import Record
from tapfall.ear.settings import check_settings
from tapfall.errors import CuffLogError, MisuseError
from tapfall.model import Flag, Reading, Reason, Settings

#: Sound and log kept before a measurement starts and after it ends: the
#: largest lag either way and a margin.
BEFORE_S, AFTER_S = 6.0, 2.6
#: Range of cuff pressures that a log may hold.
LOWEST_MMHG, HIGHEST_MMHG = -20.0, 400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Rows of one measurement: judged up to ``stop``, over at ``end``."""

    begin: int
    stop: int
    end: int
    rested: bool


class Listener:
    """Hears a stream of sound and a stream of cuff pressure.

    Parameters
    ----------
    rate_hz
        Audio rate in Hz, at least 1000.
    settings
        Diastolic rule, lag, manometer error and the longest measurement.

    Raises
    ------
    AudioError
        If the rate is below 1000 Hz.
    SettingError
        If a setting is outside what is allowed.

    Examples
    --------
    >>> import numpy as np
    >>> ear = Listener(rate_hz=4000.0)
    >>> ear.push_cuff([0.0, 1.0], [0.0, 0.0])
    >>> ear.push_audio(np.zeros(4000, np.float32))
    >>> ear.finish().reasons
    (<Reason.NO_DEFLATION: 'no_deflation'>,)
    """

    def __init__(self, *, rate_hz: float, settings: Settings | None = None) -> None:
        self._settings = check_settings(settings or Settings())
        self._front = FrontEnd(rate_hz)
        self._rate_hz = float(rate_hz)
        self._kind: str | None = None
        self._sound: list[np.ndarray] = []
        self._marks: list[np.ndarray] = []
        self._dropped = 0  # sound samples no longer kept
        self._log_s = np.zeros(0)
        self._log_mmhg = np.zeros(0)
        self._last_row: tuple[float, float] | None = None
        self._repeated_s: list[float] = []
        self._skipping = False  # rows of a measurement longer than allowed
        self._run_up = False
        self._readings: list[Reading] = []
        self._finished = False

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Readings of the measurements that have ended so far."""
        return tuple(self._readings)

    @property
    def audio_s(self) -> float:
        """Audio time reached."""
        return self._front.samples_seen / self._rate_hz

    def push_audio(self, samples: Any) -> None:
        """Take in the next samples.

        Parameters
        ----------
        samples
            Shape ``(n,)``; int16, int32, float32 or float64, the same type in
            every push.

        Raises
        ------
        MisuseError
            After ``finish``, for another shape or type, or where the sound
            would run ahead of the log by more than ``longest_s``.
        AudioError
            If a sample is not finite.
        """
        self._open()
        array = as_samples(samples)
        if array.size == 0:
            return
        if self._kind not in (None, array.dtype.name):
            raise MisuseError(
                f"audio has type {array.dtype.name}; allowed {self._kind}, as in earlier pushes"
            )
        log_s = self._last_row[0] if self._last_row else 0.0
        ahead_s = self.audio_s + array.size / self._rate_hz - log_s
        self._check_ahead(ahead_s, "sound", "log")
        self._kind = array.dtype.name
        sound, marks = self._front.push(array)
        self._sound.append(sound)
        self._marks.append(marks)
        self._settle(final=False)

    def push_cuff(self, times_s: Any, pressures_mmhg: Any) -> None:
        """Take in the next rows of the cuff log.

        Parameters
        ----------
        times_s, pressures_mmhg
            Log time and mmHg, shape ``(k,)``; times do not run back.

        Raises
        ------
        MisuseError
            After ``finish``, for other shapes, or where the log would run
            ahead of the sound by more than ``longest_s``.
        CuffLogError
            If a value is not finite or out of range, times run back, or one
            time has two pressures.
        """
        self._open()
        times, pressures = as_rows(times_s, pressures_mmhg)
        if times.size == 0:
            return
        before = self._last_row or (times[0] - 1.0, pressures[0])
        step_s = np.diff(times, prepend=before[0])
        step_mmhg = np.diff(pressures, prepend=before[1])
        if step_s.min() < 0:
            at = float(times[int(np.argmin(step_s))])
            raise CuffLogError(f"log time runs back at {at:g} s; allowed increasing times")
        same = step_s == 0
        if (same & (step_mmhg != 0)).any():
            at = float(times[int(np.flatnonzero(same & (step_mmhg != 0))[0])])
            raise CuffLogError(f"log time {at:g} s has two pressures; allowed one")
        self._check_ahead(float(times[-1]) - self.audio_s, "log", "sound")
        self._last_row = (float(times[-1]), float(pressures[-1]))
        self._repeated_s += times[same].tolist()
        times, pressures = times[~same], pressures[~same]
        if self._skipping:
            low = np.flatnonzero(pressures < REST_MMHG)
            first = int(low[0]) if low.size else times.size
            self._skipping = low.size == 0
            times, pressures = times[first:], pressures[first:]
        self._log_s = np.concatenate([self._log_s, times])
        self._log_mmhg = np.concatenate([self._log_mmhg, pressures])
        self._settle(final=False)

    def snapshot(self) -> Reading:
        """A provisional reading of the measurement under way, or the last one.

        Returns
        -------
        Reading
            What ``finish`` would return if both streams ended here; the
            listener goes on unchanged.
        """
        if not self._finished:
            for one in reversed(self._measurements()):
                reading = self._judge(one)
                if Reason.NO_DEFLATION not in reading.reasons:
                    return reading
        return self._latest()

    def finish(self) -> Reading:
        """End both streams and return the reading of the last measurement.

        Returns
        -------
        Reading
            ``unreadable`` with reason ``no_deflation`` where there was none.

        Raises
        ------
        MisuseError
            If called twice.
        """
        self._open()
        self._settle(final=True)
        self._finished = True
        return self._latest()

    def _latest(self) -> Reading:
        if self._readings:
            return self._readings[-1]
        return unreadable(Reason.NO_DEFLATION, self._settings)

    def _open(self) -> None:
        if self._finished:
            raise MisuseError("this listener has finished; make a new one for the next stream")

    def _check_ahead(self, ahead_s: float, one: str, other: str) -> None:
        longest_s = self._settings.longest_s
        if ahead_s > longest_s + 1e-6:
            raise MisuseError(
                f"the {one} runs ahead of the {other} by {ahead_s:.1f} s; "
                f"allowed {longest_s:g} s (longest_s); push the {other} first"
            )

    def _measurements(self) -> list[_Rows]:
        """Measurements among the rows kept, none longer than ``longest_s``."""
        found = []
        for begin, stop in measurement_bounds(self._log_s, self._log_mmhg):
            longest_s = self._log_s[begin] + self._settings.longest_s
            cut = int(np.searchsorted(self._log_s, longest_s))
            rested = stop < self._log_s.size or self._rests_at(stop)
            found.append(_Rows(begin=begin, stop=min(stop, cut), end=stop, rested=rested))
        return found

    def _rests_at(self, stop: int) -> bool:
        """Whether the last row kept completes a rest."""
        high = np.flatnonzero(self._log_mmhg[:stop] >= REST_MMHG)
        first_low = int(high[-1]) + 1 if high.size else 0
        return first_low < stop and self._log_s[stop - 1] >= self._log_s[first_low] + REST_S

    def _settle(self, *, final: bool) -> None:
        """Judge every measurement that has ended and forget what is past."""
        done = 0
        pending: _Rows | None = None
        for one in self._measurements():
            cut_short = one.stop < one.end
            heard_s = self.audio_s + self._shift_s
            heard = heard_s >= float(self._log_s[one.stop - 1]) + AFTER_S
            if not (final or ((one.rested or cut_short) and heard)):
                pending = one
                break
            reading = self._judge(one)
            done = one.end
            self._skipping = cut_short and not one.rested and not final
            if Reason.NO_DEFLATION in reading.reasons:
                # An inflation and release alone is a palpatory run-up.
                self._run_up = not cut_short
                continue
            self._readings.append(reading)
            self._run_up = False
        self._forget(done, pending)

    def _forget(self, done: int, pending: _Rows | None) -> None:
        """Drop sound and rows that no measurement can need any more."""
        if self._last_row is None:
            return
        keep_s = self._last_row[0] - REST_S if pending is None else self._log_s[pending.begin]
        before_s = float(keep_s) - BEFORE_S
        rows = max(done, int(np.searchsorted(self._log_s, before_s)))
        if pending is not None:
            rows = min(rows, pending.begin)
        if rows:
            self._log_s, self._log_mmhg = self._log_s[rows:], self._log_mmhg[rows:]
        self._repeated_s = [at for at in self._repeated_s if at >= before_s]
        rate_hz = self._front.design.sound_rate_hz
        while self._sound:
            ends_s = (self._dropped + self._sound[0].size) / rate_hz + self._shift_s
            if ends_s >= before_s:
                break
            self._dropped += self._sound[0].size
            del self._sound[0], self._marks[0]

    @property
    def _shift_s(self) -> float:
        """Log time minus audio time, as far as it was given."""
        return self._settings.lag_s or 0.0

    def _judge(self, rows: _Rows) -> Reading:
        """Cut the record of one measurement by times alone, and judge it."""
        rate_hz = self._front.design.sound_rate_hz
        delay_s = self._front.design.delay_s
        sound = np.concatenate(self._sound) if self._sound else np.zeros(0)
        marks = np.concatenate(self._marks) if self._marks else np.zeros(0, np.bool_)
        first_s, last_s = float(self._log_s[rows.begin]), float(self._log_s[rows.stop - 1])
        first = math.floor((first_s - self._shift_s - BEFORE_S) * rate_hz)
        last = math.ceil((last_s - self._shift_s + AFTER_S) * rate_hz)
        low = min(max(first - self._dropped, 0), sound.size)
        high = min(max(last - self._dropped, low), sound.size)
        record = Record(
            sound=sound[low:high],
            clipped=marks[low:high],
            rate_hz=rate_hz,
            start_s=(self._dropped + low) / rate_hz - delay_s,
            log_s=self._log_s[rows.begin : rows.stop],
            log_mmhg=self._log_mmhg[rows.begin : rows.stop],
            rows_repeated=sum(first_s <= at <= last_s for at in self._repeated_s),
        )
        reading = judge(record, self._settings)
        return with_flag(reading, Flag.PALPATORY_RUN_UP) if self._run_up else reading


def with_flag(reading: Reading, flag: Flag) -> Reading:
    """A reading with one more flag, in the flags' own order.

    Examples
    --------
    >>> from tapfall.ear.compose import unreadable
    >>> bare = unreadable(Reason.NO_SOUNDS, Settings())
    >>> with_flag(bare, Flag.NOISY).flags
    (<Flag.NOISY: 'noisy'>,)
    """
    flags = {*reading.flags, flag}
    return replace(reading, flags=tuple(one for one in Flag if one in flags))


def as_rows(times_s: Any, pressures_mmhg: Any) -> tuple[np.ndarray, np.ndarray]:
    """Check rows of the log for shape, type and range."""
    try:
        times = np.array(times_s, np.float64)
        pressures = np.array(pressures_mmhg, np.float64)
    except (TypeError, ValueError):
        raise MisuseError("cuff rows are not numbers in even rows; allowed numbers") from None
    if times.ndim != 1 or times.shape != pressures.shape:
        raise MisuseError(
            f"cuff rows have shapes {times.shape} and {pressures.shape}; "
            "allowed two of one dimension and equal length"
        )
    if not (np.isfinite(times).all() and np.isfinite(pressures).all()):
        raise CuffLogError("cuff rows hold NaN or infinity; allowed finite numbers")
    if times.size and (pressures.min() < LOWEST_MMHG or pressures.max() > HIGHEST_MMHG):
        worst = pressures.min() if pressures.min() < LOWEST_MMHG else pressures.max()
        raise CuffLogError(f"cuff pressure is {worst:g} mmHg; allowed -20 to 400")
    return times, pressures
