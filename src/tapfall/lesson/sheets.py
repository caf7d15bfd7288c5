"""Sheets to print: one to write answers on, one for the teacher with every item drawn."""

from __future__ import annotations

import io
import itertools
import logging
import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib import style
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D

from tapfall.lesson.nouns import Key, KeyItem, LessonSet
from tapfall.lesson.texts import RULES, words_of
from tapfall.model import CAUTION
from tapfall.show import look

#: A4, inches.
PAGE_IN = (8.27, 11.69)
#: Rows of the answer sheet on one page, and drawn items of the teacher's.
ROWS, DRAWN = 25, 8
#: What every sheet says of loudness.
HEADPHONES = (
    "Headphones: play the file level.flac first, with the volume down, and turn it up until "
    "the loud tone is clear and not unpleasant and the faint one can just be heard. Nothing in "
    "the set swings further than the loud tone."
)
WITH_PAGE = "The manometer that goes with the sounds is in the listening page: write beside it."
SIMULATED = "The sounds are simulated; no person was measured."
#: Fonts that every reader of PDF has: to put one in takes longer than a page.
_FONTS = {"pdf.use14corefonts": True, "font.sans-serif": ["Helvetica"]}
_METADATA = {"CreationDate": None, "Producer": "tapfall", "Creator": "tapfall"}


def answer_sheet(lesson: LessonSet, *, simulated: bool = True) -> bytes:
    """Return the sheet to write answers on, PDF; it holds nothing of the key.

    Parameters
    ----------
    lesson
        The public part of the set.
    simulated
        Whether the sounds are.
    """
    names = [item.name for item in lesson.items]
    pages = [names[i : i + ROWS] for i in range(0, len(names), ROWS)]
    count = len(pages)
    return _printed(
        _answers(lesson, rows, n + 1, count, simulated=simulated) for n, rows in enumerate(pages)
    )


def teacher_sheet(key: Key, *, title: str, simulated: bool = True) -> bytes:
    """Return the teacher's sheet, PDF: all values, and each item drawn.

    Parameters
    ----------
    key
        The key of the set.
    title
        What its items are like.
    simulated
        Whether the sounds were.
    """
    items = key.items
    pages = [items[i : i + DRAWN] for i in range(0, len(items), DRAWN)]
    lists = [items[i : i + ROWS] for i in range(0, len(items), ROWS)]
    figures = (_values(key, rows, title, simulated=simulated) for rows in lists)
    return _printed(itertools.chain(figures, (_drawn(key, part) for part in pages)))


def rating_sheet(lesson: LessonSet) -> bytes:
    """Return the sheet on which an expert says whether the sounds of a set sound right, PDF.

    Parameters
    ----------
    lesson
        The public part of the set; the sheet holds nothing of the key.
    """
    names = [item.name for item in lesson.items]
    pages = [names[i : i + ROWS] for i in range(0, len(names), ROWS)]
    return _printed(_ratings(lesson, rows, n + 1, len(pages)) for n, rows in enumerate(pages))


def rules_text() -> str:
    """Return what makes a systolic and a diastolic, in plain words, as the page says it."""
    page, _ = words_of("en")
    return " ".join(page[name] for name in RULES)


def _printed(figures: Iterable[Figure]) -> bytes:
    page = io.BytesIO()
    # Told of every font that its one weight is called medium.
    log = logging.getLogger("matplotlib.font_manager")
    before = log.level
    log.setLevel(logging.ERROR)
    with (
        style.context(["default", look.STYLE, _FONTS]),
        PdfPages(page, metadata=_METADATA) as book,
    ):
        for figure in figures:
            book.savefig(figure)
    log.setLevel(before)
    return page.getvalue()


def _page() -> Figure:
    figure = Figure(figsize=PAGE_IN, facecolor=look.PAPER)
    FigureCanvasPdf(figure)
    return figure


@lru_cache
def _type(size_pt: float, *, bold: bool = False) -> FontProperties:
    """A font of a size, made once: what each text makes for itself takes a fifth of a sheet."""
    return FontProperties(size=size_pt, weight="bold" if bold else "normal")


def _head(figure: Figure, title: str, lines: Sequence[str]) -> float:
    """Title and some lines; return how high the next thing may begin."""
    parts = textwrap.wrap(title, 58)
    figure.text(0.08, 0.95, "\n".join(parts), fontsize=15, fontweight="bold", va="top")
    at = 0.94 - 0.025 * len(parts)
    for line in lines:
        for part in textwrap.wrap(line, 104):
            figure.text(0.08, at, part, fontsize=8, va="top")
            at -= 0.0155
        at -= 0.004
    return at


def _foot(figure: Figure) -> None:
    for row, line in enumerate(reversed(textwrap.wrap(CAUTION, 118))):
        figure.text(0.08, 0.03 + 0.0135 * row, line, fontsize=7, color=look.SLATE)


