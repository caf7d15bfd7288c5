"""Worker processes of one machine, each by itself: one that dies loses one recording.

A pool of the standard library breaks as a whole when one of its processes dies, and does
not say whose task it was.  Here every process is a pool of its own, replaced when it breaks.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import Connection
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

#: One thread for each process: they share the cores among them, not within them.
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


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
        self._pools: list[ProcessPoolExecutor | None] = [None] * workers
        self._held = [0] * workers
        self._lock = threading.Lock()

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
        self._writer.close()
        self._reader.close()

    def _release(self, slot: int) -> None:
        with self._lock:
            self._held[slot] -= 1

    def _submitted(self, slot: int, fn: Any, *args: Any, **kwargs: Any) -> Future[Any]:
        with _one_thread_each():  # the process is started by the first task
            for _ in range(2):
                pool = self._pools[slot]
                if pool is None:
                    pool = self._pools[slot] = ProcessPoolExecutor(
                        1, self._context, initializer=_begin, initargs=(self._reader,)
                    )
                try:
                    return pool.submit(fn, *args, **kwargs)
                except BrokenExecutor:
                    pool.shutdown(wait=True)
                    self._pools[slot] = None
        raise BrokenExecutor("a worker process cannot be started")


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Set what a process that starts now will inherit."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _begin(reader: Connection) -> None:
    """Ready a worker: it leaves Ctrl-C to the study, and ends when the study does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(reader,), daemon=True).start()


def _end_with(reader: Connection) -> None:
    try:
        reader.recv_bytes()  # nothing is ever sent
    except (EOFError, OSError):
        os._exit(1)
