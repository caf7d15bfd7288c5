"""A study as one page of HTML: agreement, observers, beats, calibration, breakdowns.

The page shows tables that were computed before; nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tapfall import __version__
from tapfall.errors import printable
from tapfall.files.names import PathLike
from tapfall.files.tables import Cell
from tapfall.files.writing import write_bytes
from tapfall.show import look
from tapfall.show.agreement_page import MEANING, PROOF, Part, part_of_group
from tapfall.show.inline import drawn
from tapfall.show.report import rendered
from tapfall.study.agreeing import Agreements
from tapfall.study.agreement.make import NO_CONDITION
from tapfall.study.agreement.result import Group
from tapfall.study.breakdown import BREAKDOWN_COLUMNS, DEVICE, DIGIT_COLUMNS
from tapfall.study.compare import BEAT_COLUMNS, ERROR_COLUMNS
from tapfall.study.running import Study
from tapfall.study.tables import CALIBRATION_COLUMNS, Tables, calibration_rows

#: So many recordings that failed are listed (our choice); all stand in results.csv.
MOST_FAILURES = 20
_Row = tuple[Cell, ...]
_SIZE_IN = (8.4, 2.7)
#: From this column on the table of beats is of first and last beats.
_EDGES = BEAT_COLUMNS.index("edges_compared")
_TONES = {"systolic": look.SYSTOLIC, "diastolic": look.DIASTOLIC}
_MARKS = {"systolic": "o", "diastolic": "s"}


def write_study(path: PathLike, study: Study, agreements: Agreements) -> None:
    """Write a study as one page of HTML, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    study
        What a run came to.
    agreements
        From :func:`tapfall.study.agreeing.agreements_of`.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    write_bytes(path, study_html(study, agreements).encode("utf-8"))


def study_html(study: Study, agreements: Agreements) -> str:
    """Return the page that :func:`write_study` writes."""
    tables = study.tables
    own, other = agreements.tapfall, agreements.observers
    return rendered(
        "study.html.j2",
        title=f"Study, {printable(study.manifest.name)}",
        manifest=printable(study.manifest.name),
        sha256=study.manifest.sha256,
        subjects=len({entry.subject for entry in study.manifest.entries}),
        recordings=len(study.manifest.entries),
        read=study.read,
        failed=study.failed,
        simulated=study.simulated,
        statuses=study.outline.statuses,
        failures=[
            (printable(name), printable(reason))
            for name, reason in study.outline.failures[:MOST_FAILURES]
        ],
        copies=[
            " = ".join(map(printable, names)) for names in study.outline.copies[:MOST_FAILURES]
        ],
        more_copies=max(0, len(study.outline.copies) - MOST_FAILURES),
        apart=tables.observers_apart,
        parts=[
            _unread(_short(part_of_group(number, one), whole=one.condition is None), one, tables)
            for number, one in enumerate(() if own is None else own.groups, 1)
        ],
        others=[
            _observers(part_of_group(number, one, "o"))
            for number, one in enumerate(() if other is None else other.groups, 1)
        ],
        tables=_tables(study.tables),
        methods=tuple(
            (name, one.methods)
            for name, one in (
                ("tapfall against the observers", own),
                ("The second observer against the first", other),
            )
            if one is not None
        ),
        read_this=MEANING,
        no_proof=PROOF,
        version=__version__,
    )


def _tables(tables: Tables) -> tuple[dict[str, object], ...]:
    """Every table of a study that the page shows."""
    calibration = tuple(calibration_rows(tables))
    devices = any(row[0] == DEVICE for row in tables.breakdown)
    return (
        _table(
            "errors",
            "Errors",
            "Differences of every two that were compared, by condition, in mmHg and in beats",
            "errors.csv",
            ERROR_COLUMNS,
            tables.errors,
            "",
        ),
        _table(
            "breakdown",
            "Errors by level, arm, noise and device"
            if devices
            else "Errors by level, arm and noise",
            "tapfall against the observers"
            + ("; devices stand in the table and are not drawn" if devices else ""),
            "breakdown.csv",
            BREAKDOWN_COLUMNS,
            tables.breakdown,
            _figure(tables.breakdown, _breakdown, "breakdown-", "Mean error and its SD by class"),
        ),
        _table(
            "digits",
            "Last digits",
            "How often each last digit was written: one in ten without any preference, one "
            "in five where only even numbers are read",
            "digits.csv",
            DIGIT_COLUMNS,
            tables.digits,
            _figure(tables.digits, _digits, "digits-", "Share of each last digit"),
        ),
        _table(
            "beats",
            "Beats",
            "Beats that were marked, matched one to one",
            "beats.csv",
            BEAT_COLUMNS[:_EDGES],
            tuple(row[:_EDGES] for row in tables.beats),
            "",
        ),
        _table(
            "edges",
            "First and last beat",
            "First and last heard beat of the estimate: how many beats later than that of the "
            "reference, and how much higher the cuff",
            "beats.csv",
            (*BEAT_COLUMNS[:3], *BEAT_COLUMNS[_EDGES:]),
            tuple((*row[:3], *row[_EDGES:]) for row in tables.beats),
            "",
        ),
        _table(
            "calibration",
            "Confidence",
            "Share of right values (within 4 mmHg) by the confidence that was given",
            "calibration.csv",
            CALIBRATION_COLUMNS,
            calibration,
            _figure(calibration, _calibration, "calibration-", "Right share by confidence"),
        ),
    )


def _short(part: Part, *, whole: bool) -> Part:
    """A group without what protocols want of a sample, where it is not the whole one."""
    if whole:
        return part
    return replace(part, results=tuple(replace(one, wanted=()) for one in part.results))


