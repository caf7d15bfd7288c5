"""The look of the figures: a few tones that stay apart in grey, and safe text.

The tones are our choice.  Their lightness rises in even steps, so the order
survives grey print; no meaning hangs on a tone alone (shape, fill, line style
or a word says it too).
"""

from __future__ import annotations

import functools
from typing import Any

from matplotlib import get_data_path
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.ft2font import FT2Font

from tapfall.model import Phase

PAPER = "#ffffff"
INK = "#1c2430"
SLATE = "#56616f"
HAIR = "#b9c0c8"

SYSTOLIC = "#23415e"
DIASTOLIC = "#9a5b2e"
GAP = "#7b8a5a"

#: Fill and hatching of each phase; the letters on it stay readable.
PHASE_FILLS: dict[Phase, tuple[str, str | None]] = {
    Phase.SILENT: (PAPER, None),
    Phase.K1: ("#8fa9bf", None),
    Phase.K2: ("#adc1d1", None),
    Phase.K3: ("#cbd8e1", None),
    Phase.K4: ("#e6dccf", None),
    Phase.GAP: (PAPER, "////"),
}

#: Sound level from paper to ink.
LEVELS = LinearSegmentedColormap.from_list("level", [PAPER, "#9fb0bf", "#3b5068", "#0d1420"])

#: Settings that hold while a figure is drawn and written: text stays text in
#: SVG and PDF, and equal figures give equal bytes.
STYLE: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.0,
    "axes.edgecolor": SLATE,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "text.color": INK,
    "xtick.color": SLATE,
    "ytick.color": SLATE,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "hatch.linewidth": 0.5,
    "hatch.color": SLATE,
    "svg.fonttype": "none",
    "svg.hashsalt": "tapfall",
    "pdf.fonttype": 42,
    "axes.unicode_minus": False,
}


@functools.cache
def _drawable() -> frozenset[int]:
    font = FT2Font(f"{get_data_path()}/fonts/ttf/DejaVuSans.ttf")
    return frozenset(font.get_charmap())


def drawable(text: str, longest: int = 110) -> str:
    """One line of text that the figure's font can draw.

    Line breaks and other control characters become blanks, letters that the
    font lacks become the replacement sign, and long text is shortened.

    Examples
    --------
    >>> drawable("left arm,\\n3rd", longest=12)
    'left arm, 3…'
    """
    known = _drawable()
    line = " ".join("".join(ch if ch.isprintable() else " " for ch in text).split())
    line = "".join(ch if ord(ch) in known else "\ufffd" for ch in line)
    return line if len(line) <= longest else line[: longest - 1] + "…"
