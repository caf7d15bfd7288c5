"""``tapfall lesson make``: a graded set of recordings, its key and its sheets."""

from __future__ import annotations

import argparse


def add_make(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
