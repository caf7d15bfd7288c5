"""Bytes that come in while something else goes on: descriptors, threads, signals.

Each input has a thread of its own that reads ahead into a bounded store, so that neither
blocks the other; where the store is full, the rest stays with the sender.
"""

from __future__ import annotations

import os
import signal
import stat
import threading
from pathlib import Path

from tapfall.errors import CuffLogError, InputError, printable

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType
    from typing import Any, Self

#: How often a wait looks whether it was asked to stop (our choice).
GLANCE_S = 0.1

_CUFF = "a file, a named pipe or fd:N (an open descriptor, 3 or higher)"


class Stopping:
    """The first SIGINT, SIGTERM or SIGHUP asks to end; a second one ends at once.

    A SIGHUP that was ignored stays so (``nohup``).  It is entered in the main thread; elsewhere
    no signal arrives, and none is caught.
    """

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            hang_up = getattr(signal, "SIGHUP", None)  # not on Windows
            numbers = [signal.SIGINT, signal.SIGTERM]
            if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:
                numbers.append(hang_up)
            for number in numbers:
                self._before[number] = signal.signal(number, self._ask)
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _ask(self, _number: int, _frame: FrameType | None) -> None:
        self.asked = True
        # Not what was there before: a shell may have had SIGINT ignored.
        for number in self._before:
            interrupt = number == signal.SIGINT
            signal.signal(number, signal.default_int_handler if interrupt else signal.SIG_DFL)


class Intake:
    """Reads a descriptor in a thread, and never holds more than it may.

    Parameters
    ----------
    label
        Its name, for messages.
    opened
        Returns the descriptor; it is called in the thread, for the opening of a named
        pipe waits for its writer.
    most_bytes
        What is held at most.
    changed
        Notified whenever something came.
    """

    def __init__(
        self,
        label: str,
        opened: Callable[[], int],
        most_bytes: int,
        changed: threading.Condition,
    ) -> None:
        self.label = label
        self._opened, self._most, self._changed = opened, most_bytes, changed
        self._held = bytearray()
        self._over = self._closed = False
        self._fault: OSError | None = None
        # A thread that waits for bytes that never come ends with the process.
        threading.Thread(target=self._read, name=label, daemon=True).start()

    @property
    def size(self) -> int:
        """Bytes held."""
        return len(self._held)

    @property
    def over(self) -> bool:
        """Whether no more bytes will come than are held.

        Raises
        ------
        InputError
            Reading has failed.
        """
        if self._fault is not None and not self._held:
            raise InputError(
                f"{self.label}: cannot be read ({self._fault.strerror}); allowed an open stream"
            )
        return self._over

    def take(self, most: int) -> bytes:
        """Return the first bytes held, at most so many."""
        with self._changed:
            data = bytes(self._held[:most])
            del self._held[:most]
            self._changed.notify_all()
        return data

    def close(self) -> None:
        """Read no more."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def _read(self) -> None:
        fault: OSError | None = None
        try:
            descriptor = self._opened()
            os.set_blocking(descriptor, True)
            while self._take_in(descriptor):
                pass
        except OSError as found:
            fault = found
        with self._changed:
            self._fault, self._over = fault, True
            self._changed.notify_all()

    def _take_in(self, descriptor: int) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._closed or len(self._held) < self._most)
            room = self._most - len(self._held)
        data = b"" if self._closed else os.read(descriptor, room)
        with self._changed:
            self._held += data
            self._changed.notify_all()
        return bool(data)


def standard_input() -> int:
    """Return the descriptor of standard input.

    Raises
    ------
    InputError
        It is closed, or a terminal.
    """
    try:
        if os.isatty(0):
            raise InputError(
                "standard input: found a terminal; allowed raw sound, from a pipe or a file"
            )
        os.fstat(0)
    except OSError:
        raise InputError("standard input: found it closed; allowed raw sound") from None
    return 0


def cuff_place(name: str) -> Callable[[], int]:
    """Return what opens the cuff log: a path, or ``fd:3`` for a descriptor that is open.

    Raises
    ------
    CuffLogError
        There is no such file or descriptor, or it cannot hold a log.
    """
    label = printable(name) or "''"
    if name.startswith("fd:"):
        number = name.removeprefix("fd:")
        if not (number.isascii() and number.isdigit() and len(number) < 7 and int(number) > 2):
            raise CuffLogError(f"{label}: found no descriptor; allowed {_CUFF}")
        try:
            os.fstat(int(number))
        except OSError:
            raise CuffLogError(f"{label}: found it closed; allowed {_CUFF}") from None
        return lambda: int(number)
    if not name:
        raise CuffLogError(f"{label}: found an empty name; allowed {_CUFF}")
    try:
        status = Path(name).stat()
    except FileNotFoundError:
        raise CuffLogError(f"{label}: found no such file; allowed {_CUFF}") from None
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise CuffLogError(f"{label}: cannot be opened ({reason}); allowed {_CUFF}") from None
    if stat.S_ISDIR(status.st_mode):
        raise CuffLogError(f"{label}: found a folder; allowed {_CUFF}")
    return lambda: os.open(name, os.O_RDONLY | os.O_CLOEXEC)
