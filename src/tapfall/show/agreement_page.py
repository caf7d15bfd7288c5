"""An agreement as one page of HTML: its numbers, its figures, how they were made.

The figures show what was computed before; nothing is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tapfall.files.names import PathLike
from tapfall.files.writing import write_bytes
from tapfall.show import look
from tapfall.show.inline import drawn
from tapfall.show.report import rendered
from tapfall.study.agreement.result import UNFULFILLED, Agreement, Drawn, Group
from tapfall.study.agreement.words import (
    counts_text,
    group_counts,
    group_title,
    number_text,
    numbers_text,
    percent_text,
)

#: Size of a figure, inches.
SIZE_IN = (8.4, 3.6)
#: Pairs above which the points become a picture within the drawing (our choice).
MOST_DRAWN = 1500
#: Rows of the table of risk and coverage (our choice).
MOST_COVERAGE = 20
#: Bounds that the curve is marked at, mmHg.
MARKS_MMHG = (5.0, 10.0, 15.0)

#: Said at the end of the page, in place of what is said of a reading.
MEANING = (
    "Numbers are shown rounded; the JSON of the same command holds them unrounded. Intervals "
    "are those of 95 %. They tell of chance in the drawing of the sample, not of a sample that "
    "was drawn wrongly."
)
PROOF = (
    "A criterion met on this sample validates nothing: protocols also say how a sample is taken, "
    "and most of that no table tells. Sources marked from memory were not checked against the text."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    wanted: str
    found: str
    state: str
    pressing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    name: str
    verdict: str
    numbers: tuple[tuple[str, str], ...]
    counts: str
    notes: tuple[str, ...]
    source: str
    wanted: tuple[_Wanted, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One group in words, with its drawing."""

    key: str
    title: str
    counts: str
    notes: tuple[str, ...]
    drawn: str
    figure: str
    results: tuple[_Shown, ...]
    coverage: tuple[tuple[str, ...], ...]


