"""Processes of tests that are to be ended by a signal."""

from __future__ import annotations

import signal


def heed_interrupts() -> None:
    """For ``preexec_fn``: a shell's background jobs, and all they start, ignore SIGINT."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
