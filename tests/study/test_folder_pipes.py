"""A pipe in the folder of a study is refused; it would be waited for without end."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tapfall.errors import InputError
from tapfall.study.folder import READ, READINGS, RESULTS, Before, intact, read_before


def test_results_that_are_a_pipe_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / RESULTS)
    with pytest.raises(InputError) as caught:
        read_before(tmp_path)
    assert "found a pipe or device; allowed the results of a study" in str(caught.value)


def test_a_reading_that_is_a_pipe_is_not_intact(tmp_path: Path) -> None:
    (tmp_path / READINGS).mkdir()
    os.mkfifo(tmp_path / READINGS / "r1.json")
    before = Before(
        outcome=READ, reason="", measurements=1, simulated=False, reading_sha256="", key=""
    )
    assert intact(tmp_path, "r1", before) is None
