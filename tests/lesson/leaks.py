"""What a guess without listening would reach: the answers against all else that learners get.

    python -m tests.lesson.leaks [--items N] [--seed S]

makes N items of each grade (200; some minutes) and prints, for systolic and diastolic, the
standard deviation of the answers: what is left to one who names their mean.  Beside it stands
what is left to one who knows sizes, lengths or the dial's course from a linear fit, over items
that the fit has not seen.  Where that is no smaller, they tell nothing.
"""

from __future__ import annotations

import argparse
import io

import numpy as np
import soundfile
from numpy.typing import NDArray

from tapfall.lesson import GRADES, Made, Order, make_items

FloatArray = NDArray[np.float64]

#: Items of one set.
SET = 50
FOLDS = 10
#: The quick release falls faster than this, mmHg a second.
RELEASE_MMHG_PER_S = 20.0


def packed_bytes(made: Made) -> float:
    """Size of an item as FLAC of 16 bits before it is padded, bytes."""
    file = io.BytesIO()
    soundfile.write(file, made.sound, round(made.rate_hz), format="FLAC", subtype="PCM_16")
    return float(len(file.getvalue()))


def course(made: Made) -> tuple[float, float, float, float]:
    """Top of the dial, when it is reached, where the release starts, and how fast it falls."""
    dial = made.item.dial
    shown = np.array([np.nan if one is None else one for one in dial.mmhg])
    at = int(np.nanargmax(shown))
    fall = -np.diff(shown[at:]) / dial.step_s
    fast = np.flatnonzero(fall > RELEASE_MMHG_PER_S)
    end = at + (int(fast[0]) if fast.size else fall.size)
    rate = (shown[at] - shown[end]) / max((end - at) * dial.step_s, dial.step_s)
    return float(shown[at]), at * dial.step_s, float(shown[end]), float(rate)


def left_mmhg(known: FloatArray, answers: FloatArray) -> float:
    """Root mean square of what a linear fit leaves of answers it has not seen.

    Parameters
    ----------
    known
        What is known of each item, shape ``(items, things)``; none for the mean alone.
    answers
        Shape ``(items,)``, mmHg.
    """
    fold = np.arange(answers.size) % FOLDS
    table = np.column_stack([np.ones(answers.size), known])
    scale = np.maximum(np.abs(table).max(axis=0), 1e-9)
    left = np.empty(answers.size)
    for one in range(FOLDS):
        fit, *_ = np.linalg.lstsq(table[fold != one] / scale, answers[fold != one], rcond=None)
        left[fold == one] = answers[fold == one] - table[fold == one] / scale @ fit
    return float(np.sqrt(np.mean(left**2)))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--items", type=int, default=200)
    parser.add_argument("--seed", type=int, default=700_000)
    args = parser.parse_args()
    print(f"{'grade':<6}{'of':<10} {'SD':>6} {'top':>6}{'size':>7}{'length':>7}{'all':>6}   r(top)")
    for grade in GRADES:
        made: list[tuple[float, ...]] = []
        for n in range(-(-args.items // SET)):
            order = Order(grade=grade, count=SET, seed=args.seed + n)
            made += [
                (
                    one.key.systolic_mmhg or 0.0,
                    one.key.diastolic_mmhg or 0.0,
                    packed_bytes(one),
                    one.item.seconds,
                    *course(one),
                )
                for one in make_items(order)
            ]
        table = np.array(made)
        for name, answers in (("systolic", table[:, 0]), ("diastolic", table[:, 1])):
            size, length, top = table[:, 2], table[:, 3], table[:, 4]
            known = (np.empty((len(table), 0)), top, size, length, table[:, 2:])
            values = [left_mmhg(one, answers) for one in known]
            told = "".join(f"{value:7.1f}" for value in values)
            print(
                f"{grade.name:<6}{name:<10}{told}  {np.corrcoef(top, answers)[0, 1]:6.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