def _ratings(lesson: LessonSet, rows: Sequence[str], number: int, count: int) -> Figure:
    figure = _page()
    lines = [
        HEADPHONES,
        "For experts: do the sounds sound right? Realistic: 1 (nothing like it) to 5 (as from an "
        "arm). Phases: those that you hear (K1 sharp, K2 with a murmur, K3 crisp, K4 muffled). "
        "First and last: what the dial shows at the first and the last beat that can be heard. "
        "Leave empty what you cannot say.",
    ]
    at = _head(figure, f"Rating sheet, set {lesson.set_id}", lines)
    figure.text(0.08, at - 0.006, f"page {number} of {count}", fontsize=8, va="top")
    figure.text(
        0.92, at - 0.006, "code (no name) ______________   date ______________", fontsize=8,
        va="top", ha="right",
    )  # fmt: skip
    _table(
        figure,
        at - 0.03,
        ("item", "realistic, 1-5", "phases", "first, mmHg", "last, mmHg", "remarks"),
        [(name, "", "", "", "", "") for name in rows],
        (0.11, 0.13, 0.15, 0.12, 0.12, 0.21),
    )
    _foot(figure)
    return figure


def _answers(
    lesson: LessonSet, rows: Sequence[str], number: int, count: int, *, simulated: bool
) -> Figure:
    figure = _page()
    lines = [WITH_PAGE, HEADPHONES, *([SIMULATED] if simulated else []), rules_text()]
    if lesson.random_zero:
        lines.append(
            "The zero of each dial is displaced by an unknown amount. Write down what the dial "
            "shows; the displacement is taken off when the answers are marked."
        )
    lines.append(
        "Write a dash where a pressure cannot be told. Read to the nearest 2 mmHg; do not round "
        "further."
    )
    at = _head(figure, f"Answer sheet, set {lesson.set_id}", lines)
    figure.text(0.08, at - 0.006, f"page {number} of {count}", fontsize=8, va="top")
    figure.text(
        0.92, at - 0.006, "code (no name) ______________   date ______________", fontsize=8,
        va="top", ha="right",
    )  # fmt: skip
    _table(
        figure,
        at - 0.03,
        ("item", "systolic, mmHg", "diastolic, mmHg", "heard again, times", "remarks"),
        [(name, "", "", "", "") for name in rows],
        (0.12, 0.17, 0.17, 0.16, 0.22),
    )
    _foot(figure)
    return figure


def _values(key: Key, rows: Sequence[KeyItem], title: str, *, simulated: bool) -> Figure:
    figure = _page()
    lines = ["Holds the answers: keep it from learners."]
    if simulated:
        lines += [SIMULATED, rules_text()]
    lines.append(
        "Pressures are true ones, in mmHg; where the zero of a dial is displaced, the dial shows "
        "that much more. A beat: by how many mmHg the cuff falls from beat to beat."
    )
    if key.seed is not None:
        lines.append(f"Seed {key.seed}: whoever has it can make the key again.")
    at = _head(figure, f"Teacher's sheet, set {key.set_id}: {title}", lines)
    cells = [
        (
            one.name if one.same_as is None else f"{one.name} (= {one.same_as})",
            _mmhg(one.systolic_mmhg),
            _mmhg(one.diastolic_mmhg),
            _mmhg(one.k4_mmhg),
            ", ".join(f"{gap.upper_mmhg:.0f}-{gap.lower_mmhg:.0f}" for gap in one.gaps) or "-",
            f"{one.offset_mmhg:+.0f}",
            f"{one.step_mmhg:.1f}",
            "-" if one.sex is None else str(one.sex),
        )
        for one in rows
    ]
    names = ("item", "systolic", "diastolic", "K4", "silent gap", "dial shows", "a beat", "sex")
    _table(figure, at - 0.02, names, cells, (0.2, 0.1, 0.1, 0.07, 0.12, 0.1, 0.08, 0.08))
    _foot(figure)
    return figure


