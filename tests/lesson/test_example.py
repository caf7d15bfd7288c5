"""The example of a lesson runs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "lesson.py"


def run(*given: str | Path) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, EXAMPLE, *given], capture_output=True, text=True, timeout=120
    )
    return done.returncode, done.stdout, done.stderr


def test_the_example_makes_answers_and_marks(tmp_path: Path) -> None:
    code, out, err = run(tmp_path / "home")
    assert (code, err) == (0, "")
    assert "stops listening too early: yes" in out
    assert (tmp_path / "home" / "marks.html").is_file()
    assert (tmp_path / "home" / "grades.png").read_bytes().startswith(b"\x89PNG")
    assert max(map(len, out.splitlines()[:-1])) <= 80
    assert run(tmp_path / "home") == (
        2,
        "",
        f"lesson.py: {tmp_path}/home: found a folder that holds something; allowed a new or "
        "empty one\n",
    )


def test_help_alone_makes_nothing(tmp_path: Path) -> None:
    code, out, err = run("--help")
    assert (code, err) == (0, "")
    assert out.startswith("usage: lesson.py")
    assert "novice errs" not in out
