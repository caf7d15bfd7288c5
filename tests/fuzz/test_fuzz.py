"""A few damaged files into every reader; ``python -m tests.fuzz`` puts in as many as wanted."""

from __future__ import annotations

import pytest

from tests.fuzz.__main__ import SLOWEST_S, run
from tests.fuzz.readers import readers

READERS = readers()


@pytest.mark.parametrize("name", list(READERS))
def test_damaged_files_are_read_or_refused(name: str) -> None:
    wrong, slowest = run(name, READERS[name], 80, seed=7)
    assert wrong == 0
    assert slowest < 10 * SLOWEST_S  # a hang, not a slow machine


@pytest.mark.parametrize("name", list(READERS))
def test_whole_files_are_read(name: str, tmp_path) -> None:
    # Else every damaged file would be refused for what the whole one lacks.
    READERS[name].lay(tmp_path)
    for number, whole in enumerate(READERS[name].wholes):
        path = tmp_path / f"{number}{READERS[name].suffix}"
        path.write_bytes(whole)
        READERS[name].read(path)
