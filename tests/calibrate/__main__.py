"""Fit the ear's numbers on simulated recordings; each step writes what it fitted.

In this order, for each rests on those before it::

    python -m tests.calibrate rises       # from here on needs the extra "fit" (JAX)
    python -m tests.calibrate damping
    python -m tests.calibrate onsets
    python -m tests.calibrate onsets_around --epochs 24
    python -m tests.calibrate pulses
    python -m tests.calibrate sounds
    python -m tests.calibrate evidence
    python -m tests.calibrate starting
    python -m tests.calibrate closer
    python -m tests.calibrate muffling
    python -m tests.calibrate ends        # to here
    python -m tests.calibrate presence
    python -m tests.calibrate presence_by_sounds
    python -m tests.calibrate above
    python -m tests.calibrate confidence
    python -m tests.calibrate early
    python -m tests.calibrate early_by_sounds
    python -m tests.calibrate late
    python -m tests.calibrate late_by_sounds

All but the last five use development seeds; ``confidence`` and those of ``early`` and ``late``
use calibration seeds and nothing else does.  Networks go to ``ear/layers.npz``, all else to
``ear/calibration.json``.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from tests.calibrate import small
from tests.calibrate.damping import fit_damping, marked
from tests.calibrate.ends import begun
from tests.calibrate.gather import ended, gather, heard, risen, scanned
from tests.calibrate.starts import started, starting
from tests.calibrate.stored import write_layers, write_numbers

CHARTS = ("rises", "onsets", "onsets_around", "pulses", "sounds")
BEATS = ("evidence", "starting", "closer", "muffling")
#: Networks that are fitted alike from other beginnings; their mean counts.
MEMBERS = {"evidence": 3, "starting": 1, "closer": 2, "muffling": 1, "ends": 3}
#: How many more recordings of some kinds a fit sees: people far from the middle; a closer listening
#: only where the sounds make the clock; and for the first and last sounds, of which clocks made of
#: sounds, half a minute of silence above them and sounds that go on to zero leave most to be told.
MORE = {
    "rises": {"unusual": 3000, "any_unusual": 3000},
    "evidence": {"unusual": 2600, "any_unusual": 3000},
    "onsets_around": {
        "atrial_fibrillation": 200,
        "ectopic": 200,
        "irregular": 200,
        "gap": 200,
        "any_unusual": 200,
    },
    "closer": {"coarse_log": 800, "any_coarse": 2600, "any_plain": 2600, "plain_no_sounds": 300},
    "ends": {
        "coarse_log": 1200,
        "any_coarse": 500,
        "far_above": 800,
        "to_zero": 800,
        "gap": 400,
        "ordinary": 400,
        "unusual": 1200,
        "any_unusual": 1200,
    },
    "presence": {"unusual": 1200, "any_unusual": 1200, "unusual_no_sounds": 550},
    "presence_by_sounds": {"any_coarse": 1500, "any_plain": 1500, "plain_no_sounds": 700},
    "early_by_sounds": {"coarse_log": 240, "any_coarse": 540, "any_plain": 540},
    "late_by_sounds": {"coarse_log": 100, "any_coarse": 100, "any_plain": 100},
    "confidence": {
        "slow_log": 80,
        "atrial_fibrillation": 80,
        "any_coarse": 900,
        "any_plain": 500,
        "unusual": 500,
        "any_unusual": 500,
    },
}
#: Where the seeds of the calibration split that a fit uses begin.
FIRST_SEEDS = {
    "confidence": 10_000,
    "early": 10_300,
    "early_by_sounds": 18_200,
    "late": 10_300,
    "late_by_sounds": 18_300,
}
PRESENCES = ("presence", "presence_by_sounds")
WHAT = ("damping", *CHARTS, *BEATS, "ends", *PRESENCES, "above", "confidence", *small.PROMISES)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one fit."""
    parser = argparse.ArgumentParser(prog="python -m tests.calibrate", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("what", choices=WHAT)
    parser.add_argument("--per-group", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=None)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--epochs", type=int, default=8)
    options = parser.parse_args(arguments)
    what, count, workers = options.what, options.per_group, options.workers
    more = MORE.get(what)
    first = options.first_seed
    if first is None:
        first = FIRST_SEEDS.get(what, 2000)
    if what in CHARTS:
        from tests.calibrate import layers

        look = risen if what == "rises" else scanned
        charts = gather(look, first, count, workers, wide=True, more=more)
        write_layers(what, layers.fit_charts(what, charts, options.epochs))
    elif what in BEATS:
        from tests.calibrate import layers

        look = starting if what == "starting" else heard
        rows = gather(look, first, count, workers, wide=True, more=more)
        examples = {
            "evidence": layers.evidence_of,
            "starting": layers.evidence_of,
            "closer": partial(layers.evidence_of, rounds="closer"),
            "muffling": layers.muffling_of,
        }[what](rows)
        for number in range(1, MEMBERS[what] + 1):
            network, standard = layers.fit_beats(what, examples, 4 * options.epochs, seed=number)
            write_layers(what if number == 1 else f"{what}-{number}", network)
        write_numbers(**{what: standard})
    elif what == "damping":
        rows = gather(marked, first, count, workers, wide=True, more=more)
        write_numbers(damping=fit_damping(rows))
    elif what == "ends":
        from tests.calibrate.choosing import fit_choices

        rows = gather(begun, first, count, workers, wide=True, more=more)
        for kind in ("first_sound", "last_sound"):
            choices = [one for row in rows for one in row["choices"][kind]]
            for number in range(1, MEMBERS[what] + 1):
                network, standard = fit_choices(choices, options.epochs, seed=number)
                write_layers(kind if number == 1 else f"{kind}-{number}", network)
            write_numbers(**{kind: standard})
    elif what in PRESENCES:
        rows = gather(heard, first, count, workers, wide=True, more=more)
        write_numbers(**{what: small.presence(rows)})
    elif what == "above":
        rows = gather(heard, first, count, workers)
        write_numbers(above=small.above(rows))
    elif what in small.PROMISES:
        write_numbers(**small.nothing_promised(what))
        look = ended if what.startswith("late") else started
        write_numbers(**{what: small.promise(gather(look, first, count, workers, more=more), what)})
    else:
        write_numbers(**small.nothing_known())
        rows = gather(heard, first, count, workers, more=more)
        nets, widening = small.confidence(rows)
        write_numbers(confidence=nets, widening_mmhg=widening)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
