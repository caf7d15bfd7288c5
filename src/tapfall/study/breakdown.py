"""Errors of a study by what could change them, and the last digits that observers wrote.

Classes are half open, from each bound up to the next.  Those of level are the bounds of
the sample that ISO 81060-2 wants (from memory), those of the arm the ranges of common
cuffs (AHA, see :mod:`tapfall.standards`), those of signal to noise our choice.  Devices
are told apart by their names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.files.tables import Cell
from tapfall.standards import CUFF_SIZES
from tapfall.study.agreement.result import NOT_TOLD
from tapfall.study.agreement.rows import SLACK_MMHG
from tapfall.study.agreement.sample import ISO_SPREAD
from tapfall.study.compare import FIRST, MEASURES, OBSERVERS, SECOND, TAPFALL, Judged

LEVEL_BOUNDS_MMHG = {
    measure: tuple(sorted(bound for bound, _ in spread)) for measure, spread in ISO_SPREAD.items()
}
ARM_BOUNDS_CM = tuple(size.arm_from_cm for size in CUFF_SIZES)
SIGNAL_TO_NOISE_BOUNDS_DB = (6.0, 12.0, 18.0)
DEVICE = "device"
BREAKDOWN_COLUMNS = (
    "by",
    "class",
    "measure",
    "pairs",
    "no_value",
    "mean_mmHg",
    "sd_mmHg",
    "mean_absolute_mmHg",
    "share_within_5_mmHg",
    "share_within_10_mmHg",
    "share_within_15_mmHg",
)
DIGIT_COLUMNS = ("who", "measure", "digit", "values", "share")


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A value against its reference, with what it is broken down by; None where not told."""

    judged: Judged
    arm_cm: float | None
    signal_to_noise_db: float | None
    device: str = ""


def class_of(value: float | None, bounds: Sequence[float], unit: str) -> str:
    """Name the class that a value lies in.

    Examples
    --------
    >>> [class_of(value, (6.0, 12.0), "dB") for value in (3.0, 6.0, 40.0, None)]
    ['below 6 dB', '6 to 12 dB', '12 dB and more', 'not told']
    """
    if value is None:
        return NOT_TOLD
    place = int(np.searchsorted(bounds, value, side="right"))
    if place == 0:
        return f"below {bounds[0]:g} {unit}"
    if place == len(bounds):
        return f"{bounds[-1]:g} {unit} and more"
    return f"{bounds[place - 1]:g} to {bounds[place]:g} {unit}"


def classes(bounds: Sequence[float], unit: str) -> list[str]:
    """Name every class in order, that of what is not told last."""
    below = [bounds[0] - 1.0, *bounds]
    return [*(class_of(value, bounds, unit) for value in below), NOT_TOLD]


def breakdown_rows(values: Iterable[Held]) -> list[tuple[Cell, ...]]:
    """Return the rows of :data:`BREAKDOWN_COLUMNS`, of tapfall against the observers."""
    own = [
        one
        for one in values
        if (one.judged.reference_name, one.judged.estimate_name) == (OBSERVERS, TAPFALL)
    ]
    rows: list[tuple[Cell, ...]] = []
    for measure in MEASURES:
        part = [one for one in own if one.judged.measure == measure]
        level = LEVEL_BOUNDS_MMHG[measure]
        for by, bounds, unit, read in (
            ("level", level, "mmHg", [one.judged.reference_mmhg for one in part]),
            ("arm circumference", ARM_BOUNDS_CM, "cm", [one.arm_cm for one in part]),
            (
                "signal to noise",
                SIGNAL_TO_NOISE_BOUNDS_DB,
                "dB",
                [one.signal_to_noise_db for one in part],
            ),
        ):
            named = [class_of(value, bounds, unit) for value in read]
            for name in classes(bounds, unit):
                inside = [one.judged for one, here in zip(part, named, strict=True) if here == name]
                if inside:
                    rows.append((by, name, measure, *_errors(inside)))
        # By name, and those without one last.
        devices = sorted({one.device for one in part}, key=lambda one: (not one, one))
        for device in devices if any(devices) else ():
            inside = [one.judged for one in part if one.device == device]
            rows.append((DEVICE, device or NOT_TOLD, measure, *_errors(inside)))
    return rows


def _errors(group: Sequence[Judged]) -> tuple[Cell, ...]:
    errors = np.array([one.error_mmhg for one in group if one.error_mmhg is not None])
    if errors.size == 0:
        return (0, len(group), None, None, None, None, None, None)
    shares = (
        round(float(np.mean(np.abs(errors) <= bound + SLACK_MMHG)), 4)
        for bound in (5.0, 10.0, 15.0)
    )
    return (
        int(errors.size),
        len(group) - int(errors.size),
        round(float(errors.mean()), 4) + 0.0,  # never -0.0
        round(float(errors.std(ddof=1)), 4) if errors.size > 1 else None,
        round(float(np.abs(errors).mean()), 4),
        *shares,
    )


def digit_rows(written: Mapping[tuple[str, str], Sequence[float]]) -> list[tuple[Cell, ...]]:
    """Return the rows of :data:`DIGIT_COLUMNS`.

    Parameters
    ----------
    written
        Pressures as each wrote them, mmHg, by who and measure; rounded to whole ones.

    Examples
    --------
    >>> rows = digit_rows({("observer_1", "systolic"): [120.0, 130.0, 124.0]})
    >>> rows[0], rows[4][3:]
    (('observer_1', 'systolic', 0, 2, 0.6667), (1, 0.3333))
    """
    rows: list[tuple[Cell, ...]] = []
    writers = (FIRST, SECOND, TAPFALL)
    for who, measure in sorted(
        written, key=lambda one: (one[1] != MEASURES[0], writers.index(one[0]))
    ):
        values = written[who, measure]
        digits = [round(value) % 10 for value in values]
        for digit in range(10) if digits else ():
            count = digits.count(digit)
            rows.append((who, measure, digit, count, round(count / len(digits), 4)))
    return rows
