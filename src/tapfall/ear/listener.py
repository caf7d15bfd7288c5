"""The listener: the one stateful object, fed live or once with a whole file.

It keeps the band-limited sound and the log of the measurement under way and
nothing else.  A measurement is judged when its log has rested for five
seconds and the sound has caught up, or at the end of the streams; what is
judged depends on times and row numbers only, never on how the streams were
cut.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from tapfall.ear.compose import unreadable
from tapfall.ear.cuff import REST_S, measurement_bounds
from tapfall.ear.frontend import FrontEnd, as_samples
from tapfall.ear.reader import judge
from tapfall.ear.record import Record
from tapfall.errors import CuffLogError, MisuseError, SettingError
from tapfall.model import Flag, Reading, Reason, Recording, Rule, Settings

#: Sound and log kept before a measurement starts and after it ends: the
#: largest lag either way and a margin.
BEFORE_S, AFTER_S = 6.0, 2.6
#: Range of cuff pressures that a log may hold.
LOWEST_MMHG, HIGHEST_MMHG = -20.0, 400.0


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
    try:
        rule = Rule(settings.diastolic)
    except ValueError:
        allowed = ", ".join(r.value for r in Rule)
        raise SettingError(f"diastolic is {settings.diastolic!r}; allowed: {allowed}") from None
    for name, value, low, high in (
        ("lag_s", settings.lag_s, -60.0, 60.0),
        ("manometer_mmhg", settings.manometer_mmhg, 0.0, 50.0),
        ("longest_s", settings.longest_s, 30.0, 3600.0),
    ):
        if value is not None and not (
            isinstance(value, int | float) and math.isfinite(value) and low <= value <= high
        ):
            raise SettingError(f"{name} is {value!r}; allowed: {low:g} to {high:g}")
    return replace(settings, diastolic=rule)


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
        self._front = FrontEnd(float(rate_hz))
        self._rate_hz = float(rate_hz)
        self._kind: str | None = None
        self._sound: list[np.ndarray] = []
        self._marks: list[np.ndarray] = []
        self._dropped = 0  # sound samples no longer kept
        self._kept = 0
        self._log_s = np.zeros(0)
        self._log_mmhg = np.zeros(0)
        self._repeated = 0
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
                f"audio has type {array.dtype.name}; allowed: {self._kind}, as in earlier pushes"
            )
        log_s = float(self._log_s[-1]) if self._log_s.size else 0.0
        ahead_s = self.audio_s + array.size / self._rate_hz - log_s
        self._check_ahead(ahead_s, "sound", "log")
        self._kind = array.dtype.name
        sound, marks = self._front.push(array)
        self._sound.append(sound)
        self._marks.append(marks)
        self._kept += sound.size
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
        times = np.array(times_s, np.float64)
        pressures = np.array(pressures_mmhg, np.float64)
        if times.ndim != 1 or times.shape != pressures.shape:
            raise MisuseError(
                f"cuff rows have shapes {times.shape} and {pressures.shape}; "
                "allowed: two of one dimension and equal length"
            )
        if times.size == 0:
            return
        if not (np.isfinite(times).all() and np.isfinite(pressures).all()):
            raise CuffLogError("cuff rows hold NaN or infinity; allowed: finite numbers")
        if pressures.min() < LOWEST_MMHG or pressures.max() > HIGHEST_MMHG:
            worst = pressures.min() if pressures.min() < LOWEST_MMHG else pressures.max()
            raise CuffLogError(f"cuff pressure is {worst:g} mmHg; allowed: -20 to 400")
        before_s = self._log_s[-1:] if self._log_s.size else times[:1] - 1.0
        before_mmhg = self._log_mmhg[-1:] if self._log_mmhg.size else pressures[:1]
        step_s = np.diff(np.concatenate([before_s, times]))
        step_mmhg = np.diff(np.concatenate([before_mmhg, pressures]))
        if step_s.min() < 0:
            at = float(times[int(np.argmin(step_s))])
            raise CuffLogError(f"log time runs back at {at:g} s; allowed: increasing times")
        same = step_s == 0
        if (same & (step_mmhg != 0)).any():
            at = float(times[int(np.flatnonzero(same & (step_mmhg != 0))[0])])
            raise CuffLogError(f"log time {at:g} s has two pressures; allowed: one")
        self._check_ahead(float(times[-1]) - self.audio_s, "log", "sound")
        self._log_s = np.concatenate([self._log_s, times[~same]])
        self._log_mmhg = np.concatenate([self._log_mmhg, pressures[~same]])
        self._repeated += int(same.sum())
        self._settle(final=False)

    def snapshot(self) -> Reading:
        """A provisional reading of the measurement under way, or the last one.

        Returns
        -------
        Reading
            What ``finish`` would return if both streams ended here; the
            listener goes on unchanged.
        """
        bounds = self._bounds()
        if not self._finished:
            for begin, stop in reversed(bounds):
                reading = self._judge(begin, stop)
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
                f"allowed: {longest_s:g} s (longest_s); push the {other} first"
            )

    def _bounds(self) -> list[tuple[int, int]]:
        """Measurements among the rows kept, none longer than ``longest_s``."""
        bounds = []
        for begin, stop in measurement_bounds(self._log_s, self._log_mmhg):
            cut = int(np.searchsorted(self._log_s, self._log_s[begin] + self._settings.longest_s))
            bounds.append((begin, min(stop, cut)))
        return bounds

    def _settle(self, *, final: bool) -> None:
        """Judge every measurement that has ended and forget what is past."""
        if self._log_s.size == 0:
            return
        bounds = self._bounds()
        done = 0
        for begin, stop in bounds:
            ended = stop < self._log_s.size or self._rested(stop)
            heard = self.audio_s >= float(self._log_s[stop - 1]) + AFTER_S
            if not (final or (ended and heard)):
                break
            reading = self._judge(begin, stop)
            done = stop
            if Reason.NO_DEFLATION in reading.reasons:
                # An inflation and release alone is a palpatory run-up.
                self._run_up = True
                continue
            self._readings.append(reading)
            self._run_up = False
            self._repeated = 0
        begin = next((b for b, s in bounds if s > done), None)
        keep_s = float(self._log_s[-1]) - REST_S if begin is None else float(self._log_s[begin])
        self._forget(keep_s - BEFORE_S, done)

    def _rested(self, stop: int) -> bool:
        """Whether the last kept measurement is complete."""
        low = self._log_mmhg < 15.0
        rising = np.flatnonzero(~low)
        last = float(self._log_s[rising[-1]]) if rising.size else -math.inf
        return stop == self._log_s.size and float(self._log_s[-1]) - last >= REST_S + 1.0

    def _forget(self, before_s: float, done: int) -> None:
        """Drop sound and rows that no measurement can need any more."""
        rows = min(int(np.searchsorted(self._log_s, before_s)), max(self._log_s.size - 1, 0))
        rows = max(rows, done if done < self._log_s.size else 0)
        if rows:
            self._log_s, self._log_mmhg = self._log_s[rows:], self._log_mmhg[rows:]
        rate_hz = self._front.design.sound_rate_hz
        while self._sound:
            ends_s = (self._dropped + self._sound[0].size) / rate_hz
            if ends_s >= before_s:
                break
            self._dropped += self._sound[0].size
            self._kept -= self._sound[0].size
            del self._sound[0], self._marks[0]

    def _judge(self, begin: int, stop: int) -> Reading:
        """Cut the record of one measurement by times alone, and judge it."""
        rate_hz = self._front.design.sound_rate_hz
        delay_s = self._front.design.delay_s
        sound = np.concatenate(self._sound) if self._sound else np.zeros(0)
        marks = np.concatenate(self._marks) if self._marks else np.zeros(0, np.bool_)
        first = math.floor((float(self._log_s[begin]) - BEFORE_S) * rate_hz)
        last = math.ceil((float(self._log_s[stop - 1]) + AFTER_S) * rate_hz)
        low = min(max(first - self._dropped, 0), sound.size)
        high = min(max(last - self._dropped, 0), sound.size)
        record = Record(
            sound=sound[low:high],
            clipped=marks[low:high],
            rate_hz=rate_hz,
            start_s=(self._dropped + low) / rate_hz - delay_s,
            log_s=self._log_s[begin:stop],
            log_mmhg=self._log_mmhg[begin:stop],
            rows_repeated=self._repeated,
        )
        reading = judge(record, self._settings)
        if self._run_up and Flag.PALPATORY_RUN_UP not in reading.flags:
            flags = {*reading.flags, Flag.PALPATORY_RUN_UP}
            reading = replace(reading, flags=tuple(f for f in Flag if f in flags))
        return reading


def take_readings(recording: Recording, settings: Settings | None = None) -> tuple[Reading, ...]:
    """Read every measurement of a recording.

    Parameters
    ----------
    recording
        Sound and cuff log.
    settings
        What the user chose; defaults otherwise.

    Returns
    -------
    tuple of Reading
        One for each measurement with a deflation, in order of time; a single
        ``unreadable`` one where there is none.

    Raises
    ------
    InputError
        If sound, log or settings cannot be used.
    """
    listener = Listener(rate_hz=recording.rate_hz, settings=settings)
    step_s = listener._settings.longest_s / 2
    log_s, log_mmhg = recording.cuff.time_s, recording.cuff.pressure_mmhg
    listener._repeated = recording.cuff.rows_repeated
    length_s = recording.samples.size / recording.rate_hz
    end_s = max(length_s, float(log_s[-1]) if log_s.size else 0.0)
    row = sample = 0
    at_s = 0.0
    # One push each, or several where the recording is longer than the memory.
    while at_s < end_s or row < log_s.size or sample < recording.samples.size:
        at_s += step_s if end_s > 2 * step_s else end_s + 1.0
        next_row = int(np.searchsorted(log_s, at_s, side="right"))
        next_sample = min(round(at_s * recording.rate_hz), recording.samples.size)
        listener.push_cuff(log_s[row:next_row], log_mmhg[row:next_row])
        listener.push_audio(recording.samples[sample:next_sample])
        row, sample = next_row, next_sample
    last = listener.finish()
    return listener.readings or (last,)


def take_reading(recording: Recording, settings: Settings | None = None) -> Reading:
    """Read a recording: the reading of its last measurement.

    Parameters
    ----------
    recording
        Sound and cuff log.
    settings
        What the user chose; defaults otherwise.

    Returns
    -------
    Reading
        The last of :func:`take_readings`.

    Raises
    ------
    InputError
        If sound, log or settings cannot be used.
    """
    return take_readings(recording, settings)[-1]
