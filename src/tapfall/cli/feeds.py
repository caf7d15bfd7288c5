"""What ``tapfall listen`` hears: two inputs, one of interleaved frames, or a recording.

Each feed yields pieces of sound and rows, in order, until its input is over or it is
asked to stop.  A fault is raised after what had come before it.
"""

from __future__ import annotations

import math
import threading
import time

from tapfall.cli.pacing import FURTHEST_S, LEAD_S, TAIL_S, Standing, Step, Supply, choose
from tapfall.cli.streams import GLANCE_S, Intake, Stopping
from tapfall.errors import AudioError, CuffLogError, InputError
from tapfall.files.cufflines import CuffLines
from tapfall.files.pcm import Frames, Piece
from tapfall.wording import counted

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tapfall.model import Recording

#: Sound is pushed in pieces of so long (our choice: as often as the listener looks).
PIECE_S = 0.25
#: Sound that is held while the output is slow to take a line (our choice).
HELD_S = 10.0
#: Bytes of a cuff log that are held: some hundred rows (our choice).
HELD_LOG_BYTES = 8192

_SOUND = "standard input"


class Sound:
    """Raw sound on standard input."""

    def __init__(
        self,
        opened: Callable[[], int],
        frames: Frames,
        rate_hz: float,
        changed: threading.Condition,
    ) -> None:
        self.frames, self._rate_hz = frames, rate_hz
        self._piece_bytes = max(1, round(PIECE_S * rate_hz)) * frames.frame_bytes
        most = round(HELD_S * rate_hz) * frames.frame_bytes
        self._intake = Intake(_SOUND, opened, most, changed)

    @property
    def reached_s(self) -> float:
        """Audio time taken."""
        return self.frames.samples / self._rate_hz

    @property
    def supply(self) -> Supply:
        """Whether there is sound, or more is to come.

        Raises
        ------
        InputError
            All that came before a fault was taken.
        """
        self.frames.check()
        if self._intake.size + self.frames.bytes_over >= self.frames.frame_bytes:
            return Supply.HELD
        return Supply.OVER if self._intake.over else Supply.AWAITED

    def take(self) -> Piece:
        """Return the next piece."""
        return self.frames.take(self._intake.take(self._piece_bytes))

    def close(self) -> None:
        """Take in no more."""
        self._intake.close()

    def notes(self) -> list[str]:
        """Say what was dropped at the end."""
        count = self._intake.size + self.frames.bytes_over
        if self.supply is not Supply.OVER or not count:
            return []
        lost = counted(count, "byte")
        return [f"{_SOUND}: dropped the last {lost}; a frame is {self.frames.frame_bytes} bytes"]

    def check(self) -> None:
        """Raise where no sound came at all."""
        if self.frames.samples == 0:
            raise AudioError(f"{_SOUND}: found no sound; allowed raw samples")


class Interleaved:
    """Sound and cuff pressure in the frames of standard input."""

    def __init__(self, opened: Callable[[], int], frames: Frames, rate_hz: float) -> None:
        self._changed = threading.Condition()
        self._sound = Sound(opened, frames, rate_hz, self._changed)

    def pieces(self, stopping: Stopping) -> Iterator[Piece]:
        """Yield what comes, until it is over."""
        try:
            while True:
                with self._changed:
                    while self._sound.supply is Supply.AWAITED and not stopping.asked:
                        self._changed.wait(GLANCE_S)
                if self._sound.supply is not Supply.HELD:
                    break
                yield self._sound.take()
        finally:
            self._sound.close()
        if not stopping.asked:
            self._sound.check()
        yield self._sound.frames.end()
        self._sound.frames.check()

    def notes(self) -> list[str]:
        """Say what was dropped at the end."""
        return self._sound.notes()


