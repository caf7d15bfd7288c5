"""A visit as one page of HTML: the average, its readings, and each recording by itself.

Nothing is computed here: the page shows what :mod:`tapfall.visit` and the ear found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tapfall import __version__
from tapfall.errors import printable
from tapfall.files.names import PathLike
from tapfall.files.writing import write_bytes
from tapfall.model import FLAG_SENTENCES, Reading, Recording, Settings, Source, State, Threshold
from tapfall.show import look
from tapfall.show.inline import drawn
from tapfall.show.part import Part, part_of
from tapfall.show.report import rendered
from tapfall.show.rows import (
    Fact,
    Row,
    TechniqueRow,
    file_facts,
    technique_count,
    technique_rows,
    value_rows,
)
from tapfall.show.words import headline
from tapfall.standards import NO_DIAGNOSIS
from tapfall.technique import is_simulated
from tapfall.visit import Lost, Taken, Visit
from tapfall.visit.words import (
    HOW,
    arm_words,
    averaged_words,
    doubt_words,
    even_pair,
    is_single,
    mean_words,
    scheme_shown,
    shown_pair,
    shown_reading,
    what_words,
)
from tapfall.wording import counted

_SIZE_IN = (7.6, 2.5)
#: Stands where there is nothing.
NONE = "-"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """A reading of the visit with its recording, where that is at hand."""

    taken: Taken
    recording: Recording | None
    source: Source | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bare:
    """A reading without its recording."""

    prefix: str
    title: str
    values: tuple[Row, ...]
    technique: tuple[TechniqueRow, ...]
    technique_rest: str
    pressing: int
    origin: tuple[Fact, ...]
    flags: tuple[str, ...]


def write_visit(
    path: PathLike,
    visit: Visit,
    shown: Sequence[Shown],
    *,
    lost: Sequence[Lost] = (),
    settings: Settings | None = None,
) -> None:
    """Write a visit as one page of HTML, complete or not at all.

    Parameters
    ----------
    path
        The file to write.
    visit
        What was found.
    shown
        Its readings in any order, with their recordings where they are at hand.
    lost
        Recordings that could not be read.
    settings
        What was chosen for the recordings.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    text = visit_html(visit, shown, lost=lost, settings=settings)
    write_bytes(path, text.encode("utf-8"))


def visit_html(
    visit: Visit,
    shown: Sequence[Shown],
    *,
    lost: Sequence[Lost] = (),
    settings: Settings | None = None,
) -> str:
    """Return the page that :func:`write_visit` writes.

    Parameters
    ----------
    visit, shown, lost, settings
        As for :func:`write_visit`.
    """
    chosen = settings or Settings()
    parts: list[tuple[str, Part | None, _Bare | None]] = []
    for number, one in enumerate(shown, 1):
        title = printable(one.taken.label or f"reading {number}")
        if one.recording is None:
            parts.append((title, None, _bare(one, f"r{number}-", title)))
        else:
            part = part_of(one.recording, one.taken.reading, chosen, prefix=f"r{number}-")
            parts.append((title, part, None))
    title = _title(visit)
    return rendered(
        "visit.html.j2",
        title=title,
        heading=title,
        what=what_words(visit),
        single=is_single(visit),
        simulated=sum(map(_simulated, shown)),
        values=_values(visit),
        facts=_facts(visit),
        rows=_rows(visit),
        lost=tuple((printable(one.name), printable(one.reason)) for one in lost),
        figure=_figure(shown, visit),
        cautions=tuple(printable(one) for one in visit.cautions),
        more=tuple(printable(one) for one in visit.more),
        arms=() if visit.arms is None else tuple(map(printable, visit.arms.sentences)),
        notes=tuple(printable(one) for one in visit.notes),
        parts=tuple(parts),
        read_this=HOW,
        no_proof=NO_DIAGNOSIS,
        version=__version__,
    )


def _simulated(one: Shown) -> bool:
    """Whether recording or reading, whichever is at hand, says that no person was measured."""
    recording = one.recording
    return is_simulated(one.taken.reading) or (recording is not None and recording.simulated)


def _title(visit: Visit) -> str:
    average = visit.average
    if average is None:
        return "Nothing could be averaged"
    scheme = scheme_shown(visit)
    return f"{shown_pair(scheme, average.systolic.mmhg, average.diastolic.mmhg)} mmHg"


