"""``tapfall lesson page``: the page on which a learner listens and answers."""

from __future__ import annotations

import argparse


def add_page(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