class Separate:
    """Sound on standard input, the lines of the cuff log somewhere else.

    ``lag_s`` is log time minus audio time as far as it is known, else 0.
    """

    def __init__(
        self,
        opened: Callable[[], int],
        frames: Frames,
        rate_hz: float,
        *,
        cuff_label: str,
        cuff_opened: Callable[[], int],
        lag_s: float,
    ) -> None:
        self._changed = threading.Condition()
        self._sound = Sound(opened, frames, rate_hz, self._changed)
        self._label, self._lag_s = cuff_label, lag_s
        self._cuff = Intake(cuff_label, cuff_opened, HELD_LOG_BYTES, self._changed)
        self._lines = CuffLines(cuff_label)
        self._lines_over = False
        self._bytes_dropped = 0
        self._log_s: float | None = None
        self._began_s = time.monotonic()
        self._waited_s = 0.0

    def pieces(self, stopping: Stopping) -> Iterator[Piece]:
        """Yield what comes, until both are over; after a fault what the other one holds."""
        fault: InputError | None = None
        try:
            yield from self._side_by_side(stopping)
        except InputError as found:
            fault = found
        self._sound.close()
        self._cuff.close()
        if fault is None and not stopping.asked:
            return
        # Beyond what a reading needs, sound without its rows would look like a loss.
        until_s = math.inf if fault is None else (self._log_s or 0.0) + TAIL_S
        for left in (self._sound_left(until_s), self._rows_left()):
            try:
                yield from left
            except InputError as found:
                fault = fault or found
        if fault is not None:
            raise fault

    def _side_by_side(self, stopping: Stopping) -> Iterator[Piece]:
        while not stopping.asked:
            now = self._standing()
            if now.sound is Supply.OVER:
                self._sound.check()
            step = choose(now)
            if step is Step.END:
                if self._lines.rows_seen == 0:
                    raise CuffLogError(
                        f"{self._label}: found no rows; allowed lines of time_s,mmHg"
                    )
                return
            if step is Step.WAIT:
                self._wait(now)
            elif step is Step.SOUND:
                yield self._sound.take()
            elif step is Step.ROWS:
                yield self._rows(self._sound.reached_s + self._lag_s + LEAD_S)
            else:
                raise self._starved(step)

    def notes(self) -> list[str]:
        """Say what was dropped at the end."""
        notes = self._sound.notes()
        if self._bytes_dropped:
            notes.append(f"{self._label}: dropped the last line, which has no line end")
        return notes

    def _standing(self) -> Standing:
        row_s = self._next_row_s()
        cuff = Supply.OVER if self._lines_over else Supply.AWAITED
        return Standing(
            sound=self._sound.supply,
            cuff=cuff if row_s is None else Supply.HELD,
            sound_s=self._sound.reached_s + self._lag_s,
            log_s=self._log_s or 0.0,
            row_s=row_s,
            wall_s=time.monotonic() - self._began_s + self._lag_s,
            waited_s=self._waited_s,
        )

    def _next_row_s(self) -> float | None:
        """Time of the next row, of what has come."""
        while (row_s := self._lines.next_s) is None and not self._lines_over:
            if self._cuff.size:
                self._lines.take(self._cuff.take(HELD_LOG_BYTES))
            elif self._cuff.over:
                self._bytes_dropped = self._lines.end()
                self._lines_over = True
            else:
                return None
        furthest_s = self._sound.reached_s + self._lag_s + FURTHEST_S
        if self._log_s is None and row_s is not None and row_s > furthest_s:
            raise CuffLogError(
                f"{self._label}: found a first time_s of {row_s:.10g}, far from the sound's; "
                "allowed times on the clock of the sound, from 0 at its first sample"
            )
        return row_s

    def _rows(self, until_s: float) -> Piece:
        times, pressures = self._lines.rows_until(until_s)
        if times.size:
            self._log_s = float(times[-1])
        none = self._sound.frames.take(b"").samples
        return Piece(samples=none, time_s=times, pressure_mmhg=pressures)

    def _wait(self, now: Standing) -> None:
        """Wait until something comes, or for a glance."""
        begin_s = time.monotonic()
        with self._changed:
            # What came since the standing was taken is not waited for.
            if self._sound.supply is now.sound and not (now.row_s is None and self._cuff.size):
                self._changed.wait(GLANCE_S)
        if Supply.OVER in (now.sound, now.cuff):
            self._waited_s += time.monotonic() - begin_s

    def _sound_left(self, until_s: float) -> Iterator[Piece]:
        """Yield the sound that had come and was not taken, up to a log time."""
        while self._sound.reached_s + self._lag_s < until_s and self._sound.supply is Supply.HELD:
            yield self._sound.take()

    def _rows_left(self) -> Iterator[Piece]:
        """Yield the rows that had come and were not taken, as far as the sound got."""
        until_s = self._sound.reached_s + self._lag_s + LEAD_S
        while (row_s := self._next_row_s()) is not None and row_s <= until_s:
            yield self._rows(until_s)

    def _starved(self, step: Step) -> InputError:
        log = "nowhere" if self._log_s is None else f"to {self._log_s:.1f} s"
        reached = f"the sound has got to {self._sound.reached_s:.1f} s, the log {log}"
        if step is Step.NO_ROWS:
            return CuffLogError(
                f"{self._label}: found no more rows: {reached}; allowed rows also at rest, at most "
                f"{FURTHEST_S:g} s behind"
            )
        return AudioError(
            f"{_SOUND}: found no more sound: {reached}; allowed sound at most "
            f"{FURTHEST_S:g} s behind"
        )


class Replay:
    """A recording, in the order of time.

    ``speed`` is 1 for real time, None for as fast as can be.
    """

    def __init__(self, recording: Recording, *, lag_s: float, speed: float | None) -> None:
        self._recording, self._lag_s, self._speed = recording, lag_s, speed

    def pieces(self, stopping: Stopping) -> Iterator[Piece]:
        """Yield piece after piece, until both sound and log are over."""
        recording = self._recording
        log_s, mmhg = recording.cuff.time_s, recording.cuff.pressure_mmhg
        rate_hz, count = recording.rate_hz, len(recording.samples)
        step = max(1, round(PIECE_S * rate_hz))
        began_s = time.monotonic()
        row = 0
        for begin in range(0, count, step):
            if begin / rate_hz + self._lag_s > float(log_s[-1]) + TAIL_S:
                return
            end = min(begin + step, count)
            self._wait_until(began_s, end / rate_hz, stopping)
            if stopping.asked:
                return
            # The last piece brings what the log says beyond the sound.
            until_s = end / rate_hz + self._lag_s + (FURTHEST_S if end == count else 0.0)
            stop = int(log_s.searchsorted(until_s, side="right"))
            yield Piece(
                samples=recording.samples[begin:end],
                time_s=log_s[row:stop],
                pressure_mmhg=mmhg[row:stop],
            )
            row = stop

    def notes(self) -> list[str]:
        """Nothing of a recording is dropped."""
        return []

    def _wait_until(self, began_s: float, at_s: float, stopping: Stopping) -> None:
        while self._speed is not None and not stopping.asked:
            left_s = began_s + at_s / self._speed - time.monotonic()
            if left_s <= 0.0:
                return
            time.sleep(min(left_s, GLANCE_S))
