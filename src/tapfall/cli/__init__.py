"""The command line: thin, it only calls the public functions.

Exit codes: 0 done, 1 done but the reading is unreadable, 2 bad input or usage, 3 a defect.
A fault is one line on standard error; ``--debug`` shows where it arose instead.
Heavy modules are imported inside the commands that need them.
"""

from __future__ import annotations

import argparse
import sys

from tapfall.cli.codes import BAD_INPUT, DEFECT, DONE, INTERRUPTED
from tapfall.cli.options import parsed
from tapfall.cli.output import complain, say
from tapfall.cli.parser import Usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv
        The arguments without the program's name; those of the process if None.

    Returns
    -------
    int
        0 done, 1 done but unreadable, 2 bad input or usage, 3 a defect of this
        program, 130 interrupted.

    Examples
    --------
    >>> main(["--version"])  # doctest: +ELLIPSIS
    tapfall ...
    0
    """
    given = list(sys.argv[1:] if argv is None else argv)
    debug = "--debug" in given
    try:
        if sys.stdout is not None and hasattr(sys.stdout, "reconfigure"):
            sys.stdout.reconfigure(errors="backslashreplace")
        return _run(given)
    except KeyboardInterrupt as stop:
        complain(f"interrupted: {stop}" if stop.args else "interrupted")
        return INTERRUPTED
    except Exception as fault:
        from tapfall.errors import TapfallError

        bad_input = isinstance(fault, (TapfallError, Usage))
        if debug and sys.stderr is not None:
            import traceback

            traceback.print_exc()
        elif bad_input:
            complain(str(fault))
        else:
            complain(f"defect: {type(fault).__name__}: {fault} (--debug shows where)")
        return BAD_INPUT if bad_input else DEFECT


def _run(given: list[str]) -> int:
    try:
        args = parsed(given)
        code = _command(args.command)(args)
    except SystemExit as done:  # --help and --version
        code = done.code if isinstance(done.code, int) else DONE
    say("")
    return code


def _command(name: str) -> Callable[[argparse.Namespace], int]:
    if name == "read":
        from tapfall.cli.read import run
    elif name == "check-device":
        from tapfall.cli.check_device import run
    elif name == "listen":
        from tapfall.cli.listen import run
    elif name == "visit":
        from tapfall.cli.visit import run
    elif name == "written":
        from tapfall.cli.written import run
    elif name == "agree":
        from tapfall.cli.agree import run
    elif name == "study":
        from tapfall.cli.study import run
    elif name == "lesson":
        from tapfall.cli.lesson import run
    elif name == "demo":
        from tapfall.cli.demo import run
    else:
        from tapfall.cli.simulate import run
    return run
