"""A lesson from end to end: make a set, answer it, mark it; and how hard the grades are.

    python examples/lesson.py [FOLDER] [--full]

The answers are those of a simulated novice.  Everything goes into a new or empty folder, a
temporary one unless it is given.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tapfall.convert import to_json
from tapfall.errors import InputError
from tapfall.lesson import (
    GRADES,
    Answers,
    Mode,
    Order,
    grade_of,
    make_items,
    make_set,
    mark,
    pass_rule,
    read_answers,
)
from tapfall.lesson.marks_page import write_marks
from tapfall.lesson.novice import Difficulty, difficulty, novice_answer
from tapfall.lesson.words import marked_text
from tapfall.show import look


def lesson(home: Path) -> None:
    """Make a set of the third grade, let a novice answer it, and mark the answers."""
    order = Order(grade=grade_of("3"), count=8, seed=2026, mode=Mode.EXAMINE, random_zero=True)
    made = make_set(order, home / "set")
    rng = np.random.default_rng(1)
    answers = Answers(
        set_id=made.lesson.set_id,
        learner="novice-1",
        saved="2026-01-05T10:00:00Z",
        mode=Mode.EXAMINE,
        answers=tuple(novice_answer(one, rng) for one in make_items(order)),
    )
    path = home / "answers.json"
    path.write_text(json.dumps(to_json(answers)), encoding="ascii")
    marked = mark(made.key, [read_answers(path)], pass_rule("expert-1991"))
    write_marks(home / "marks.html", marked, made.folder)
    print(marked_text(marked), end="")


def draw(measured: list[Difficulty], path: Path) -> None:
    """Draw how hard the grades came out."""
    figure = Figure(figsize=(7.2, 3.0), facecolor=look.PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2)
    names = [one.grade for one in measured]
    bars = {"capsize": 2.0, "ecolor": look.SLATE}
    left.bar(
        names,
        [one.novice_mmhg for one in measured],
        yerr=[one.novice_error_mmhg or 0.0 for one in measured],
        color=look.SYSTOLIC,
        width=0.6,
        **bars,
    )
    left.set_ylabel("a novice's mean error, mmHg")
    right.errorbar(
        names,
        [one.confidence for one in measured],
        yerr=[one.confidence_error or 0.0 for one in measured],
        fmt="o-",
        color=look.DIASTOLIC,
        **bars,
    )
    right.set_ylabel("confidence of the reading")
    lowest = min(one.confidence - 2 * (one.confidence_error or 0.0) for one in measured)
    right.set_ylim(min(0.1 * (lowest // 0.1), 0.9), 1.01)
    figure.suptitle(
        f"{measured[0].items} items a grade, bars: one standard error", fontsize=8, color=look.SLATE
    )
    for axes in (left, right):
        axes.set_xlabel("grade")
        axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(path, dpi=110)


def main() -> None:
    """Make the lesson, and tell how hard the grades are."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="new or empty")
    parser.add_argument(
        "--full",
        action="store_true",
        help="measure all grades on 400 items each (some minutes), not three on 6",
    )
    args = parser.parse_args()
    home = Path(args.folder or tempfile.mkdtemp(prefix="tapfall-lesson-"))
    try:
        home.mkdir(parents=True, exist_ok=True)
        if any(home.iterdir()):
            raise InputError(
                f"{home}: found a folder that holds something; allowed a new or empty one"
            )
        lesson(home)
    except (InputError, OSError) as fault:
        parser.exit(2, f"lesson.py: {fault}\n")
    grades = GRADES if args.full else (GRADES[0], GRADES[2], GRADES[5])
    measured = [difficulty(grade, 400 if args.full else 6, 7) for grade in grades]
    print(f"\n{measured[0].items} items a grade, standard errors in brackets:")
    for one in measured:
        print(
            f"grade {one.grade}: a novice errs by {one.novice_mmhg:.1f} "
            f"({one.novice_error_mmhg or 0.0:.1f}) mmHg, confidence {one.confidence:.3f} "
            f"({one.confidence_error or 0.0:.3f})"
        )
    draw(measured, home / "grades.png")
    print(f"everything is in {home}")


if __name__ == "__main__":
    main()
