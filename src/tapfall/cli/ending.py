"""Being asked to end while something is written: what is half done is cleared away or ended."""

from __future__ import annotations

from contextlib import contextmanager

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import FrameType


@contextmanager
def cleared_up(names: Sequence[str] = ("SIGTERM", "SIGHUP")) -> Iterator[None]:
    """Take signals as Ctrl-C is taken, so that work clears up after itself.

    A signal that was ignored stays so (``nohup``); a second one does not stop the clearing up.
    It is entered in the main thread; elsewhere no signal arrives, and none is caught.

    Examples
    --------
    >>> import signal
    >>> with cleared_up():
    ...     caught = callable(signal.getsignal(signal.SIGTERM))
    >>> caught, signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    (True, True)
    """
    import signal
    import threading

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    numbers = [getattr(signal, name, None) for name in names]  # not all on Windows

    def end(_number: int, _frame: FrameType | None) -> None:
        for one in before:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {
        one: signal.getsignal(one)
        for one in numbers
        if one is not None and signal.getsignal(one) is not signal.SIG_IGN
    }
    for one in before:
        signal.signal(one, end)
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
