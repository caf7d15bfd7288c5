"""``python -m tests.accuracy.limits``: draw where reading breaks down, and what confidence means.

Three pictures: the shares of recordings with both pressures given and right, and
with one given wrong, against the ratio of signal to noise and against the rate
of deflation, each beside a short script of general-purpose libraries
(:mod:`tests.accuracy.plain`); and the share of values that are right against the
confidence given.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes

from tapfall.show.look import DIASTOLIC, HAIR, INK, SLATE, STYLE, SYSTOLIC
from tests.accuracy.__main__ import seeds
from tests.accuracy.groups import SWEEPS
from tests.accuracy.results import Calibration, Share, Tenth, share
from tests.accuracy.run import READER, score_many
from tests.accuracy.scoring import Score
from tests.accuracy.splits import SEEDS

PLAIN = "tests.accuracy.plain:read_plain"
#: Name, line and mark of each reader in the pictures.
READERS = {
    READER: ("tapfall", SYSTOLIC, "-", "o"),
    PLAIN: ("band-pass, librosa onsets, longest run", DIASTOLIC, "--", "s"),
}
LABELS = {
    "noise": "signal-to-noise ratio, dB (pink noise)",
    "rate": "rate of deflation, mmHg/s",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Of the recordings at one value: both pressures given and right, and any given wrong."""

    right: Share
    wrong: Share


def outcome(rows: Sequence[Score]) -> Outcome:
    """Sum up the rows of one value."""
    both = [(row.systolic, row.diastolic) for row in rows]
    return Outcome(
        right=share(all(one.given and one.right for one in pair) for pair in both),
        wrong=share(any(one.given and not one.right for one in pair) for pair in both),
    )


def swept(sweep: str, chosen: range, workers: int) -> dict[str, list[Outcome]]:
    """Outcomes of each reader at each value of a sweep."""
    cases = [(name, seed) for name in SWEEPS[sweep] for seed in chosen]
    found = {}
    for reader in READERS:
        rows = score_many(cases, workers=workers, reader=reader)
        found[reader] = [
            outcome([row for row in rows if row.group == name]) for name in SWEEPS[sweep]
        ]
    return found


def _percent(share: Share) -> tuple[float, float, float]:
    low, high = share.bounds
    return 100 * (share.value or 0.0), 100 * low, 100 * high


def _plain_axes(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.grid(axis="y", color=HAIR, linewidth=0.5)
    axes.set_axisbelow(True)


def draw_sweep(sweep: str, found: dict[str, list[Outcome]], file: Path) -> None:
    """Shares right, with exact 95 % bounds, and wrong against the value swept."""
    values = np.array(list(SWEEPS[sweep].values()))
    with plt.rc_context(STYLE):
        figure, axes = plt.subplots(figsize=(6.4, 3.8), layout="constrained")
        for reader, each in found.items():
            name, tone, line, mark = READERS[reader]
            right = np.array([_percent(one.right) for one in each])
            wrong = [_percent(one.wrong)[0] for one in each]
            axes.fill_between(values, right[:, 1], right[:, 2], color=tone, alpha=0.15, lw=0)
            axes.plot(
                values, right[:, 0], line, marker=mark, color=tone, ms=4, label=f"{name}: right"
            )
            axes.plot(values, wrong, ":", marker="x", color=tone, ms=4, lw=1.0, label="given wrong")
        axes.set(xlabel=LABELS[sweep], ylim=(-3, 103), xlim=(values.min(), values.max()))
        axes.set_ylabel("% of all recordings")
        figure.legend(loc="outside upper left", ncols=2, frameon=False)
        _plain_axes(axes)
        figure.savefig(file, dpi=150)
        plt.close(figure)


def draw_reliability(found: Calibration, file: Path) -> None:
    """Share right against confidence, by tenths, with exact 95 % bounds."""
    with plt.rc_context(STYLE):
        figure, axes = plt.subplots(figsize=(4.4, 4.0), layout="constrained")
        axes.plot([0, 1], [0, 1], color=HAIR, lw=1.0)
        for tenth in found.tenths:
            wrong, low, high = (value / 100 for value in _percent(tenth.wrong))
            at, right = tenth.mean_confidence, 1 - wrong
            axes.plot([at, at], [1 - high, 1 - low], color=SLATE, lw=1.0)
            axes.plot(at, right, "o", color=SYSTOLIC, ms=5)
            axes.annotate(
                f"{tenth.values}",
                (at, 1 - high),
                (0, -9),
                textcoords="offset points",
                ha="center",
                fontsize=6.5,
                color=INK,
            )
        axes.set(xlim=(0.25, 1.02), ylim=(0, 1.02))
        axes.set_xlabel("confidence given")
        axes.set_ylabel("share within 4 mmHg")
        _plain_axes(axes)
        figure.savefig(file, dpi=150)
        plt.close(figure)


def reliability(file: Path) -> Calibration:
    """The calibration of all groups, from what ``python -m tests.accuracy --json`` wrote."""
    whole: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))[-1]["calibration"]

    def counted(one: dict[str, Any]) -> Share:
        return Share(some=one["some"], all=one["all"])

    return Calibration(
        values=whole["values"],
        expected_error=whole["expected_error"],
        sure_wrong=counted(whole["sure_wrong"]),
        tenths=tuple(
            Tenth(
                low=one["low"],
                values=one["values"],
                mean_confidence=one["mean_confidence"],
                wrong=counted(one["wrong"]),
            )
            for one in whole["tenths"]
        ),
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.limits", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--per-point", type=int, default=60, help="recordings per value (60)")
    parser.add_argument("--split", choices=list(SEEDS), default="development")
    parser.add_argument("--first-seed", type=int)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--results", type=Path, metavar="FILE.json", help="draw the reliability of these results"
    )
    given = parser.parse_args(arguments)
    given.output.mkdir(parents=True, exist_ok=True)
    chosen = seeds(given.split, given.first_seed, given.per_point)
    for sweep in SWEEPS:
        found = swept(sweep, chosen, given.workers)
        draw_sweep(sweep, found, given.output / f"limits_{sweep}.png")
        for reader, each in found.items():
            shares = [f"{_percent(one.right)[0]:.0f}/{_percent(one.wrong)[0]:.0f}" for one in each]
            print(f"{sweep}, right/wrong, {READERS[reader][0]}: {' '.join(shares)}")
    if given.results:
        draw_reliability(reliability(given.results), given.output / "reliability.png")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