def _mmhg(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"


def _table(
    figure: Figure,
    top: float,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
) -> None:
    """Rows of cells from a height down, ruled."""
    height = min(0.027, (top - 0.09) / (ROWS + 1))
    lefts = (0.08 + np.concatenate([[0.0], np.cumsum(widths)])).tolist()
    across: tuple[list[float], list[float]] = ([lefts[0], lefts[-1], np.nan] * (len(rows) + 1), [])
    for row, cells in enumerate((head, *rows)):
        at = top - height * (row + 1)
        font = _type(8, bold=row == 0)
        for left, cell in zip(lefts, cells, strict=False):
            figure.text(left + 0.006, at + 0.3 * height, cell, fontproperties=font)
        across[1].extend([at, at, np.nan])
    bottom = top - height * (len(rows) + 1)
    down = (
        [value for left in lefts for value in (left, left, np.nan)],
        [bottom, top, np.nan] * len(lefts),
    )
    _rule(figure, *down, color=look.HAIR, lw=0.5)
    _rule(figure, *across, color=look.SLATE, lw=0.5)
    _rule(figure, across[0][:2], across[1][:2], color=look.SLATE, lw=0.9)


def _rule(figure: Figure, xs: Sequence[float], ys: Sequence[float], **marks: Any) -> None:
    """Draw a line, or points, on the page itself: axes take longer than all that is in them."""
    figure.add_artist(Line2D(xs, ys, transform=figure.transFigure, **marks))


def _drawn(key: Key, items: Sequence[KeyItem]) -> Figure:
    figure = _page()
    figure.text(0.08, 0.97, f"Set {key.set_id}", fontsize=10, fontweight="bold", va="top")
    strokes = _Strokes()
    for place, item in enumerate(items):
        left = 0.11 + 0.46 * (place % 2)
        _draw_item(figure, strokes, item, (left, 0.775 - 0.222 * (place // 2), 0.37, 0.155))
    strokes.draw(figure)
    figure.text(
        0.08, 0.056, "filled: a sound   ring: none   lines: systolic, diastolic, K4 (dotted), gap",
        fontsize=7,
    )  # fmt: skip
    _foot(figure)
    return figure


@dataclass(frozen=True, slots=True)
class _Strokes:
    """Lines, points and shades of a page by their look: drawn one by one they take four times
    as long."""

    parts: dict[str, tuple[list[float], list[float]]] = field(default_factory=dict)
    shades: list[list[tuple[float, float]]] = field(default_factory=list)

    def add(self, kind: str, xs: Sequence[float], ys: Sequence[float]) -> None:
        """Add a line, or points."""
        at, of = self.parts.setdefault(kind, ([], []))
        at.extend([*xs, math.nan])
        of.extend([*ys, math.nan])

    def draw(self, figure: Figure) -> None:
        """Draw them all."""
        shades = PolyCollection(self.shades, color=look.GAP, alpha=0.25, lw=0)
        shades.set_transform(figure.transFigure)
        figure.add_artist(shades)
        for kind, marks in _MARKS.items():
            if kind in self.parts:
                _rule(figure, *self.parts[kind], **marks)


#: How each kind of stroke looks, the lowest first.
_MARKS: dict[str, dict[str, Any]] = {
    "box": {"color": look.SLATE, "lw": 0.6},
    "systolic": {"color": look.SYSTOLIC, "lw": 0.8},
    "k4": {"color": look.DIASTOLIC, "lw": 0.8, "ls": ":"},
    "diastolic": {"color": look.DIASTOLIC, "lw": 0.8},
    "heard": {"marker": "o", "ls": "", "ms": 3.2, "mfc": look.INK, "mec": look.INK, "mew": 0.5},
    "silent": {
        "marker": "o",
        "ls": "",
        "ms": 2.8,
        "mfc": look.PAPER,
        "mec": look.SLATE,
        "mew": 0.5,
    },
}


def _draw_item(
    figure: Figure, strokes: _Strokes, item: KeyItem, box: tuple[float, float, float, float]
) -> None:
    """Draw the beats of an item over time and pressure, with the pressures to be read."""
    left, bottom, width, height = box
    name = item.name if item.same_as is None else f"{item.name} (= {item.same_as})"
    title = (
        f"{name}: {_mmhg(item.systolic_mmhg)} / {_mmhg(item.diastolic_mmhg)}, "
        f"dial {item.offset_mmhg:+.0f}"
    )
    figure.text(left, bottom + height + 0.006, title, fontproperties=_type(8))
    edge_x = [left, left, left + width, left + width, left]
    edge_y = [bottom, bottom + height, bottom + height, bottom, bottom]
    strokes.add("box", edge_x, edge_y)
    told = [item.systolic_mmhg, item.diastolic_mmhg, *(beat.mmhg for beat in item.beats)]
    known = [value for value in told if value is not None]
    if not known:
        return
    low, high = 20 * (min(known) // 20), 20 * (max(known) // 20 + 1)
    times = [beat.time_s for beat in item.beats] or [0.0, 1.0]
    first, last = 10 * (min(times) // 10), 10 * (max(times) // 10 + 1)

    def x(time_s: float) -> float:
        return left + width * (time_s - first) / (last - first)

    def y(mmhg: float) -> float:
        return bottom + height * (mmhg - low) / (high - low)

    small = _type(6.5)
    for value in np.arange(low, high + 1, 40 if high - low > 100 else 20).tolist():
        place = (left - 0.006, y(value))
        figure.text(*place, f"{value:.0f}", fontproperties=small, ha="right", va="center")
    for value in np.arange(first, last + 1, 20).tolist():
        place = (x(value), bottom - 0.012)
        figure.text(*place, f"{value:.0f} s", fontproperties=small, ha="center")
    right = left + width
    for gap in item.gaps:
        lower, upper = y(gap.lower_mmhg), y(gap.upper_mmhg)
        strokes.shades.append([(left, lower), (right, lower), (right, upper), (left, upper)])
    for kind, mmhg in (
        ("systolic", item.systolic_mmhg),
        ("k4", item.k4_mmhg),
        ("diastolic", item.diastolic_mmhg),
    ):
        if mmhg is not None:
            strokes.add(kind, [left, right], [y(mmhg)] * 2)
    for kind, audible in (("heard", True), ("silent", False)):
        beats = [beat for beat in item.beats if beat.audible is audible]
        strokes.add(kind, [x(beat.time_s) for beat in beats], [y(beat.mmhg) for beat in beats])
