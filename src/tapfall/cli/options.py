"""The options of every command."""

from __future__ import annotations

import argparse
import math

from tapfall import __version__
from tapfall.cli.codes import DEMO_FOLDER, SIMULATED_FOLDER
from tapfall.cli.numbers import real_number, whole_number
from tapfall.cli.parser import Parser, Usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

# Bounds and words of the library stand here again, for loading it would slow the help: a test
# holds them equal.
#: What the diastolic may be read at.
RULES = ("last-sound", "first-silence", "k4")

#: Forms of raw samples, and the highest rate of them (our choice).
FORMATS = ("s16le", "f32le")
HIGHEST_RATE_HZ = 1_000_000

#: The largest lag that can be given, seconds.
FURTHEST_LAG_S = 60

#: How many recordings are simulated at once, or the number of a channel (our choice); a seed.
_MANY, _SEED = whole_number(1, 100_000), whole_number(0, 2**63 - 1)

#: Pressures of a simulated person, as a scenario has them.
SYSTOLIC_MMHG, DIASTOLIC_MMHG = (60, 260), (20, 180)
_SYSTOLIC, _DIASTOLIC = real_number(*SYSTOLIC_MMHG, "mmHg"), real_number(*DIASTOLIC_MMHG, "mmHg")
#: The largest error of a manometer that can be stated.
LARGEST_ERROR_MMHG = 50
_ERROR = real_number(0, LARGEST_ERROR_MMHG, "mmHg")
#: The lowest rate of sound.
LOWEST_RATE_HZ = 1000
_RATE = real_number(LOWEST_RATE_HZ, HIGHEST_RATE_HZ, "Hz")
_SPEED = real_number(0.01, 1000, "times real time")


def parsed(given: list[str]) -> argparse.Namespace:
    """Return the options of a command line.

    Raises
    ------
    Usage
        The command line cannot be understood.
    SystemExit
        After ``--help`` and ``--version``.
    """
    chosen = next((one for one in given if not one.startswith("-")), None)
    args: argparse.Namespace
    args, left = _parser(chosen).parse_known_args(given)
    if left:
        named = ["tapfall", args.command, *([args.action] if args.command == "lesson" else [])]
        raise Usage(f"unrecognized arguments: {' '.join(left)} (see {' '.join(named)} --help)")
    return args


def _debug() -> Parser:
    """What every command has."""
    debug = Parser(add_help=False)
    debug.add_argument("--debug", action="store_true", help="show where a fault arose")
    return debug


def _parser(chosen: str | None) -> Parser:
    """All commands, with the options of the chosen one alone.

    Those of all take a third of the time that the help takes.
    """
    parser = Parser(
        prog="tapfall",
        description="A second listener for blood pressure measured by ear: stethoscope sound and "
        "cuff pressure in, systolic and diastolic with interval and confidence out.",
        epilog="Exit codes: 0 done, 1 done but unreadable, 2 bad input or usage.",
    )
    parser.add_argument("--version", action="version", version=f"tapfall {__version__}")
    debug = _debug()
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", required=True, parser_class=Parser
    )
    for name, (words, fill) in _COMMANDS.items():
        command = commands.add_parser(name, parents=[debug], help=words)
        if name == chosen:
            fill(command)
    return parser


def _fill_read(read: argparse.ArgumentParser) -> None:
    from tapfall.cli.technique import add_stated

    read.description = "Read one recording and say how far to trust it."
    read.epilog = "Exit codes: 0 done, 1 done but unreadable, 2 bad input or usage."
    _add_files(read)
    read.add_argument("--json", metavar="FILE", help="write the reading as JSON; - for stdout")
    read.add_argument("--figure", metavar="FILE", help="draw the reading: .png, .svg or .pdf")
    read.add_argument(
        "--report", metavar="FILE", help="write a page that tells how the reading came about: .html"
    )
    read.add_argument("--fhir", metavar="FILE", help="write an HL7 FHIR R4 Observation as JSON")
    read.add_argument("--subject", metavar="REFERENCE", help="of whom it is: Patient/ID")
    read.add_argument(
        "--effective", metavar="MOMENT", help="when it was measured: 2026-03-01T10:15:00+01:00"
    )
    _add_loading(read, _channel)
    _add_choices(read)
    add_stated(read)


