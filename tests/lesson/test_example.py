"""The example of a lesson runs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "lesson.py"


def test_the_example_makes_answers_and_marks(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, EXAMPLE, tmp_path / "home"], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert "stops listening too early: yes" in done.stdout
    assert (tmp_path / "home" / "marks.html").is_file()
    assert (tmp_path / "home" / "grades.png").read_bytes().startswith(b"\x89PNG")
