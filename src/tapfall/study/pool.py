"""Worker processes of one machine, each by itself: one that dies loses one recording.

A pool of the standard library breaks as a whole when one of its processes dies, and does
not say whose task it was.  Here every process is a pool of its own, replaced when it breaks.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import process
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from tapfall.errors import MisuseError

P = ParamSpec("P")
T = TypeVar("T")

#: What a script lacks whose workers end before they begin, or before any result.
UNGUARDED = (
    "no worker process came to a result; allowed, in a script, a call of run below "
    'if __name__ == "__main__": alone, for each worker runs the script again (or an executor '
    "of threads); nothing was recorded as failed"
)

#: One thread for each process: they share the cores among them, not within them.
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
#: Names, to a worker, the process whose worker it is.
_WORKER_OF = "TAPFALL_STUDY_WORKER_OF"


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def can_spawn() -> bool:
    """Whether a worker process could run the main module again: not one from standard input."""
    main = sys.modules.get("__main__")
    name = getattr(main, "__file__", None)
    if name is None or getattr(main, "__spec__", None) is not None:
        return True
    started_in = getattr(process, "ORIGINAL_DIR", None) or ""
    return Path(started_in, name).is_file()


def refuse_again() -> None:
    """Refuse to begin where a worker process runs the script of its own study again.

    Raises
    ------
    MisuseError
        It does; a worker of a study ends without a word instead, for the study tells it once.
    """
    # Also what the standard library asks before it refuses to start processes there.
    if not getattr(multiprocessing.current_process(), "_inheriting", False):
        return
    if os.environ.get(_WORKER_OF) == str(os.getppid()):
        raise SystemExit(1)
    raise MisuseError(UNGUARDED)


class ThisProcess(Executor):
    """No workers: each task is done as it is handed in."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Do a task."""
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as fault:
            future.set_exception(fault)
        return future


class LocalPool(Executor):
    """Worker processes of this machine.

    Parameters
    ----------
    workers
        How many, at least 1.
    """

    def __init__(self, workers: int) -> None:
        self._context = multiprocessing.get_context("spawn")
        # Closed when this process ends, however it ends: the workers then end too.
        self._reader, self._writer = self._context.Pipe(duplex=False)
        self._news, self._begun_writer = self._context.Pipe(duplex=False)
        self._begun = False
        self._pools: list[ProcessPoolExecutor | None] = [None] * workers
        self._held = [0] * workers
        self._lock = threading.Lock()

    def begun(self) -> bool:
        """Whether any worker came as far as to take a task."""
        while self._news.poll():
            self._news.recv_bytes()
            self._begun = True
        return self._begun

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Hand a task to the worker with the fewest."""
        with self._lock:
            slot = self._held.index(min(self._held))
            self._held[slot] += 1
        future = self._submitted(slot, fn, *args, **kwargs)
        future.add_done_callback(lambda _: self._release(slot))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the workers after their tasks."""
        for pool in self._pools:
            if pool is not None:
                pool.shutdown(wait=wait, cancel_futures=cancel_futures)
        if wait:
            self._close()

    def kill(self) -> None:
        """End the workers at once, whatever they are doing."""
        self._close()
        self.shutdown(wait=True, cancel_futures=True)

    def _close(self) -> None:
        for end in (self._writer, self._reader, self._begun_writer, self._news):
            end.close()

    def _release(self, slot: int) -> None:
        with self._lock:
            self._held[slot] -= 1

    def _submitted(self, slot: int, fn: Any, *args: Any, **kwargs: Any) -> Future[Any]:
        with _as_worker():  # the process is started by the first task
            for _ in range(2):
                pool = self._pools[slot]
                if pool is None:
                    pool = self._pools[slot] = ProcessPoolExecutor(
                        1,
                        self._context,
                        initializer=_begin,
                        initargs=(self._reader, self._begun_writer),
                    )
                try:
                    return pool.submit(fn, *args, **kwargs)
                except BrokenExecutor:
                    pool.shutdown(wait=True)
                    self._pools[slot] = None
        raise BrokenExecutor("a worker process cannot be started")


@contextmanager
def _as_worker() -> Iterator[None]:
    """Set what a process that starts now will inherit."""
    inherited = {**dict.fromkeys(_ONE_THREAD, "1"), _WORKER_OF: str(os.getpid())}
    before = {name: os.environ.get(name) for name in inherited}
    os.environ.update(inherited)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _begin(reader: Connection, begun: Connection) -> None:
    """Ready a worker: it leaves Ctrl-C to the study, and ends when the study does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    begun.send_bytes(b"1")
    begun.close()
    threading.Thread(target=_end_with, args=(reader,), daemon=True).start()


def _end_with(reader: Connection) -> None:
    try:
        reader.recv_bytes()  # nothing is ever sent
    except (EOFError, OSError):
        os._exit(1)
