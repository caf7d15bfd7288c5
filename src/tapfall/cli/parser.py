"""How a command line is parsed, whatever its options."""

from __future__ import annotations

import argparse

from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, NoReturn


class Usage(Exception):  # noqa: N818 - it never leaves the command line
    """A command line that cannot be understood."""


class _Formatter(argparse.HelpFormatter):
    def __init__(self, prog: str) -> None:
        # A fixed width: asking for the terminal's would load shutil, a fifth of the start.
        super().__init__(prog, width=WIDTH)


class Parser(argparse.ArgumentParser):
    """A parser whose faults are raised, and whose options may stand between files."""

    def __init__(self, **how: Any) -> None:
        super().__init__(formatter_class=_Formatter, allow_abbrev=False, **how)
        self._mixed = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse; where files are left over, once more with options allowed between files."""
        found, left = super().parse_known_args(args, namespace)
        # Behind -- a name may begin with -, which only the first way of parsing knows.
        fixed = self._mixed or self._subparsers is not None or "--" in (args or ())
        if fixed or not any(not one.startswith("-") for one in left):
            return found, left
        self._mixed = True  # that way calls this one
        return self.parse_known_intermixed_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        raise Usage(f"{message} (see {self.prog} --help)")