def _fill_check_device(device: argparse.ArgumentParser) -> None:
    device.description = (
        "Tell from a short recording whether readings are possible with the device that made "
        "it, and what limits them. Exit codes: 0 they are, within limits if so told, 1 they are "
        "not, or nothing can be told without a measurement, 2 bad input or usage."
    )
    _add_files(device)
    device.add_argument(
        "--json",
        metavar="FILE",
        nargs="?",
        const="-",
        help="write the report as JSON; - or nothing for stdout",
    )
    _add_loading(device, _channel)


def _fill_listen(command: argparse.ArgumentParser) -> None:
    command.description = (
        "Hear raw sound on standard input and the cuff pressure beside it, and tell events and "
        "readings as they come: JSON lines on standard output (tapfall.event/1)."
    )
    command.epilog = (
        "The cuff pressure comes as lines of time_s,mmHg (--cuff), or in the frames of the "
        "sound, of two values then (--cuff-channel 1 or 2). The end of the input, SIGINT, SIGTERM "
        "and SIGHUP end the measurement: its reading is still told, also before a fault of the "
        "input. Exit codes: 0 done, 1 done but the last reading is unreadable, 2 bad input or "
        "usage."
    )
    command.add_argument("--rate", type=_RATE, metavar="HZ", help="frames of sound per second")
    command.add_argument(
        "--format", type=_form, metavar="FORM", help="of the samples: s16le or f32le"
    )
    command.add_argument(
        "--cuff", metavar="PLACE", help="the cuff log: a named pipe, a finished file, or fd:N"
    )
    command.add_argument(
        "--replay",
        nargs="+",
        metavar=("AUDIO", "CUFFLOG"),
        help="hear the files of a recording instead",
    )
    # The log of a replay, where options stand before it.
    command.add_argument("rest", nargs="*", help=argparse.SUPPRESS)
    command.add_argument(
        "--speed",
        type=_SPEED,
        metavar="X",
        help="of the replay: 1 in real time (as fast as can be)",
    )
    _add_loading(command, _MANY)
    _add_choices(command)


def _fill_visit(visit: argparse.ArgumentParser) -> None:
    from tapfall.cli.technique import add_stated
    from tapfall.cli.visit_options import add_visit

    add_visit(visit)
    _add_loading(visit, _channel)
    _add_choices(visit)
    add_stated(visit, alone=False)


def _fill_written(command: argparse.ArgumentParser) -> None:
    from tapfall.cli.written import add_written

    add_written(command)


def _fill_agree(command: argparse.ArgumentParser) -> None:
    from tapfall.cli.agree import add_agree

    add_agree(command)


def _fill_study(study: argparse.ArgumentParser) -> None:
    from tapfall.cli.study_options import add_study

    add_study(study)
    _add_loading(study, _channel)
    _add_choices(study)


def _fill_lesson(command: argparse.ArgumentParser) -> None:
    from tapfall.cli.lesson import add_lesson

    add_lesson(command, [_debug()], Parser)


def _fill_demo(demo: argparse.ArgumentParser) -> None:
    demo.description = "Make a simulated recording, read it, and keep all files in a folder."
    demo.add_argument(
        "folder",
        metavar="FOLDER",
        nargs="?",
        default=DEMO_FOLDER,
        help=f"where the files go ({DEMO_FOLDER})",
    )


