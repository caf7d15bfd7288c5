"""The line of progress: on a terminal alone, and gone at the end."""

from __future__ import annotations

import io
import sys

import pytest

from tapfall.cli.progress import progress, show


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_is_told_where_nobody_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    for place in (io.StringIO(), None):
        monkeypatch.setattr(sys, "stderr", place)
        with progress(4, "items") as told:
            assert told is None
        show("said into the void")


def test_a_terminal_sees_how_far_it_is_and_then_a_clear_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with pytest.raises(KeyboardInterrupt), progress(4, "items") as told:
        assert told is not None
        told(1)
        told(2)
        raise KeyboardInterrupt
    lines = screen.getvalue().split("\r")
    assert [line[:40].strip() for line in lines if "of" in line] == [
        "|======                  | 1 of 4 items,",
        "|============            | 2 of 4 items,",
    ]
    # What remains in the line is blank, and the next word begins at its left edge.
    assert lines[-1] == ""
    assert lines[-2].strip() == ""
    assert len(lines[-2]) >= max(map(len, lines))
