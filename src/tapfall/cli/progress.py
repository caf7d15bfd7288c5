"""How far long work is: one line on standard error, on a terminal only."""

from __future__ import annotations

import sys
from contextlib import contextmanager

from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

#: Columns of the bar (our choice).
BAR = 24


def left_text(left_s: float) -> str:
    """Say how long work will take.

    Examples
    --------
    >>> left_text(42.0), left_text(130.0)
    ('less than a minute left', 'about 3 minutes left')
    """
    if left_s < 60:
        return "less than a minute left"
    minutes = -(-left_s // 60)
    if minutes <= 90:
        return f"about {minutes:.0f} minutes left"
    return f"about {minutes / 60:.1f} hours left"


def bar(done: int, total: int) -> str:
    """Return how much is done as a bar.

    Examples
    --------
    >>> bar(6, 24)
    '|======                  |'
    """
    full = round(BAR * done / total) if total else BAR
    return f"|{'=' * full}{' ' * (BAR - full)}|"


def show(text: str) -> None:
    """Write over the line of before; an empty text clears it."""
    if sys.stderr is not None:
        sys.stderr.write(f"\r{text:<{WIDTH - 2}}" + ("" if text else "\r"))
        sys.stderr.flush()


@contextmanager
def progress(total: int, noun: str) -> Iterator[Callable[[int], None] | None]:
    """Give what is to be told the number done so far; the line is gone at the end."""
    import time

    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    began_s = time.monotonic()

    def told(done: int) -> None:
        took_s = time.monotonic() - began_s
        left = left_text(took_s / max(done, 1) * (total - done))
        show(f"{bar(done, total)} {done} of {total} {noun}, {left}")

    try:
        yield told
    finally:
        show("")
