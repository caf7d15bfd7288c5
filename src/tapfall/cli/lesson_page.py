"""``tapfall lesson page``: the page on which a learner or an observer listens and answers."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.numbers import whole_number
from tapfall.cli.output import check_outputs, is_page, say
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.lesson.nouns import Key, LessonSet, Mode
    from tapfall.lesson.page import Choices

MODES = ("learn", "practise", "examine")
MOST_REPLAYS = 100


def add_page(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Make one HTML file that plays a set, moves a manometer in step with it, and takes the "
        "answers. It works from the disk, without a network. With --recordings it is made of "
        "the recordings of a study, blinded, for one observer."
    )
    command.epilog = (
        "The answers are in the page only where it has to tell them (learn, practise, or "
        "--self-check); a program could analyse the sound of any page. With --recordings the "
        "private key that says which item is which recording is written beside the page; "
        "tapfall lesson observe joins it with the observer's answers."
    )
    command.add_argument(
        "set", metavar="SET_FOLDER", nargs="?", help="a set made by tapfall lesson make"
    )
    command.add_argument(
        "-o", "--output", required=True, metavar="PAGE", help="the page: .html or .htm"
    )
    command.add_argument(
        "--mode", choices=MODES, help="what the learner is told (as the set was made for)"
    )
    command.add_argument("--language", default="en", metavar="CODE", help="en or de (en)")
    command.add_argument(
        "--self-check",
        action="store_true",
        help="put the answers into the page; in an examination they are told when all is answered",
    )
    command.add_argument(
        "--key",
        metavar="KEY",
        help="the key of the set (SET_FOLDER-key.json); with --recordings where it is written "
        "(PAGE-key.json)",
    )
    command.add_argument("--recordings", metavar="MANIFEST", help="the recordings of a study: .csv")
    command.add_argument("--observer", metavar="CODE", help="the observer's code")
    command.add_argument(
        "--replays",
        type=whole_number(0, MOST_REPLAYS),
        metavar="N",
        help="with --recordings: how often each may be heard again (any number)",
    )
    command.add_argument(
        "--lag",
        type=_lag,
        metavar="SECONDS",
        help="with --recordings: log time minus audio time, -60 to 60 (0)",
    )
    command.add_argument(
        "--allow-outside",
        action="store_true",
        help="with --recordings: allow files outside the manifest's folder",
    )


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.errors import SettingError
    from tapfall.files.names import label_of
    from tapfall.lesson.texts import words_of

    if not is_page(args.output):
        raise SettingError(
            f"--output: found {label_of(args.output)}; allowed a name in .html or .htm"
        )
    words_of(args.language)  # before anything is read
    _check_together(args)
    return _of_recordings(args) if args.recordings is not None else _of_set(args)


def _check_together(args: argparse.Namespace) -> None:
    from tapfall.cli.parser import Usage

    if (args.set is None) == (args.recordings is None):
        found = "neither" if args.set is None else "both"
        raise Usage(f"found {found} of SET_FOLDER and --recordings; allowed one of them")
    if args.recordings is None:
        given = [name for name in ("observer", "replays", "lag") if getattr(args, name) is not None]
        given += ["allow-outside"] if args.allow_outside else []
        if given:
            raise Usage(f"found --{given[0]} without --recordings; allowed together with it")
        return
    if args.mode is not None or args.self_check:
        name = "self-check" if args.mode is None else "mode"
        raise Usage(f"found --{name} with --recordings; allowed with a SET_FOLDER")
    if args.observer is None:
        raise Usage("found --recordings without --observer; allowed together with it")


def _of_set(args: argparse.Namespace) -> int:
    from tapfall.files import check_writable, write_bytes
    from tapfall.lesson.nouns import Mode
    from tapfall.lesson.page import Choices, page_html
    from tapfall.lesson.sets import check_no_set_beside, check_outside, read_set
    from tapfall.lesson.setsound import set_sounds

    lesson = read_set(args.set)
    mode = Mode(args.mode) if args.mode is not None else lesson.mode
    key_path = _set_key(args)
    tells = args.self_check or mode is not Mode.EXAMINE
    key = _key(lesson, key_path, mode) if tells else None
    check_writable(args.output, (key_path,) if tells else ())
    if tells:
        check_outside(args.output, args.set)
        check_no_set_beside(args.output)
    made = set_sounds(lesson, args.set)
    choices = Choices(mode=mode, language=args.language, key=key, simulated=made.simulated)
    page = page_html(lesson, made.sounds, choices).encode("utf-8")
    write_bytes(args.output, page)
    say(_told(args.output, len(page), len(lesson.items), choices))
    return DONE


def _set_key(args: argparse.Namespace) -> str:
    """The key's file: as given, or where ``tapfall lesson make`` writes it."""
    from tapfall.lesson.sets import key_beside

    return str(args.key if args.key is not None else key_beside(args.set))


