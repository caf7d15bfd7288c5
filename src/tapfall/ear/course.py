"""The course of a stream: look by look, measurement after measurement.

A *look* is a step on the time that both streams have reached.  What is known is a frozen
:class:`Now`; each look returns the next one.  Only the :class:`Memory` of sound and rows
is changed in place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tapfall.ear import live as lives
from tapfall.ear.flags import with_flag
from tapfall.ear.hand import LOOK_S, STILL_S, Hand
from tapfall.ear.lag import LARGEST_LAG_S
from tapfall.ear.live import Live
from tapfall.ear.measurement import REST_S, Rows, measurements, rest_ends
from tapfall.ear.memory import AFTER_S, BEFORE_S, Memory
from tapfall.ear.reader import Judged, look_into
from tapfall.events import Event, EventKind
from tapfall.model import Flag, Reading, Reason, Settings

#: A hole of so long in the log is told as lost signal (our choice).
LOST_S = 5.0
#: A lag found beyond this becomes the middle of the next search, which reaches 2 s either
#: way: so the clocks of a night may run apart.
CENTRE_BEYOND_S = 1.0
#: Two clocks run apart by so much at most (the project's bound).
APART_PPM = 200.0
#: Readings so flagged tell no lag: two fit, or a log without pulses shows none.
LAG_UNKNOWN = frozenset({Flag.LAG_UNCERTAIN, Flag.COARSE_CUFF_LOG})


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """What is known between two looks; times are log time.

    ``look_s`` is the next look, ``rest_since_s`` since when the cuff rests, ``skipping`` while
    rows of a measurement longer than allowed go by, ``run_up`` after an inflation and release
    alone.  ``centre_s`` is the lag around which is searched, ``lag_s`` the last one that was
    clear and ``lag_known_s`` its time.  ``live`` is the measurement under way, ``level_mmhg``
    the pressure of the last look, ``latest`` the last reading, ``ready`` and ``events`` what
    was not handed over yet.
    """

    look_s: float | None = None
    rest_since_s: float | None = None
    skipping: bool = False
    run_up: bool = False
    centre_s: float = 0.0
    lag_s: float = 0.0
    lag_known_s: float | None = None
    live: Live | None = None
    level_mmhg: float = 0.0
    latest: Reading | None = None
    ready: tuple[Reading, ...] = ()
    events: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """The laws of a stream: its settings, whether events are told, and its memory."""

    settings: Settings
    announce: bool
    memory: Memory

    def shift_s(self, now: Now) -> float:
        """Log time minus audio time, as far as it is known."""
        return now.centre_s if self.settings.lag_s is None else self.settings.lag_s

    def due_s(self, now: Now, log_s: float, audio_s: float) -> float | None:
        """When the next look is, where both streams have reached it."""
        reached_s = min(log_s, audio_s + self.shift_s(now))
        return None if now.look_s is None or now.look_s > reached_s else now.look_s

    def go_on(self, now: Now, log_s: float, audio_s: float) -> Now:
        """Take every look that both streams have reached; no sound waits to be kept."""
        step_s = LOOK_S if self.announce else REST_S
        while (due_s := self.due_s(now, log_s, audio_s)) is not None:
            now = replace(self._look(now, due_s), look_s=due_s + step_s)
        return now

    def end(self, now: Now, log_s: float, audio_s: float) -> Now:
        """Read what is under way, both streams being over."""
        if now.skipping:
            return now
        at_s = min(log_s, audio_s + self.shift_s(now))
        return self._read_ended(now, self.memory.log_s.size, at_s, final=True)[0]

    def snapshot(self, now: Now) -> Reading | None:
        """The reading if both streams ended here, ``None`` while nothing has fallen.

        The reading before is not that of a cuff that is inflated: it may be another person's.
        """
        found = [] if now.skipping else self._measurements(self.memory.log_s.size)
        for one in reversed(found):
            reading = self._judged(now, one, math.inf).reading
            if Reason.NO_DEFLATION not in reading.reasons:
                # What was told live is told of the last measurement.
                return self._closed(now, reading)[0] if one is found[-1] else reading
            if not one.rested:
                return None
        return now.latest

    def _look(self, now: Now, at_s: float) -> Now:
        """One look at what both streams hold up to a log time."""
        memory = self.memory
        rows = int(np.searchsorted(memory.log_s, at_s, side="right"))
        if now.lag_known_s is None:
            # Streams that start together are in step as far as the search reaches.
            now = replace(now, lag_known_s=at_s)
        if now.skipping:
            now, rows = self._skip(now, rows)
        if self.announce:
            now = self._tell_lost(now, at_s)
        now, pending, rows = self._read_ended(now, rows, at_s)
        if pending is not None and self.announce:
            now = self._follow(now, pending, rows, at_s)
        keep_s = at_s - REST_S if pending is None else float(memory.log_s[pending.begin])
        keep_s -= BEFORE_S
        past = int(np.searchsorted(memory.log_s, keep_s))
        memory.drop_rows(min(past, pending.begin) if pending else past)
        memory.forget_before(keep_s - self.shift_s(now) - AFTER_S, keep_s)
        return now

    def _tell_lost(self, now: Now, at_s: float) -> Now:
        """Tell of sound that was declared lost since the last look."""
        shift_s = self.shift_s(now)
        lost = tuple(
            lives.in_audio_time(
                lives.seen(EventKind.SIGNAL_LOST, begin_s + shift_s, at_s, now.level_mmhg), shift_s
            )
            for begin_s, _ in self.memory.lost_s
            if at_s - LOOK_S <= begin_s + shift_s < at_s
        )
        return replace(now, events=now.events + lost) if lost else now

    def _skip(self, now: Now, rows: int) -> tuple[Now, int]:
        """Drop rows of a measurement that was cut short, up to its rest; rows left."""
        times, pressures = self.memory.log_s[:rows], self.memory.log_mmhg[:rows]
        ended, since_s = rest_ends(times, pressures, now.rest_since_s)
        drop = rows if ended is None else ended + 1
        self.memory.drop_rows(drop)
        return replace(now, rest_since_s=since_s, skipping=ended is None), rows - drop

    def _measurements(self, rows: int) -> list[Rows]:
        """Measurements among the first rows kept."""
        memory = self.memory
        return measurements(memory.log_s[:rows], memory.log_mmhg[:rows], self.settings.longest_s)

    def _read_ended(
        self, now: Now, rows: int, at_s: float, *, final: bool = False
    ) -> tuple[Now, Rows | None, int]:
        """Read every measurement that is over; the one that is not, and the rows left."""
        memory = self.memory
        pending: Rows | None = None
        done = 0
        for one in self._measurements(rows):
            heard = at_s >= float(memory.log_s[one.stop - 1]) + AFTER_S
            if not (final or ((one.rested or one.cut_short) and heard)):
                pending = one
                break
            now, done = self._read(now, one, at_s), one.end
            if one.cut_short and not one.rested:
                # What lies beyond the cut is dropped up to the rest that ends it.
                held = slice(one.begin, one.stop)
                _, since_s = rest_ends(memory.log_s[held], memory.log_mmhg[held], None)
                now, done = replace(now, skipping=True, rest_since_s=since_s), one.stop
        memory.drop_rows(done)
        rows -= done
        if now.skipping:
            now, rows = self._skip(now, rows)
        return now, None if pending is None else pending.later(done), rows

    def _read(self, now: Now, one: Rows, at_s: float) -> Now:
        """The reading of a measurement that is over."""
        reading = self._judged(now, one, math.inf).reading
        if Reason.NO_DEFLATION in reading.reasons:
            # An inflation and release alone is a palpatory run-up.
            return replace(now, live=None, run_up=not one.cut_short)
        reading, more = self._closed(now, reading, at_s)
        lag = reading.lag
        if lag is not None and lag.estimated and not LAG_UNKNOWN.intersection(reading.flags):
            far = abs(lag.seconds - now.centre_s) > CENTRE_BEYOND_S
            known_s = float(self.memory.log_s[one.begin])
            now = replace(now, lag_s=lag.seconds, lag_known_s=known_s)
            now = replace(now, centre_s=lag.seconds) if far else now
        ready = (*now.ready, reading)
        return replace(
            now,
            live=None,
            run_up=False,
            latest=reading,
            ready=ready,
            events=now.events + more,
        )

    def _closed(
        self, now: Now, reading: Reading, at_s: float = 0.0
    ) -> tuple[Reading, tuple[Event, ...]]:
        """A reading, flagged where it breaks what was promised of it, and the last events."""
        if now.live is None:
            return reading, ()
        revised, events = lives.end(now.live, reading, at_s, self.shift_s(now))
        return (with_flag(reading, Flag.REVISED) if revised else reading), events

    def _follow(self, now: Now, one: Rows, rows: int, at_s: float) -> Now:
        """Follow the measurement under way: hand, hold, provisional judgement."""
        log_s, log_mmhg = self.memory.log_s[:rows], self.memory.log_mmhg[:rows]
        shift_s = self.shift_s(now)
        live, level_mmhg = now.live, now.level_mmhg
        events: list[Event] = []
        if live is None:
            begin_s, level_mmhg = float(log_s[one.begin]), float(log_mmhg[one.begin])
            live = Live(hand=Hand(begin_s=begin_s))
            events.append(lives.seen(EventKind.INFLATION_STARTED, begin_s, at_s, level_mmhg))
        recent = int(np.searchsorted(log_s, at_s - LOOK_S, side="right"))
        silent_s = at_s - float(log_s[-1])
        if silent_s > LOST_S >= silent_s - LOOK_S:
            last_s, last_mmhg = float(log_s[-1]), float(log_mmhg[-1])
            events.append(lives.seen(EventKind.SIGNAL_LOST, last_s, at_s, last_mmhg))
        if recent < rows:
            level_mmhg = float(np.mean(log_mmhg[recent:]))
        else:
            # The last pressure, kept so long, would be a stop, and its end a release.
            inside_mmhg = self.memory.in_hole(rows, at_s, STILL_S)
            level_mmhg = level_mmhg if inside_mmhg is None else inside_mmhg
        earlier_mmhg = now.latest.systolic.mmhg if now.latest else None
        live, more = lives.look(live, at_s, level_mmhg, earlier_mmhg)
        events += more
        if lives.hold_is_due(live, at_s):
            record = self.memory.record(one.begin, rows, shift_s, at_s)
            live, more = lives.hear_hold(live, record, at_s)
            events += more
        heard = tuple(lives.in_audio_time(event, shift_s) for event in events)
        if lives.judgement_is_due(live, at_s):
            here = replace(one, stop=rows, end=rows)
            live, more = lives.hear_judged(live, self._judged(now, here, at_s), at_s, shift_s)
            heard += more
        return replace(now, live=live, level_mmhg=level_mmhg, events=now.events + heard)

    def _judged(self, now: Now, rows: Rows, end_s: float) -> Judged:
        """Cut the record of one measurement by times alone, and judge it."""
        record = self.memory.record(rows.begin, rows.stop, self.shift_s(now), end_s)
        under_way = math.isfinite(end_s)
        since_s = float(self.memory.log_s[rows.begin]) - (now.lag_known_s or 0.0)
        strayed_s = abs(now.lag_s - now.centre_s) + 1e-6 * APART_PPM * since_s
        judged = look_into(
            record,
            self.settings,
            now.centre_s,
            under_way=under_way,
            astray=now.lag_known_s is not None and strayed_s > LARGEST_LAG_S,
        )
        if not now.run_up:
            return judged
        return replace(judged, reading=with_flag(judged.reading, Flag.PALPATORY_RUN_UP))
