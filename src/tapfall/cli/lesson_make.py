"""``tapfall lesson make``: a graded set of recordings, its key and its sheets."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.numbers import whole_number
from tapfall.cli.output import say
from tapfall.wording import WIDTH

GRADES = ("1", "2", "3", "4", "5", "6")
MODES = ("learn", "practise", "examine")
#: Items that learners can be asked in one sitting, unless chosen (our choice).
COUNT = 10
#: A seed that is drawn has so many bits; a shorter one can be tried out.
SEED_BITS, SHORT_BITS = 62, 40


def add_make(command: argparse.ArgumentParser) -> None:
    """Add the options of the command that no other command has."""
    command.description = (
        "Make a set of graded recordings to learn from: sounds and dials for learners in "
        "FOLDER, and beside it a key and a teacher's sheet that learners must not get."
    )
    command.add_argument("--grade", required=True, choices=GRADES, help="how hard, 1 to 6")
    command.add_argument(
        "--count", type=whole_number(1), default=COUNT, metavar="N", help=f"recordings ({COUNT})"
    )
    command.add_argument(
        "--repeats", type=whole_number(0), default=0, metavar="N", help="items that stand twice (0)"
    )
    command.add_argument(
        "--seed",
        type=whole_number(0),
        metavar="S",
        help="makes the set again (drawn unless given)",
    )
    command.add_argument(
        "-o", "--output", required=True, metavar="FOLDER", help="what learners get"
    )
    command.add_argument("--key", metavar="FILE", help="where the key goes (FOLDER-key.json)")
    command.add_argument(
        "--mode", choices=MODES, default="practise", help="what learners are told (practise)"
    )
    command.add_argument(
        "--replays", type=whole_number(0), metavar="N", help="how often an item may be heard again"
    )
    command.add_argument(
        "--random-zero",
        action="store_true",
        help="displace the zero of each dial upwards by up to 20 mmHg",
    )


def run(args: argparse.Namespace) -> int:
    """Make the set and say where everything is."""
    import secrets
    import textwrap

    from tapfall.cli.ending import cleared_up
    from tapfall.cli.progress import progress
    from tapfall.errors import printable
    from tapfall.lesson import Mode, Order, grade_of, make_set
    from tapfall.lesson.sheets import HEADPHONES, SIMULATED
    from tapfall.model import CAUTION
    from tapfall.wording import counted

    seed = secrets.randbits(SEED_BITS) if args.seed is None else args.seed
    order = Order(
        grade=grade_of(args.grade),
        count=args.count,
        seed=seed,
        mode=Mode(args.mode),
        replays=args.replays,
        random_zero=args.random_zero,
        repeats=args.repeats,
    )
    with cleared_up(), progress(args.count, "recordings") as told:
        made = make_set(order, args.output, args.key, told)
    lines = [
        *textwrap.wrap(
            f"Grade {order.grade.name}, {order.grade.title}: "
            f"{counted(len(made.lesson.items), 'item')}, set {made.lesson.set_id}",
            WIDTH,
        ),
        "",
        *textwrap.wrap(f"For learners: {printable(str(made.folder))}", WIDTH),
        *textwrap.wrap(
            f"For the teacher alone: {printable(str(made.key_path))}, "
            f"{printable(str(made.teacher_path))}",
            WIDTH,
        ),
    ]
    if order.mode is Mode.EXAMINE and seed < 2**SHORT_BITS:
        lines += textwrap.wrap(
            "So short a seed can be tried out until the sounds are the same: leave --seed out "
            "for an examination.",
            WIDTH,
        )
    for text in (HEADPHONES, SIMULATED, CAUTION):
        lines += ["", *textwrap.wrap(text, WIDTH)]
    say("\n".join(lines) + "\n")
    return DONE