def _unread(part: Part, group: Group, tables: Tables) -> Part:
    """A group that says how many of its abstentions are files that could not be read."""
    count = sum(
        many
        for (measure, condition), many in tables.unread.items()
        if measure == group.measure and group.condition in (None, condition or NO_CONDITION)
    )
    if not count:
        return part
    words = f"Of those abstained {count} {'is' if count == 1 else 'are'} of recordings that could "
    note = f"{words}not be read (see results.csv); they count as attempts."
    return replace(part, notes=(*part.notes, note))


def _observers(part: Part) -> Part:
    return replace(_short(part, whole=False), title=f"Observers: {part.title}")


def _table(
    key: str,
    title: str,
    words: str,
    file: str,
    columns: Sequence[str],
    rows: Sequence[_Row],
    figure: str,
) -> dict[str, object]:
    return {
        "key": key,
        "title": title,
        "words": words,
        "file": file,
        "columns": tuple(name.replace("_", " ") for name in columns),
        "rows": tuple(tuple(map(_cell, row, columns)) for row in rows),
        "figure": figure,
    }


def _cell(value: Cell, column: str) -> str:
    """A cell; pressures and beats have two decimals, shares and seconds the file's four."""
    if value is None or value == "":
        return "-"
    if isinstance(value, float):
        share = column.startswith("share_")
        places = 2 if column.endswith(("_mmHg", "_beats")) and not share else 4
        return f"{round(value, places) + 0.0:.{places}f}"
    return printable(str(value)).replace("_", " ")


def _figure(
    rows: Sequence[_Row],
    draw: Callable[[Figure, Sequence[_Row]], None],
    prefix: str,
    label: str,
) -> str:
    if not rows:
        return ""

    def draw_rows(figure: Figure) -> None:
        figure.set_layout_engine("constrained")
        draw(figure, rows)

    return drawn(draw_rows, _SIZE_IN, prefix, label)


def _breakdown(figure: Figure, rows: Sequence[_Row]) -> None:
    """One panel for each thing that errors are broken down by."""
    # Names of devices come from outside, and may be many: they stand in the table alone.
    kinds = list(dict.fromkeys(str(row[0]) for row in rows if row[0] != DEVICE))
    panels = figure.subplots(1, len(kinds), squeeze=False)[0]
    for axes, kind in zip(panels, kinds, strict=True):
        names = list(dict.fromkeys(str(row[1]) for row in rows if row[0] == kind))
        for measure, shift in (("systolic", -0.12), ("diastolic", 0.12)):
            for row in rows:
                if row[0] != kind or row[2] != measure or not isinstance(row[5], float):
                    continue
                at = names.index(str(row[1])) + shift
                spread = row[6] if isinstance(row[6], float) else 0.0
                axes.errorbar(
                    [row[5]], [at], xerr=[spread], fmt=_MARKS[measure], color=_TONES[measure],
                    markersize=4, elinewidth=1.0,
                )  # fmt: skip
        axes.axvline(0.0, color=look.HAIR, linewidth=0.8, zorder=0)
        axes.set_yticks(range(len(names)), names, fontsize=6.5)
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.set_title(kind, fontsize=8, loc="left")
        _plain(axes, "mean error and SD (mmHg)")


def _digits(figure: Figure, rows: Sequence[_Row]) -> None:
    """One panel for each who wrote."""
    who = list(dict.fromkeys(str(row[0]) for row in rows))
    panels = figure.subplots(1, len(who), sharey=True, squeeze=False)[0]
    for axes, name in zip(panels, who, strict=True):
        for measure, shift in (("systolic", -0.2), ("diastolic", 0.2)):
            part = [row for row in rows if row[0] == name and row[1] == measure]
            axes.bar(
                [float(row[2]) + shift for row in part if isinstance(row[2], int)],
                [100.0 * row[4] for row in part if isinstance(row[4], float)],
                width=0.38,
                color=_TONES[measure] if measure == "systolic" else look.PAPER,
                edgecolor=_TONES[measure],
                linewidth=0.9,
            )
        axes.axhline(10.0, color=look.SLATE, linewidth=0.8, linestyle=":")
        axes.set_xticks(range(10))
        axes.set_title(name.replace("_", " "), fontsize=8, loc="left")
        _plain(axes, "last digit")
    panels[0].set_ylabel("share (%)")


def _calibration(figure: Figure, rows: Sequence[_Row]) -> None:
    """Right share over mean confidence, as given, with its interval."""
    axes = figure.subplots(1, 1)
    axes.plot([0.3, 1.0], [0.3, 1.0], color=look.HAIR, linewidth=0.8)
    for measure, *rest in rows:
        subjects, kind, _, _, _, mean, right, low, high = rest
        numbers = (mean, right, low, high)
        if (subjects, kind) != ("all", "as given") or not all(
            isinstance(one, float) for one in numbers
        ):
            continue
        x, y, down, up = (float(one) for one in numbers if isinstance(one, float))
        axes.errorbar(
            [x], [y], yerr=[[max(y - down, 0.0)], [max(up - y, 0.0)]], fmt=_MARKS[str(measure)],
            color=_TONES[str(measure)], markersize=4, elinewidth=1.0,
        )  # fmt: skip
    axes.set_ylabel("share within 4 mmHg")
    _plain(axes, "confidence that was given")


def _plain(axes: Axes, words: str) -> None:
    axes.set_xlabel(words, fontsize=7)
    axes.tick_params(labelsize=6.5)
    axes.spines[["top", "right"]].set_visible(False)