def _key(lesson: LessonSet, path: str, mode: Mode) -> Key:
    from tapfall.errors import InputError
    from tapfall.files.names import label_of
    from tapfall.lesson.page import check_key
    from tapfall.lesson.sets import read_key

    try:
        key = read_key(path)
        check_key(lesson, key)
    except InputError as fault:
        told = "" if label_of(path) in str(fault) else f"{label_of(path)}: "
        raise InputError(
            f"{told}{fault} (a page in mode {mode} that tells the answers needs them)"
        ) from None
    return key


def _of_recordings(args: argparse.Namespace) -> int:
    from pathlib import Path

    from tapfall.files.names import label_of
    from tapfall.files.writing import check_new, write_atomically
    from tapfall.lesson.blind import blind, key_path, observer_code
    from tapfall.lesson.blindkey import write_blind_key
    from tapfall.lesson.nouns import Mode
    from tapfall.lesson.page import Choices, page_html
    from tapfall.study import read_manifest

    code = observer_code(args.observer)
    private = args.key if args.key is not None else key_path(args.output)
    outputs = (args.output, private)
    check_outputs(outputs, (args.recordings,))
    manifest = read_manifest(args.recordings, allow_outside=args.allow_outside)
    heard = tuple(file for one in manifest.entries for file in (one.audio, one.cuff) if file)
    check_outputs(outputs, heard)
    # Each page is drawn anew: answers to the one that stands there are worth nothing without
    # its key, wherever that has been put, and no answer can be added without the page.
    check_new(private, "another -o or --key, or removing it, which loses the answers to its page")
    check_new(args.output, "another -o, or removing it: its items cannot be drawn again")
    made = blind(manifest, code, replays=args.replays, lag_s=args.lag or 0.0)
    choices = Choices(
        mode=Mode.EXAMINE, language=args.language, observer=code, simulated=made.simulated
    )
    page = page_html(made.lesson, made.sounds, choices).encode("utf-8")

    def fill(draft: Path) -> None:
        # A page whose key is lost is worth nothing, nor is a key whose page is: the key is
        # written when the page stands there whole, and then the page gets its name.
        draft.write_bytes(page)
        write_blind_key(private, made.key)

    write_atomically(args.output, fill)
    say(
        _told(args.output, len(page), len(made.lesson.items), choices)
        + f"Private key, not for the observer: {label_of(private)}\n"
    )
    return DONE


def _told(path: str, size: int, count: int, choices: Choices) -> str:
    import textwrap

    from tapfall.files.names import label_of
    from tapfall.lesson.texts import words_of
    from tapfall.model import CAUTION
    from tapfall.wording import counted

    items = counted(count, "item")
    answers = "without any answer in it" if choices.key is None else "with the answers in it"
    lines = [f"{label_of(path)}: {items}, {size / 1e6:.1f} MB, mode {choices.mode}, {answers}."]
    if not choices.simulated:
        lines += textwrap.wrap(words_of("en")[0]["may_speak"], WIDTH)
    lines += textwrap.wrap(f"A program could analyse the sound in the page. {CAUTION}", WIDTH)
    return "\n".join(lines) + "\n"


def _lag(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 1e9
    if not -60.0 <= value <= 60.0:
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed seconds, -60 to 60")
    return value
