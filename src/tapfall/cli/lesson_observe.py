"""``tapfall lesson observe``: answers of blinded observers into the manifest of a study."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.output import say
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.lesson.blindkey import BlindKey
    from tapfall.lesson.observe import Heard, Merged


def add_observe(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Put what blinded observers wrote down into the manifest of their study: the "
        "displacement of each dial is taken off, and marks become files of beats heard."
    )
    command.epilog = (
        "The new manifest stands beside the old one and is ready for tapfall study. Keys are "
        "pressed after a sound: tapfall study matches beats within 0.15 s, so give --delay if "
        "the delay of your observers is known."
    )
    command.add_argument("manifest", metavar="MANIFEST", help="the recordings: .csv")
    for number in (1, 2):
        command.add_argument(
            f"--observer-{number}",
            nargs=2,
            metavar=("KEY", "ANSWERS"),
            help="private key of the page, and the answers saved from it",
        )
    command.add_argument(
        "-o",
        "--output",
        required=True,
        metavar="NEW",
        help="the new manifest, which must not exist: .csv",
    )
    command.add_argument(
        "--delay",
        type=_delay,
        default=0.0,
        metavar="SECONDS",
        help="taken off every mark, 0 to 1 (0: marks stay as they were pressed)",
    )
    command.add_argument(
        "--allow-outside", action="store_true", help="allow files outside the manifest's folder"
    )


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.cli.parser import Usage
    from tapfall.errors import InputError, SettingError
    from tapfall.files.names import label_of
    from tapfall.lesson.blindkey import read_blind_key
    from tapfall.lesson.observe import heard_by, write_observed
    from tapfall.study import read_manifest

    given = (args.observer_1, args.observer_2)
    if given == (None, None):
        raise Usage("found neither --observer-1 nor --observer-2; allowed one or both")
    if not args.output.lower().endswith(".csv"):
        raise SettingError(f"--output: found {label_of(args.output)}; allowed a name in .csv")
    from tapfall.lesson.answers import read_answers

    observers: list[tuple[BlindKey, tuple[Heard, ...]] | None] = []
    for one in given:
        if one is None:
            observers.append(None)
            continue
        key, answers = read_blind_key(one[0]), read_answers(one[1])
        try:
            observers.append((key, heard_by(key, answers, delay_s=args.delay)))
        except InputError as fault:
            raise InputError(f"{label_of(one[1])}: {fault}") from None
    manifest = read_manifest(args.manifest, allow_outside=args.allow_outside)
    merged = write_observed(args.output, manifest, args.manifest, observers)
    read_manifest(args.output, allow_outside=args.allow_outside)
    say(_told(merged, [n for n, one in enumerate(given, 1) if one is not None]))
    return DONE


def _told(merged: Merged, numbers: list[int]) -> str:
    import textwrap

    from tapfall.files.names import label_of
    from tapfall.model import CAUTION

    lines = [
        f"observer {number}: {count} of {merged.recordings} recordings answered"
        for number, count in zip(numbers, merged.answered, strict=True)
    ]
    count = len(merged.marks_files)
    lines += [
        f"{count} {'file' if count == 1 else 'files'} of marks",
        f"In {label_of(merged.path)}",
    ]
    return "\n".join([*lines, *textwrap.wrap(CAUTION, WIDTH)]) + "\n"


def _delay(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 1.0:
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed seconds, 0 to 1")
    return value