def write_agreement(path: PathLike, agreement: Agreement, *, name: str, sha256: str) -> None:
    """Write an agreement as one page of HTML, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    agreement
        What was found.
    name, sha256
        The name of the table without its folder, and its hash.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    page = agreement_html(agreement, name=name, sha256=sha256)
    write_bytes(path, page.encode("utf-8"))


def agreement_html(agreement: Agreement, *, name: str, sha256: str) -> str:
    """Return the page that :func:`write_agreement` writes; equal ones give equal pages.

    Examples
    --------
    >>> from tapfall.study.agreement import agreement, table_of
    >>> found = agreement(table_of("t", b"reference,estimate\\n120,122\\n130,130\\n"))
    >>> agreement_html(found, name="pairs.csv", sha256="00").partition("\\n")[0]
    '<!DOCTYPE html>'
    """
    return rendered(
        "agreement.html.j2",
        title=f"Agreement, {name}",
        table=name,
        simulated=agreement.simulated,
        rows=agreement.rows,
        sha256=sha256,
        parts=[part_of_group(number, one) for number, one in enumerate(agreement.groups, 1)],
        methods=agreement.methods,
        notes=agreement.notes,
        read_this=MEANING,
        no_proof=PROOF,
    )


def group_svg(group: Group, prefix: str = "") -> str:
    """Draw a group: difference against mean, and the share within each error; "" without pairs.

    Parameters
    ----------
    group
        What was found.
    prefix
        Put before each id of the drawing.
    """
    found = group.drawn
    if found is None:
        return ""

    def draw(figure: Figure) -> None:
        figure.set_layout_engine("constrained")
        left, right = figure.subplots(1, 2, width_ratios=(1.6, 1.0))
        _differences(left, group, found)
        _shares(right, group)

    label = (
        f"Left: difference of {group.counts.paired} pairs against their mean, with mean "
        f"{number_text(found.mean)} and limits {number_text(found.lower)} and "
        f"{number_text(found.upper)}. Right: share of pairs within each error."
    )
    return drawn(draw, SIZE_IN, prefix, label)


def _differences(axes: Axes, group: Group, drawn: Drawn) -> None:
    most = max(one.pairs for one in group.points)
    axes.scatter(
        [one.mean_mmhg for one in group.points],
        [one.difference_mmhg for one in group.points],
        # Where points are shared the area tells how many pairs.
        s=[10.0 if most == 1 else 3.0 + 30.0 * one.pairs / most for one in group.points],
        marker="o",
        facecolors="none",
        edgecolors=look.INK,
        linewidths=0.7,
        alpha=0.6,
        rasterized=len(group.points) > MOST_DRAWN,
    )
    axes.axhline(0.0, color=look.HAIR, linewidth=0.8, zorder=0)
    for number, dash, tone, name in (
        (drawn.upper, "--", look.DIASTOLIC, "upper"),
        (drawn.mean, "-", look.SYSTOLIC, "mean"),
        (drawn.lower, "--", look.DIASTOLIC, "lower"),
    ):
        if number.value is None:
            continue
        axes.axhline(number.value, color=tone, linestyle=dash, linewidth=1.2)
        if number.low is not None and number.high is not None:
            axes.axhspan(number.low, number.high, color=tone, alpha=0.15, linewidth=0)
        axes.annotate(
            f"{name} {round(number.value, 1) + 0.0:.1f}",
            (1.0, number.value),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=7,
            annotation_clip=False,
        )
    axes.set_xlabel("Mean of estimate and reference (mmHg)")
    axes.set_ylabel("Estimate minus reference (mmHg)")
    axes.spines[["top", "right"]].set_visible(False)


def _shares(axes: Axes, group: Group) -> None:
    errors = [one.error_mmhg for one in group.shares]
    shares = [100.0 * one.share for one in group.shares]
    if group.points_step_mmhg is None:
        axes.plot(*share_curve(group), color=look.SYSTOLIC, linewidth=1.2, drawstyle="steps-post")
    else:  # so many pairs that single ones cannot be seen
        axes.plot(errors, shares, color=look.SYSTOLIC, linewidth=1.2)
    for error, share in zip(errors, shares, strict=True):
        if error in MARKS_MMHG:
            axes.plot([error], [share], marker="s", markersize=4, color=look.DIASTOLIC)
            axes.annotate(
                f"{percent_text(share)} %",
                (error, share),
                xytext=(4, -9),
                textcoords="offset points",
                fontsize=7,
            )
    axes.set_xlim(0.0, errors[-1])
    axes.set_ylim(0.0, 104.0)
    axes.set_xlabel("Size of the difference at most (mmHg)")
    axes.set_ylabel("Share of the pairs (%)")
    axes.spines[["top", "right"]].set_visible(False)


def share_curve(group: Group) -> tuple[list[float], list[float]]:
    """Return where the share of pairs rises, mmHg, and to how many per cent: their own sizes."""
    sizes = sorted(abs(one.difference_mmhg) for one in group.points)
    shares = [100.0 * number / len(sizes) for number in range(1, len(sizes) + 1)]
    end = max([group.shares[-1].error_mmhg, *sizes])
    return [0.0, *sizes, end], [0.0, *shares, 100.0]


def part_of_group(number: int, group: Group, prefix: str = "g") -> Part:
    """Put one group into words and draw it; ``prefix`` begins its ids."""
    return Part(
        key=f"{prefix}{number}-",
        title=group_title(group),
        counts=group_counts(group),
        notes=group.notes,
        drawn="" if group.drawn is None else drawn_words(group),
        figure=group_svg(group, f"{prefix}{number}-"),
        results=tuple(
            _Shown(
                name=one.name,
                verdict=one.verdict,
                numbers=numbers_text(one),
                counts=counts_text(one),
                notes=one.notes,
                source=one.source,
                wanted=tuple(
                    _Wanted(
                        wanted=want.wanted,
                        found=want.found,
                        state=want.state,
                        pressing=want.state == UNFULFILLED,
                    )
                    for want in one.requirements
                ),
            )
            for one in group.results
        ),
        coverage=tuple(
            (
                f"{one.confidence:.4f}",
                f"{one.kept}",
                f"{percent_text(100.0 * one.coverage, 1)} %",
                f"{one.mean_absolute_mmhg:.2f}",
                f"{percent_text(100.0 * one.beyond_5, 1)} %",
            )
            for one in group.coverage[-1 :: -_step(group)][::-1]
        ),
    )


def drawn_words(group: Group) -> str:
    """Return which limits a figure shows, and where its points are shared."""
    name = "" if group.drawn is None else group.drawn.name
    if group.points_step_mmhg is None:
        return name
    return (
        f"{name}; pairs within {group.points_step_mmhg:g} mmHg share a point, "
        "and its area tells how many"
    )


def _step(group: Group) -> int:
    """One in how many points of the coverage is shown; the last one always is."""
    return -(-len(group.coverage) // MOST_COVERAGE) or 1