def _values(visit: Visit) -> tuple[tuple[str, str, str], ...]:
    average = visit.average
    if average is None:
        return ()
    scheme = scheme_shown(visit)
    found: list[tuple[str, str, str]] = []
    for name, (mmhg, span) in (
        ("Systolic", mean_words(scheme, "systolic", average.systolic)),
        ("Diastolic", mean_words(scheme, "diastolic", average.diastolic)),
    ):
        found.append((name, mmhg, "not known" if span is None else span))
    found += [
        ("To 2 mmHg, for display only", even_pair(average), NONE),
        ("Pulse pressure", f"{average.pulse_pressure_mmhg:.1f}", NONE),
        (
            "Mean arterial pressure: diastolic + pulse pressure / 3",
            f"{average.mean_arterial_mmhg:.1f}",
            NONE,
        ),
    ]
    if len(visit.averages) > 1:
        found += [
            (
                f"{'Single reading' if other.count == 1 else 'Average'}, {arm_words(other)}",
                shown_pair(scheme, other.systolic.mmhg, other.diastolic.mmhg),
                NONE,
            )
            for other in visit.averages
        ]
    if visit.arms is not None:
        apart = f"{visit.arms.systolic_mmhg:+.1f} / {visit.arms.diastolic_mmhg:+.1f}"
        found.append(("Left minus right", apart, NONE))
    return tuple(found)


def _facts(visit: Visit) -> tuple[tuple[str, str], ...]:
    placed, guideline, scheme = visit.placed, visit.guideline, visit.scheme
    category = (
        f"none. {visit.why_not_placed}"
        if placed is None
        else f"{placed.category}{doubt_words(placed)}"
    )
    return (
        ("Category", category),
        (
            "Scheme of categories",
            f"{scheme.title} ({scheme.date}). {scheme.rule}. Source: {scheme.source}",
        ),
        (
            "Averaged",
            f"{averaged_words(visit)}{guideline.title} ({guideline.date}): {guideline.rule}. "
            f"Source: {guideline.source}",
        ),
    )


def _rows(visit: Visit) -> tuple[tuple[str, ...], ...]:
    scheme = scheme_shown(visit)
    times = [
        None if one.time is None else datetime.fromisoformat(one.time) for one in visit.readings
    ]
    zones = {time.utcoffset() for time in times if time is not None}
    return tuple(
        (
            printable(one.label or "(no name)"),
            one.arm or NONE,
            NONE if time is None else _clock(time, zoned=len(zones) > 1),
            shown_reading(scheme, one),
            one.status.value,
            "yes" if one.averaged else f"no: {printable(one.why_not or '')}",
        )
        for one, time in zip(visit.readings, times, strict=True)
    )


def _clock(time: datetime, *, zoned: bool) -> str:
    """Day and hour as the clock of the place showed them; its zone where zones differ."""
    told = time if zoned else time.replace(tzinfo=None)
    return told.isoformat(sep=" ", timespec="minutes")


def _bare(one: Shown, prefix: str, title: str) -> _Bare:
    reading = one.taken.reading
    rows = tuple(technique_rows(reading))
    return _Bare(
        prefix=prefix,
        title=f"{title}: {headline(reading)}",
        values=tuple(value_rows(reading)),
        technique=rows,
        technique_rest=technique_count(reading),
        pressing=sum(row.kind in ("fault", "look") for row in rows),
        origin=() if one.source is None else file_facts(one.source),
        flags=tuple(FLAG_SENTENCES[flag] for flag in reading.flags),
    )


def _figure(shown: Sequence[Shown], visit: Visit) -> str:
    """Draw the pressures of each reading with their ranges, and the average."""
    average = visit.average

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0.08, 0.2, 0.9, 0.74))
        for number, one in enumerate(shown, 1):
            _draw(axes, number, one.taken.reading)
        if average is not None:
            for mean, colour in (
                (average.systolic, look.SYSTOLIC),
                (average.diastolic, look.DIASTOLIC),
            ):
                axes.axhline(mean.mmhg, color=colour, lw=1.0, ls="--", zorder=1)
        axes.set_xlim(0.4, len(shown) + 0.6)
        axes.set_xticks(range(1, len(shown) + 1))
        axes.set_xlabel("reading")
        axes.set_ylabel("mmHg")
        axes.spines[["top", "right"]].set_visible(False)

    label = f"Systolic and diastolic of {counted(len(shown), 'reading')} with their 95 % ranges"
    if average is not None:
        label += f"; dashed lines at the {'single reading' if is_single(visit) else 'averages'}"
    return drawn(draw, _SIZE_IN, "visit-", label)


def _draw(axes: Axes, number: int, reading: Reading) -> None:
    for one, colour, mark in (
        (reading.systolic, look.SYSTOLIC, "o"),
        (reading.diastolic, look.DIASTOLIC, "s"),
    ):
        _draw_threshold(axes, number, one, colour, mark)


def _draw_threshold(axes: Axes, number: int, one: Threshold, colour: str, mark: str) -> None:
    if one.state is not State.OBSERVED or one.mmhg is None:
        return
    if one.low_mmhg is not None and one.high_mmhg is not None:
        axes.plot([number, number], [one.low_mmhg, one.high_mmhg], color=colour, lw=2.2)
    axes.plot([number], [one.mmhg], mark, color=colour, markersize=6, markeredgecolor=look.PAPER)
