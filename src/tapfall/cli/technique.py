"""The options that state how it was measured, and what they come to."""

from __future__ import annotations

import argparse

from tapfall.cli.numbers import real_number

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from tapfall.model import Reading, Recording
    from tapfall.technique import Stated

#: Words of the options; the library spells sizes with a space.
SIZES = ("small-adult", "adult", "large-adult", "thigh")
POSTURES = ("sitting", "lying", "standing")
SUPPORTS = ("desk", "lap", "side")
BACKS = ("supported", "unsupported")
LEGS = ("uncrossed", "crossed")
#: Largest numbers (those of the library).
ARM_CM, BLADDER_CM, RESTED_MIN, SINCE_LAST_S = (8, 80), (2, 80), (0, 1440), (0, 86_400)


def add_stated(command: argparse.ArgumentParser, *, alone: bool = True) -> None:
    """Add the options that state how it was measured; two of them for one reading alone."""
    group = command.add_argument_group("how it was measured, for the check of the technique")

    def add(name: str, kind: Callable[[str], object], metavar: str, words: str) -> None:
        group.add_argument(name, type=kind, metavar=metavar, help=words)

    if alone:
        add("--arm", _word(("left", "right")), "SIDE", "left or right")
    add("--arm-cm", real_number(*ARM_CM, "cm"), "CM", "circumference of the upper arm")
    add("--cuff-size", _size, "SIZE", f"{', '.join(SIZES)}, or the bladder in cm: 12x23")
    add("--posture", _word(POSTURES), "WORD", ", ".join(POSTURES))
    add("--arm-support", _word(SUPPORTS), "WORD", "where the arm lay: desk, lap, or at the side")
    add("--back", _word(BACKS), "WORD", " or ".join(BACKS))
    add("--legs", _word(LEGS), "WORD", " or ".join(LEGS))
    add("--talking", _word(("yes", "no")), "WORD", "whether somebody spoke: yes or no")
    add("--rested", real_number(*RESTED_MIN, "minutes"), "MINUTES", "rest before the reading")
    if alone:
        add(
            "--since-last",
            real_number(*SINCE_LAST_S, "seconds"),
            "SECONDS",
            "since the cuff was released after the reading before",
        )
    add("--calibrated", _day, "DAY", "of the manometer's last calibration: 2026-03-31")


def stated_by(args: argparse.Namespace, *, alone: bool = True) -> Stated:
    """Return what the options state, without those of one reading alone if asked."""
    from tapfall.technique import Stated

    return Stated(
        arm_cm=args.arm_cm,
        cuff=args.cuff_size,
        arm=args.arm if alone else None,
        posture=args.posture,
        arm_support=args.arm_support,
        back_supported=None if args.back is None else args.back == "supported",
        legs_crossed=None if args.legs is None else args.legs == "crossed",
        talking=None if args.talking is None else args.talking == "yes",
        rested_min=args.rested,
        since_last_s=args.since_last if alone else None,
        manometer_calibrated=args.calibrated,
    )


def checked(reading: Reading, recording: Recording, stated: Stated) -> Reading:
    """Return the reading with the findings on its technique."""
    from datetime import date

    from tapfall.technique import check_technique, with_technique

    found = check_technique(recording, reading, stated, today=date.today())
    return with_technique(reading, found)


def _word(words: tuple[str, ...]) -> Callable[[str], str]:
    def kind(text: str) -> str:
        if text not in words:
            raise argparse.ArgumentTypeError(f"found '{text}'; allowed {', '.join(words)}")
        return text

    return kind


def arm_cm_of(text: str) -> float:
    """Return the circumference of an arm as it is written, cm."""
    return real_number(*ARM_CM, "cm")(text)


def cuff_size_of(text: str) -> str | tuple[float, float]:
    """Return the size of a cuff as it is written."""
    return _size(text)


def _size(text: str) -> str | tuple[float, float]:
    if text in SIZES:
        return text.replace("-", " ")
    try:
        width, length = (float(part) for part in text.split("x"))
    except ValueError:
        width = length = float("nan")
    low, high = BLADDER_CM
    if not low <= width <= length <= high:
        raise argparse.ArgumentTypeError(
            f"found '{text}'; allowed {', '.join(SIZES)}, or width and length of the bladder "
            f"in cm, {low} to {high}, such as 12x23"
        )
    return width, length


def _day(text: str) -> date:
    from datetime import date

    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or len(text) != 10 or day > date.today():
        raise argparse.ArgumentTypeError(
            f"found '{text}'; allowed a day up to today, such as 2026-03-31"
        )
    return day
