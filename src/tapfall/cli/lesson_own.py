"""``tapfall lesson own`` and ``rate``: a school's own recordings; do the sounds sound right?"""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.lesson_make import MODES, SEED_BITS, whole
from tapfall.cli.output import say

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.lesson.ratings import Rated


def add_own(command: argparse.ArgumentParser) -> None:
    """Add the options of a set of own recordings."""
    command.description = (
        "Make a set of your own recordings, with the consensus of two experts as its key: "
        "recordings on which they are more than 4 mmHg apart are left out and counted."
    )
    command.add_argument("manifest", metavar="MANIFEST", help="as for tapfall study: .csv")
    command.add_argument("-o", "--output", required=True, metavar="FOLDER", help="for learners")
    command.add_argument("--key", metavar="FILE", help="where the key goes (FOLDER-key.json)")
    command.add_argument("--seed", type=whole, metavar="S", help="draws order and zeros")
    command.add_argument("--mode", choices=MODES, default="practise", help="(practise)")
    command.add_argument("--replays", type=whole, metavar="N", help="how often again")
    command.add_argument("--random-zero", action="store_true", help="displace the dials' zero")
    command.add_argument(
        "--allow-outside", action="store_true", help="allow files outside the manifest's folder"
    )


def run_own(args: argparse.Namespace) -> int:
    """Make the set and say what was left out."""
    import secrets
    import textwrap

    from tapfall.errors import printable
    from tapfall.lesson.nouns import Mode
    from tapfall.lesson.own import make_own_set
    from tapfall.lesson.sheets import HEADPHONES
    from tapfall.model import CAUTION
    from tapfall.study import read_manifest

    manifest = read_manifest(args.manifest, allow_outside=args.allow_outside)
    made = make_own_set(
        manifest,
        args.output,
        args.key,
        seed=secrets.randbits(SEED_BITS) if args.seed is None else args.seed,
        mode=Mode(args.mode),
        replays=args.replays,
        random_zero=args.random_zero,
    )
    done = made.written
    lines = [
        f"{len(done.lesson.items)} items, {len(made.left_out)} left out without a consensus",
        *textwrap.wrap(f"For learners: {printable(str(done.folder))}", 80),
        *textwrap.wrap(
            f"For the teacher alone: {printable(str(done.key_path))}, "
            f"{printable(str(done.teacher_path))}",
            80,
        ),
        "",
        "The recordings may hold speech: give them only to those who may hear it.",
    ]
    for text in (HEADPHONES, CAUTION):
        lines += ["", *textwrap.wrap(text, 80)]
    say("\n".join(lines) + "\n")
    return DONE


def add_rate(command: argparse.ArgumentParser) -> None:
    """Add the options of rating a set."""
    command.description = (
        "Let experts say whether a set sounds right: without ratings write a sheet to fill in, "
        "with them tell what they come to beside the set's grade."
    )
    command.add_argument(
        "place", metavar="SET_FOLDER|KEY", help="the set to rate, or the key it is rated by"
    )
    command.add_argument("ratings", metavar="RATINGS", nargs="*", help="filled sheets: .csv")
    command.add_argument("-o", "--output", metavar="FILE", help="the sheet to fill in: .csv")


def run_rate(args: argparse.Namespace) -> int:
    """Write a sheet, or tell what the ratings come to."""
    from tapfall.cli.options import Usage
    from tapfall.errors import printable
    from tapfall.files.writing import write_bytes
    from tapfall.lesson.ratings import blank_sheet, rated, read_ratings
    from tapfall.lesson.sets import read_key, read_set

    if bool(args.ratings) == (args.output is not None):
        found = "both" if args.ratings else "neither"
        raise Usage(f"found {found} of RATINGS and --output; allowed one of them")
    if args.output is not None:
        write_bytes(args.output, blank_sheet(read_set(args.place)).encode("utf-8"))
        say(f"{printable(args.output)}: a row for each item; give each rater a code\n")
        return DONE
    key = read_key(args.place)
    say(_text(rated(key, [one for name in args.ratings for one in read_ratings(name)])))
    return DONE


def _text(found: Rated) -> str:
    from tapfall.lesson.words import number

    share = "-" if found.phases_share is None else f"{found.phases_share:.0%}"
    return (
        f"grade {found.grade or '-'}: {found.ratings} ratings by {found.raters} raters\n"
        f"  realistic (1 to 5)         {number(found.realistic)} "
        f"(SD {number(found.realistic_sd)})\n"
        f"  phases named               {share}\n"
        f"  first beat, heard - true   {number(found.first_mmhg, '+.1f')} mmHg\n"
        f"  last beat, heard - true    {number(found.last_mmhg, '+.1f')} mmHg\n"
    )
