"""``tapfall lesson own`` and ``rate``: a school's own recordings; do the sounds sound right?"""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.lesson_make import MODES, SEED_BITS
from tapfall.cli.numbers import whole_number
from tapfall.cli.output import say
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.lesson.ratings import Rated


def add_own(command: argparse.ArgumentParser) -> None:
    """Add the options of a set of own recordings."""
    command.description = (
        "Make a set of your own recordings, with the consensus of two experts as its key: "
        "recordings on which they are more than 4 mmHg apart are left out and named."
    )
    command.add_argument("manifest", metavar="MANIFEST", help="as for tapfall study: .csv")
    command.add_argument("-o", "--output", required=True, metavar="FOLDER", help="for learners")
    command.add_argument("--key", metavar="FILE", help="where the key goes (FOLDER-key.json)")
    command.add_argument("--seed", type=whole_number(0), metavar="S", help="draws order and zeros")
    command.add_argument(
        "--mode", choices=MODES, default="practise", help="what learners are told (practise)"
    )
    command.add_argument("--replays", type=whole_number(0), metavar="N", help="how often again")
    command.add_argument("--random-zero", action="store_true", help="displace the dials' zero")
    command.add_argument(
        "--allow-outside", action="store_true", help="allow files outside the manifest's folder"
    )


def run_own(args: argparse.Namespace) -> int:
    """Make the set and say what was left out."""
    import secrets
    import textwrap

    from tapfall.cli.ending import cleared_up
    from tapfall.errors import printable
    from tapfall.lesson.nouns import Mode
    from tapfall.lesson.own import make_own_set
    from tapfall.lesson.sheets import HEADPHONES
    from tapfall.model import CAUTION
    from tapfall.study import read_manifest

    manifest = read_manifest(args.manifest, allow_outside=args.allow_outside)
    with cleared_up():
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
        *textwrap.wrap(
            f"{len(done.lesson.items)} items, {len(made.left_out)} left out without a consensus"
            f"{': ' * bool(made.left_out)}{', '.join(map(printable, made.left_out))}",
            WIDTH,
        ),
        *textwrap.wrap(f"For learners: {printable(str(done.folder))}", WIDTH),
        *textwrap.wrap(
            f"For the teacher alone: {printable(str(done.key_path))}, "
            f"{printable(str(done.teacher_path))}",
            WIDTH,
        ),
        "",
        "The recordings may hold speech: give them only to those who may hear it.",
    ]
    for text in (HEADPHONES, CAUTION):
        lines += ["", *textwrap.wrap(text, WIDTH)]
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
    command.add_argument(
        "--key",
        dest="others",
        action="append",
        default=[],
        metavar="KEY",
        help="key of a further set, so that grades stand beside each other; may be given again",
    )
    command.add_argument(
        "-o", "--output", metavar="FILE", help="the sheet to fill in: .csv, or .pdf to print"
    )


def run_rate(args: argparse.Namespace) -> int:
    """Write a sheet, or tell what the ratings come to."""
    from pathlib import Path

    from tapfall.cli.parser import Usage
    from tapfall.errors import printable
    from tapfall.files.names import label_of
    from tapfall.files.writing import check_new, write_bytes
    from tapfall.lesson.ratings import blank_sheet, check_ratings, rated, read_ratings
    from tapfall.lesson.sets import key_beside, read_key, read_set

    if bool(args.ratings) == (args.output is not None):
        found = "both" if args.ratings else "neither"
        raise Usage(f"found {found} of RATINGS and --output; allowed one of them")
    if args.output is not None:
        if not args.output.lower().endswith((".csv", ".pdf")):
            raise Usage(f"--output: found {label_of(args.output)}; allowed a name in .csv or .pdf")
        lesson = read_set(args.place)
        # An expert may have filled it in.
        check_new(args.output, "another -o, or removing it, which loses what was filled in")
        if args.output.lower().endswith(".pdf"):
            from tapfall.lesson.sheets import rating_sheet

            write_bytes(args.output, rating_sheet(lesson))
        else:
            write_bytes(args.output, blank_sheet(lesson).encode("utf-8"))
        say(f"{printable(args.output)}: a row for each item; give each rater a code\n")
        return DONE
    places = (args.place, *args.others)
    keys = [read_key(key_beside(name) if Path(name).is_dir() else name) for name in places]
    ratings = [one for name in args.ratings for one in read_ratings(name)]
    check_ratings(keys, ratings)
    by_set = [[one for one in ratings if one.set_id == key.set_id] for key in keys]
    say(_text([rated(key, part) for key, part in zip(keys, by_set, strict=True)]))
    return DONE


def _text(sets: list[Rated]) -> str:
    """A row for each set, in the order of their keys."""
    import textwrap

    from tapfall.errors import printable
    from tapfall.lesson.words import number
    from tapfall.model import CAUTION

    lines = [
        f"{'grade':<8}{'raters':>7}{'ratings':>9}{'realistic (SD)':>16}{'phases':>9}"
        f"{'first, mmHg':>14}{'last, mmHg':>13}"
    ]
    for found in sets:
        real = f"{number(found.realistic)} ({number(found.realistic_sd)})"
        share = "-" if found.phases_share is None else f"{found.phases_share:.0%}"
        lines.append(
            f"{printable(found.grade or '-'):<8}{found.raters:>7}{found.ratings:>9}{real:>16}"
            f"{share:>9}{number(found.first_mmhg, '+.1f'):>14}{number(found.last_mmhg, '+.1f'):>13}"
        )
    lines += [
        "",
        *textwrap.wrap(
            "Realistic: 1 to 5 (as from an arm). Phases: of those named or there, how many are "
            "both. First and last audible beat: heard minus true.",
            WIDTH,
        ),
        "",
        *textwrap.wrap(CAUTION, WIDTH),
    ]
    return "\n".join(lines) + "\n"