def _fill_simulate(simulate: argparse.ArgumentParser) -> None:
    simulate.description = (
        "Make recordings whose truth is known: of a scenario, of a person with --systolic or "
        "--diastolic, or, with --count alone, of persons drawn from a population (systolic 90-200, "
        "diastolic 50-110 mmHg, heart rate 50-110 per minute; cuff, hand, sounds and noise of the "
        "room drawn too)."
    )
    simulate.add_argument(
        "scenario",
        metavar="SCENARIO",
        nargs="?",
        help="name of a built-in scenario, or a .toml file",
    )
    simulate.add_argument("--list", action="store_true", help="list the built-in scenarios")
    simulate.add_argument(
        "--systolic", type=_SYSTOLIC, metavar="MMHG", help="the person's systolic"
    )
    simulate.add_argument(
        "--diastolic", type=_DIASTOLIC, metavar="MMHG", help="the person's diastolic"
    )
    simulate.add_argument(
        "--count",
        type=_MANY,
        metavar="N",
        help="how many (1), of seeds S, S+1, ...: of the scenario or the pressures given, else "
        "a person drawn with each seed",
    )
    simulate.add_argument(
        "--seed", type=_SEED, metavar="S", help="the first seed (the scenario's, or 0)"
    )
    simulate.add_argument(
        "-o",
        "--output",
        default=SIMULATED_FOLDER,
        metavar="FOLDER",
        help=f"where the files go ({SIMULATED_FOLDER})",
    )


def _add_files(command: argparse.ArgumentParser) -> None:
    """The files of a recording."""
    command.add_argument(
        "audio", metavar="AUDIO", help="sound file: WAV, FLAC, OGG, ...; WFDB, EDF or MATLAB file"
    )
    command.add_argument(
        "cuff",
        metavar="CUFFLOG",
        nargs="?",
        help="CSV: time_s,pressure_mmHg (or pressure_kPa); WFDB, EDF or MATLAB file",
    )


def _add_loading(command: argparse.ArgumentParser, channel: Callable[[str], int | str]) -> None:
    """How the files of a recording are taken."""
    command.add_argument(
        "--lag",
        type=_lag,
        default=None,
        metavar="SECONDS",
        help="log time minus audio time, -60 to 60, or auto (the default)",
    )
    command.add_argument(
        "--channel", type=channel, metavar="N", help="channel of the sound, from 1, or its name"
    )
    command.add_argument(
        "--cuff-channel",
        type=channel,
        metavar="N",
        help="channel of the cuff pressure, from 1, or its name",
    )
    command.add_argument(
        "--cuff-scale",
        type=_factor,
        metavar="X",
        help="mmHg per full scale of that channel, or per volt",
    )
    command.add_argument(
        "--cuff-offset", type=_factor, metavar="X", help="mmHg at 0 of that channel (0)"
    )


def _add_choices(command: argparse.ArgumentParser) -> None:
    """What may be chosen about a reading."""
    command.add_argument(
        "--diastolic",
        type=_rule,
        default="last-sound",
        metavar="RULE",
        help="last-sound (the default), first-silence or k4",
    )
    command.add_argument(
        "--manometer-error", type=_ERROR, metavar="X", help="stated error of the manometer, mmHg"
    )


def _factor(text: str) -> float:
    """A scale or an offset: any number that a sensor could have."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) < 1e9:
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed a number, -1e9 to 1e9")
    return value


def _rule(text: str) -> str:
    if text not in RULES:
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed {', '.join(RULES)}")
    return text.replace("-", "_")


def _lag(text: str) -> float | None:
    if text == "auto":
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= FURTHEST_LAG_S:
        raise argparse.ArgumentTypeError(
            f"found '{text}'; allowed auto or {-FURTHEST_LAG_S} to {FURTHEST_LAG_S} seconds"
        )
    return value


def _form(text: str) -> str:
    if text not in FORMATS:
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed {', '.join(FORMATS)}")
    return text


def _channel(text: str) -> int | str:
    """A number where it is one, else the name of a channel."""
    return _MANY(text) if text.isdigit() or text.startswith("-") or not text else text


#: Every command: what the list says of it, and what adds its options.
_COMMANDS: dict[str, tuple[str, Callable[[argparse.ArgumentParser], None]]] = {
    "read": ("read one recording", _fill_read),
    "check-device": ("tell what a prototype's recordings are good for", _fill_check_device),
    "listen": ("hear streams as they come", _fill_listen),
    "visit": ("average the readings of a visit", _fill_visit),
    "written": ("check pressures written down", _fill_written),
    "agree": ("compare estimates with references", _fill_agree),
    "study": ("read all recordings of a study", _fill_study),
    "lesson": ("sets to learn from, and marking", _fill_lesson),
    "demo": ("make a recording and read it", _fill_demo),
    "simulate": ("make recordings whose truth is known", _fill_simulate),
}
