"""The listener: the one stateful object, fed live or once with a whole file.

It keeps the band-limited sound and the log of the measurement under way and nothing
else.  Time that both streams have reached is gone through in *looks* of a quarter of a
second; at a look a measurement is followed, judged provisionally so that events can be
told, and read when its log has rested for five seconds.  What is judged and told depends
on times and row numbers only, never on how the streams were cut.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

import numpy as np

from tapfall.ear import saved
from tapfall.ear.compose import unreadable
from tapfall.ear.course import LOST_S, Course, Now
from tapfall.ear.frontend import FrontEnd, as_samples
from tapfall.ear.hand import LOOK_S
from tapfall.ear.live import in_audio_time, seen
from tapfall.ear.memory import Memory
from tapfall.ear.rows import as_rows, check_order, samples_missing, steps
from tapfall.ear.settings import check_settings
from tapfall.errors import MisuseError
from tapfall.events import Event, EventKind
from tapfall.model import Reading, Reason, Settings

#: No samples.
NOTHING = np.zeros(0, np.float32)


class Listener:
    """Hears a stream of sound and a stream of cuff pressure.

    Parameters
    ----------
    rate_hz
        Audio rate in Hz, at least 1000.
    settings
        Diastolic rule, lag, manometer error and the longest measurement, which bounds
        the memory.
    announce
        Whether to judge while listening and tell events; without, only readings come,
        at a twentieth of the cost.

    Raises
    ------
    AudioError
        If the rate is not a finite number of at least 1000 Hz.
    SettingError
        If a setting is outside what is allowed.

    Examples
    --------
    >>> import numpy as np
    >>> ear = Listener(rate_hz=4000.0)
    >>> ear.push_cuff([0.0, 1.0], [0.0, 0.0])
    ()
    >>> ear.push_audio(np.zeros(4000, np.float32))
    ()
    >>> ear.finish().reasons
    (<Reason.NO_DEFLATION: 'no_deflation'>,)
    """

    def __init__(
        self, *, rate_hz: float, settings: Settings | None = None, announce: bool = True
    ) -> None:
        self._settings = check_settings(Settings() if settings is None else settings)
        self._announce = bool(announce)
        self._front = FrontEnd(rate_hz)
        self._rate_hz = float(rate_hz)
        self._memory = Memory(self._front.design.sound_rate_hz, self._front.design.delay_s)
        self._kind: str | None = None
        self._last_row: tuple[float, float] | None = None
        self._behind = False
        self._finished = False
        self._now = Now()
        self._course = Course(settings=self._settings, announce=self._announce, memory=self._memory)

    # --- what can be asked ---------------------------------------------------------------

    @property
    def audio_s(self) -> float:
        """Audio time reached."""
        return self._front.samples_seen / self._rate_hz

    @property
    def latency_s(self) -> float:
        """How long after it came in a sound, or a row, is looked at, at the latest.

        The filters' delay and the step of the looks; what can be said then, and how late,
        is in the table of events.
        """
        return self._front.design.delay_s + LOOK_S

    def readings(self) -> tuple[Reading, ...]:
        """Hand over the readings that were finished since this was last called.

        Returns
        -------
        tuple of Reading
            One for each measurement, in order of time.
        """
        ready = self._now.ready
        self._now = replace(self._now, ready=())
        return ready

    def events(self) -> tuple[Event, ...]:
        """Hand over the events that no push has returned: those of ``finish``.

        Returns
        -------
        tuple of Event
            In the order in which they were told.
        """
        told = self._now.events
        if told:
            self._now = replace(self._now, events=())
        return told

    # --- what comes in -------------------------------------------------------------------

    def push_audio(self, samples: Any, start_s: float | None = None) -> tuple[Event, ...]:
        """Take in the next samples.

        Parameters
        ----------
        samples
            Shape ``(n,)``; int16, int32, float32 or float64, the same type in
            every push.
        start_s
            Audio time of the first of them; more than 1 ms later than :attr:`audio_s`, it
            declares that the sound between was lost.  By default they follow the last push.

        Returns
        -------
        tuple of Event
            What can be told now.

        Raises
        ------
        MisuseError
            After ``finish``, for another shape or type, where ``start_s`` lies more than
            1 ms before the audio time reached, or where the sound would run ahead of the log by
            more than ``longest_s``.
        AudioError
            If a sample is not finite, or beyond 1e12.
        """
        self._open()
        array = as_samples(samples)
        if array.size and self._kind not in (None, array.dtype.name):
            raise MisuseError(
                f"audio has type {array.dtype.name}; allowed {self._kind}, as in earlier pushes"
            )
        missing = samples_missing(start_s, self._front.samples_seen, self._rate_hz)
        ahead_s = self.audio_s + (missing + array.size) / self._rate_hz - self._log_s
        self._check_ahead(ahead_s, "sound", "log")
        if missing:
            self._lose(missing, array.dtype)
        if array.size:
            self._kind = array.dtype.name
            if not self._front.wait(array):
                self._hear(array)
        return self._go_on()

    def push_cuff(self, times_s: Any, pressures_mmhg: Any) -> tuple[Event, ...]:
        """Take in the next rows of the cuff log.

        Parameters
        ----------
        times_s, pressures_mmhg
            Log time and mmHg, shape ``(k,)``; times do not run back.

        Returns
        -------
        tuple of Event
            What can be told now.

        Raises
        ------
        MisuseError
            After ``finish``, for other shapes or what are no numbers, or where the
            log would run ahead of the sound by more than ``longest_s``.
        CuffLogError
            If a value is not finite or out of range, times run back, or one
            time has two pressures.
        """
        self._open()
        times, pressures = as_rows(times_s, pressures_mmhg)
        if times.size:
            before = self._last_row or (times[0] - 1.0, pressures[0])
            step_s, rise_mmhg = steps(times, before[0]), steps(pressures, before[1])
            same = step_s == 0
            check_order(times, step_s, same & (rise_mmhg != 0))
            self._check_ahead(float(times[-1]) - self.audio_s, "log", "sound")
            if self._now.look_s is None:
                look_s = (math.floor(float(times[0]) / LOOK_S) + 1) * LOOK_S
                self._now = replace(self._now, look_s=look_s)
            self._last_row = (float(times[-1]), float(pressures[-1]))
            self._memory.repeated_s += times[same].tolist()
            self._memory.note(times[~same], pressures[~same])
        return self._go_on()

    def snapshot(self) -> Reading:
        """A provisional reading of the measurement under way, or the last one.

        Returns
        -------
        Reading
            What ``finish`` would return if both streams ended here; the
            listener goes on unchanged.  But while a cuff is inflated and has not fallen by
            20 mmHg ``unreadable`` with reason ``no_deflation``, not the reading before: that may
            be another person's.
        """
        self._hear()
        reading = self._now.latest if self._finished else self._course.snapshot(self._now)
        return reading or unreadable(Reason.NO_DEFLATION, self._settings)

    def finish(self) -> Reading:
        """End both streams and return the reading of the last measurement.

        Returns
        -------
        Reading
            Of the last one that had a deflation, handed over by :meth:`readings` as well, also
            where a cuff was being inflated again: its times tell;
            ``unreadable`` with reason ``no_deflation`` where there was none.

        Raises
        ------
        MisuseError
            If called twice.
        """
        self._open()
        self._hear()
        self._now = self._course.end(self._now, self._log_s, self.audio_s)
        self._finished = True
        return self._now.latest or unreadable(Reason.NO_DEFLATION, self._settings)

    # --- stopping and going on elsewhere -------------------------------------------------

    def state(self) -> dict[str, np.ndarray]:
        """All that the listener knows, as plain arrays; ``numpy.savez`` writes them.

        Returns
        -------
        dict of str to ndarray
            Numbers and texts, no objects; :meth:`from_state` goes on from it.
        """
        self._hear()
        plain = saved.Plain(**{f.name: getattr(self, f"_{f.name}") for f in fields(saved.Plain)})
        return saved.packed(plain, self._memory, self._front)

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> Listener:
        """Go on where another listener stopped.

        Parameters
        ----------
        state
            What :meth:`state` returned, or ``numpy.load`` of it.

        Returns
        -------
        Listener
            It tells and reads from here on what the other one would have.

        Raises
        ------
        MisuseError
            If it is not the state of a listener of this version.
        """
        plain = saved.plain_of(state)
        listener = cls(rate_hz=plain.rate_hz, settings=plain.settings, announce=plain.announce)
        for field in fields(plain):
            setattr(listener, f"_{field.name}", getattr(plain, field.name))
        saved.restore(state, listener._memory, listener._front)
        return listener

    # --- inside --------------------------------------------------------------------------

    @property
    def _log_s(self) -> float:
        """Log time reached, 0 before the first row."""
        return self._last_row[0] if self._last_row else 0.0

    def _open(self) -> None:
        if self._finished:
            raise MisuseError("this listener has finished; make a new one for the next stream")

    def _check_ahead(self, ahead_s: float, one: str, other: str) -> None:
        longest_s = self._settings.longest_s
        if ahead_s > longest_s + abs(self._now.centre_s) + 1e-6:
            raise MisuseError(
                f"the {one} runs ahead of the {other} by {ahead_s:.1f} s; "
                f"allowed {longest_s:g} s (longest_s); push the {other} first"
            )

    def _hear(self, samples: np.ndarray = NOTHING) -> None:
        """Filter what waits, and these samples, and keep the sound."""
        self._memory.hear(*self._front.push(samples))

    def _lose(self, missing: int, dtype: np.dtype[Any]) -> None:
        """Put silence where sound was lost, and remember that it is none."""
        begin_s = self.audio_s
        self._hear()
        self._hear(np.zeros(missing, dtype))
        self._memory.lost_s.append((begin_s, self.audio_s))

    def _go_on(self) -> tuple[Event, ...]:
        """Take every look that both streams have reached."""
        log_s = self._log_s
        if self._course.due_s(self._now, log_s, self.audio_s) is not None:
            self._hear()
        now = self._course.go_on(self._now, log_s, self.audio_s)
        shift_s = self._course.shift_s(now)
        # Before the first row the log is where the sound began, whatever the lag.
        rows_s = log_s - shift_s if self._last_row else 0.0
        apart_s = abs(rows_s - self.audio_s)
        if apart_s > LOST_S and not self._behind and self._announce:
            reached_s = min(rows_s, self.audio_s)
            lost = seen(EventKind.SIGNAL_LOST, reached_s, reached_s, now.level_mmhg)
            now = replace(now, events=(*now.events, in_audio_time(lost, 0.0)))
        # Told once: again only after the one has caught up with the other.
        self._behind = apart_s > (LOST_S / 2 if self._behind else LOST_S)
        self._now = now
        return self.events()
