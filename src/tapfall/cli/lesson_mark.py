"""``tapfall lesson mark``: answers against the key."""

from __future__ import annotations

import argparse


def add_mark(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
