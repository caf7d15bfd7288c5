"""The options of ``tapfall study``."""

from __future__ import annotations

import argparse

from tapfall.cli.numbers import whole_number

#: Most workers of one machine (that of the library).
MOST_WORKERS = 1024


def add_study(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Read every recording of a manifest, and hold the readings against what observers "
        "heard. What was interrupted goes on where it was; what has not changed is not read "
        "again."
    )
    command.epilog = (
        "The manifest is CSV with the columns recording, subject, audio and cuff, and if wanted "
        "observer_1_systolic_mmHg, observer_1_diastolic_mmHg, observer_1_marks, the same of "
        "observer_2, arm_cm, cuff_size, sex, age_years, device, condition, split, notes and any "
        "others. FOLDER then holds results.csv, readings, and pairs.csv for tapfall agree. Exit "
        "codes: 0 done, 1 done but no recording could be read, 2 bad input or usage, 130 ended by "
        "Ctrl-C or SIGTERM: the same command goes on."
    )
    command.add_argument("manifest", metavar="MANIFEST", help="the recordings: .csv")
    command.add_argument(
        "-o", "--output", required=True, metavar="FOLDER", help="where the results go"
    )
    command.add_argument(
        "--workers",
        type=whole_number(1, MOST_WORKERS),
        metavar="N",
        help="worker processes (as many as there are cores)",
    )
    command.add_argument(
        "--scheduler", metavar="ADDRESS", help="hand the work to a Dask cluster: tcp://host:8786"
    )
    command.add_argument(
        "--report",
        metavar="FILE",
        help="write a page with agreement and figures, and its numbers into FOLDER: .html",
    )
    command.add_argument(
        "--allow-outside",
        action="store_true",
        help="allow files outside the manifest's folder",
    )
