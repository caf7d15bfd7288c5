"""The panel of cuff pressure: log, beats, thresholds, gaps; and the strip of phases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from tapfall.model import Beat, FloatArray, Phase, Reading, Rule, State, Threshold
from tapfall.show import look, words
from tapfall.show.words import SILENT, SOUNDS
from tapfall.wording import whole

_BELOW_IN = -0.312  # the line that names the time and the marks, below the panel
_LINE_IN, _BETWEEN_IN = 0.143, 0.075  # height of a label's line; room between two labels


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words beside the panel and the pressure they speak of."""

    mmhg: float
    lines: tuple[str, ...]
    tone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Neighbouring beats of one phase, from time to time."""

    phase: Phase
    start_s: float
    end_s: float


def phase_runs(beats: Sequence[Beat]) -> tuple[Run, ...]:
    """Join neighbouring beats of one phase; borders lie midway between beats.

    Examples
    --------
    >>> beats = [Beat(time_s=t, cuff_mmhg=99.0, heard=1.0, phase=p)
    ...          for t, p in ((1.0, Phase.K1), (2.0, Phase.K1), (3.0, Phase.K2))]
    >>> [(run.phase.value, run.start_s, run.end_s) for run in phase_runs(beats)]
    [('K1', 0.5, 2.5), ('K2', 2.5, 3.5)]
    """
    if not beats:
        return ()
    times = np.array([beat.time_s for beat in beats])
    middles = (times[1:] + times[:-1]) / 2
    half = float(np.median(np.diff(times))) / 2 if times.size > 1 else 0.4
    borders = [float(times[0]) - half, *middles.tolist(), float(times[-1]) + half]
    runs: list[Run] = []
    for beat, start_s, end_s in zip(beats, borders, borders[1:], strict=False):
        if runs and runs[-1].phase is beat.phase:
            start_s = runs.pop().start_s
        runs.append(Run(phase=beat.phase, start_s=start_s, end_s=end_s))
    return tuple(runs)


def draw_phases(axes: Axes, runs: Sequence[Run], width_s: float, width_in: float) -> None:
    """Draw the strip of phases; a name too wide for its run is set smaller or left out."""
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.set_ylabel("phase", rotation=0, ha="right", va="center")
    if not runs:
        axes.text(0.5, 0.46, "no beats found", transform=axes.transAxes, ha="center", va="center")
    for run in runs:
        fill, hatch = look.PHASE_FILLS[run.phase]
        axes.add_patch(
            Rectangle(
                (run.start_s, 0.0),
                run.end_s - run.start_s,
                1.0,
                facecolor=fill,
                edgecolor=look.SLATE,
                hatch=hatch,
                linewidth=0.5,
            )
        )
        room_in = (run.end_s - run.start_s) / width_s * width_in
        for size in (8.0, 6.5, 5.0):
            if len(run.phase.value) * size * 0.0092 <= room_in:
                axes.text(
                    (run.start_s + run.end_s) / 2,
                    0.46,
                    run.phase.value,
                    ha="center",
                    va="center",
                    fontsize=size,
                    clip_on=True,
                    bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.6}
                    if hatch
                    else None,
                )
                break


def draw_log(axes: Axes, time_s: FloatArray, pressure_mmhg: FloatArray) -> None:
    """Draw the cuff log, its time already on the clock of the sound."""
    axes.plot(time_s, pressure_mmhg, color=look.SLATE, linewidth=0.9, zorder=2.5)
    axes.set_ylabel("cuff pressure (mmHg)")
    axes.set_xlabel("time in the sound (s)", loc="left")


def draw_beats(axes: Axes, beats: Sequence[Beat], height_in: float) -> None:
    """Draw each beat: filled disc sounds, open square silent, half-filled diamond unsure.

    What the marks mean stands below the panel of this height, where it hides nothing.
    """
    kinds = (
        ("sounds", "o", "full", 4.6, [b for b in beats if b.heard >= SOUNDS]),
        ("unsure", "D", "left", 4.4, [b for b in beats if SILENT <= b.heard < SOUNDS]),
        ("silent", "s", "none", 3.8, [b for b in beats if b.heard < SILENT]),
    )
    handles = []
    for name, marker, fill, size, chosen in kinds:
        look_of = Line2D(
            [b.time_s for b in chosen],
            [b.cuff_mmhg for b in chosen],
            linestyle="none",
            marker=marker,
            fillstyle=fill,  # type: ignore[arg-type]
            markersize=size,
            color=look.INK,
            markerfacecoloralt=look.PAPER,
            markeredgecolor=look.INK,
            markeredgewidth=0.8,
            zorder=4,
            label=f"beat {name} ({len(chosen)})",
        )
        axes.add_line(look_of)
        handles.append(look_of)
    if beats:
        axes.legend(
            handles=handles,
            loc="center right",
            bbox_to_anchor=(1.0, _BELOW_IN / height_in),
            ncols=len(handles),
            frameon=False,
            fontsize=8.0,
            borderpad=0.0,
            borderaxespad=0.0,
            columnspacing=1.4,
            handletextpad=0.1,
        )


def _band(axes: Axes, low: float, high: float, tone: str, hatch: str | None) -> None:
    axes.axhspan(low, high, facecolor=tone, alpha=0.20, edgecolor="none", linewidth=0.0, zorder=1.2)
    if hatch:
        axes.axhspan(
            low, high, fill=False, hatch=hatch, edgecolor=tone, linewidth=0.0, alpha=0.6,
            zorder=1.1,
        )  # fmt: skip


def _draw_threshold(
    axes: Axes, name: str, one: Threshold, tone: str, style: str, span_s: tuple[float, float]
) -> list[Label]:
    lines = words.threshold_lines(name, one)
    if not lines:
        return []
    if one.state is State.OBSERVED:
        assert one.mmhg is not None
        if one.low_mmhg is not None and one.high_mmhg is not None:
            _band(axes, one.low_mmhg, one.high_mmhg, tone, None)
        axes.axhline(one.mmhg, color=tone, linestyle=style, linewidth=1.4, zorder=3)
        return [Label(mmhg=one.mmhg, lines=lines, tone=tone)]
    at_least = one.low_mmhg is not None
    bound = one.low_mmhg if one.low_mmhg is not None else one.high_mmhg
    assert bound is not None
    axes.axhline(bound, color=tone, linestyle=style, linewidth=1.4, zorder=3)
    axes.plot(
        np.linspace(*span_s, 14)[1:-1],
        np.full(12, bound),
        linestyle="none",
        marker=10 if at_least else 11,  # a caret resting on the line, pointing away from it
        markersize=7,
        color=tone,
        zorder=3,
    )
    return [Label(mmhg=bound, lines=lines, tone=tone)]


def draw_thresholds(axes: Axes, reading: Reading, span_s: tuple[float, float]) -> list[Label]:
    """Draw systolic, diastolic, muffling and gaps; return the labels they want."""
    labels = _draw_threshold(axes, "systolic", reading.systolic, look.SYSTOLIC, "-", span_s)
    for gap in reading.gaps:
        axes.axhspan(
            gap.lower_mmhg, gap.upper_mmhg, fill=False, hatch="////", edgecolor=look.GAP,
            linewidth=0.0, alpha=0.55, zorder=1.0,
        )  # fmt: skip
        for edge, low, high in (
            (gap.upper_mmhg, gap.upper_low_mmhg, gap.upper_high_mmhg),
            (gap.lower_mmhg, gap.lower_low_mmhg, gap.lower_high_mmhg),
        ):
            _band(axes, low, high, look.GAP, None)
            axes.axhline(edge, color=look.GAP, linestyle=":", linewidth=1.4, zorder=3)
        middle = (gap.upper_mmhg + gap.lower_mmhg) / 2
        labels.append(Label(mmhg=middle, lines=words.gap_lines(gap), tone=look.GAP))
    muffling = reading.muffling
    if muffling.mmhg is not None and reading.diastolic.rule is not Rule.K4:
        axes.axhline(muffling.mmhg, color=look.SLATE, linestyle=(0, (1, 3)), linewidth=1.1)
        text = f"muffling (K4) {whole(muffling.mmhg)} mmHg"
        labels.append(Label(mmhg=muffling.mmhg, lines=(text,), tone=look.SLATE))
    rule = words.RULE_WORDS[reading.diastolic.rule]
    below = _draw_threshold(axes, "diastolic", reading.diastolic, look.DIASTOLIC, "--", span_s)
    if below and below[0].lines[0].startswith("diastolic") and len(below[0].lines) > 1:
        first, *others = below[0].lines
        below = [Label(mmhg=below[0].mmhg, lines=(first, f"({rule})", *others), tone=below[0].tone)]
    return [*labels, *below]


def spread(wanted: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Move label centres, given from top to bottom, just far enough apart.

    Parameters
    ----------
    wanted
        Wanted centres as shares of the panel, falling.
    heights
        Height of each label, in the same unit.

    Returns
    -------
    list of float
        Centres, falling, no two labels overlapping, inside 0 to 1 if they fit.

    Examples
    --------
    >>> spread([0.75, 0.5], [0.5, 0.5])
    [0.75, 0.25]
    """
    groups: list[tuple[list[int], float]] = []
    for index, centre in enumerate(wanted):
        members, middle = [index], centre
        while True:
            total = sum(heights[i] for i in members)
            middle = max(min(middle, 1 - total / 2), total / 2)
            if not groups:
                break
            above, above_middle = groups[-1]
            above_total = sum(heights[i] for i in above)
            if above_middle - above_total / 2 >= middle + total / 2 - 1e-12:
                break
            groups.pop()
            count = len(above) + len(members)
            middle = (above_middle * len(above) + middle * len(members)) / count
            members = above + members
        groups.append((members, middle))
    centres = []
    for members, middle in groups:
        edge = middle + sum(heights[i] for i in members) / 2
        for i in members:
            centres.append(edge - heights[i] / 2)
            edge -= heights[i]
    return centres


def draw_labels(axes: Axes, labels: Sequence[Label], height_in: float) -> None:
    """Write the labels to the right of a panel of this height, tied to their lines."""
    low, high = axes.get_ylim()
    ordered = sorted(labels, key=lambda label: -label.mmhg)
    places = [(label.mmhg - low) / (high - low) for label in ordered]
    heights = [(_LINE_IN * len(label.lines) + _BETWEEN_IN) / height_in for label in ordered]
    for label, place, centre in zip(ordered, places, spread(places, heights), strict=True):
        axes.plot(
            [1.0, 1.012, 1.024],
            [place, centre, centre],
            transform=axes.transAxes,
            color=label.tone,
            linewidth=1.0,
            clip_on=False,
        )
        axes.text(
            1.03,
            centre,
            "\n".join(label.lines),
            transform=axes.transAxes,
            va="center",
            ha="left",
            fontsize=8.0,
            linespacing=1.25,
            color=look.INK,
        )
