"""What a study leaves beside its results: readings against observers, as tables.

==================== =====================================================================
``pairs.csv``        reference and estimate of each value, as ``tapfall agree`` reads them
``observers.csv``    the same of the second observer against the first
``errors.csv``       differences by comparison, condition and measure
``beats.csv``        beats found by comparison and condition, where beats were marked
``calibration.csv``  classes of confidence and the share of them that is right
``breakdown.csv``    differences by level, arm circumference, signal to noise and device
``digits.csv``       last digits of what observers wrote, and of the readings
``study.json``       counts, what was listened with, calibration and recalibration
==================== =====================================================================
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from tapfall.files.tables import Cell, table_text
from tapfall.files.writing import write_json
from tapfall.model import State, Threshold
from tapfall.study.breakdown import (
    BREAKDOWN_COLUMNS,
    DIGIT_COLUMNS,
    Held,
    breakdown_rows,
    digit_rows,
)
from tapfall.study.compare import (
    BEAT_COLUMNS,
    ERROR_COLUMNS,
    FIRST,
    MEASURES,
    OBSERVERS,
    SECOND,
    TAPFALL,
    Judged,
    Measure,
    Told,
    apart,
    beat_rows,
    beats_of,
    error_rows,
    estimate_of,
    estimate_text,
    told_by,
    values_of,
    written,
)
from tapfall.study.confidence import Calibration, Recalibration, calibration, recalibrate
from tapfall.study.folder import read_reading_file, write_table
from tapfall.study.manifest import Entry, Manifest, Observer
from tapfall.study.marks import read_marks
from tapfall.study.record import StudyCounts, study_record
from tapfall.study.task import Choices

PAIR_COLUMNS = (
    "reference",
    "reference_2",
    "estimate",
    "subject",
    "condition",
    "measure",
    "confidence",
    "sex",
    "age_years",
    "arm_cm",
    "cuff_size",
    "simulated",
)
CALIBRATION_COLUMNS = (
    "measure",
    "subjects",
    "confidence_is",
    "confidence_low",
    "confidence_high",
    "values",
    "confidence_mean",
    "right_share",
    "right_low_share",
    "right_high_share",
)

Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """The tables of a study, ready to be written.

    Parameters
    ----------
    pairs, observers, errors, beats
        Rows in the order of :data:`PAIR_COLUMNS` (twice), ``ERROR_COLUMNS`` and
        ``BEAT_COLUMNS`` of :mod:`tapfall.study.compare`.
    breakdown, digits
        Rows in the order of the columns of :mod:`tapfall.study.breakdown`.
    calibrations
        By measure; ``None`` where no value has reference and confidence.
    recalibrations
        By measure; ``None`` where the split ``fit`` holds too few values.
    observers_apart
        How many values have no reference because the observers were too far apart.
    unread
        How many references are of recordings that could not be read, by measure and
        condition: attempts without a value, as those of readings that give none.
    """

    pairs: tuple[Row, ...]
    observers: tuple[Row, ...]
    errors: tuple[Row, ...]
    beats: tuple[Row, ...]
    breakdown: tuple[Row, ...]
    digits: tuple[Row, ...]
    calibrations: dict[str, Calibration | None]
    recalibrations: dict[str, Recalibration | None]
    observers_apart: int
    unread: dict[tuple[str, str], int]


def compare_all(
    home: Path, manifest: Manifest, read: Collection[str], simulated: Collection[str]
) -> Tables:
    """Hold every reading of a folder against the observers of the manifest.

    Parameters
    ----------
    home
        The folder of the study.
    manifest
        Its manifest.
    read
        Names of the recordings that have a reading; all others have no value.
    simulated
        Names of those of which it is known that no person was measured.

    Raises
    ------
    InputError
        A file of marks or a reading was changed meanwhile.
    """
    values: list[Judged] = []
    pairs: list[Row] = []
    observers: list[Row] = []
    held: list[Held] = []
    wrote: dict[tuple[str, str], list[float]] = {}
    heard = []
    unread: Counter[tuple[str, str]] = Counter()
    for entry in manifest.entries:
        if not any(one != Observer() for one in entry.observers):
            continue
        told = None
        if entry.recording in read:
            told = told_by(read_reading_file(home, entry.file_name))
        judged = values_of(entry, told)
        made = entry.recording in simulated
        pairs += _pairs(entry, told, made)
        observers += _both(entry, made)
        values += judged
        if told is None:
            unread.update(
                (one.measure, one.condition) for one in judged if one.reference_name == OBSERVERS
            )
        ratio_db = None if told is None else told.signal_to_noise_db
        held += [
            Held(
                judged=one,
                arm_cm=entry.arm_cm,
                signal_to_noise_db=ratio_db,
                device=entry.device,
            )
            for one in judged
        ]
        for measure in MEASURES:
            for who, value in zip(
                (FIRST, SECOND, TAPFALL),
                (*_wrote(entry, measure), _read(told, measure)),
                strict=True,
            ):
                if value is not None:
                    wrote.setdefault((who, measure), []).append(value)
        marks = tuple(
            None if one.marks is None else read_marks(one.marks) for one in entry.observers
        )
        heard += beats_of(entry, told, marks)
    own = [one for one in values if (one.reference_name, one.estimate_name) == (OBSERVERS, TAPFALL)]
    by_measure = {name: [one for one in own if one.measure == name] for name in MEASURES}
    return Tables(
        pairs=_by_measure(pairs),
        observers=_by_measure(observers),
        errors=tuple(error_rows(values)),
        beats=tuple(beat_rows(heard)),
        breakdown=tuple(breakdown_rows(held)),
        digits=tuple(digit_rows(wrote)),
        calibrations={name: calibration(part) for name, part in by_measure.items()},
        recalibrations={name: recalibrate(part) for name, part in by_measure.items()},
        observers_apart=sum(map(apart, manifest.entries)),
        unread=dict(unread),
    )


def write_tables(
    home: Path, manifest: Manifest, choices: Choices, counts: StudyCounts, tables: Tables
) -> None:
    """Write the tables of a study, each complete or not at all.

    Raises
    ------
    InputError
        A file cannot be written.
    """
    for name, header, rows in (
        ("pairs.csv", PAIR_COLUMNS, tables.pairs),
        ("observers.csv", PAIR_COLUMNS, tables.observers),
        ("errors.csv", ERROR_COLUMNS, tables.errors),
        ("beats.csv", BEAT_COLUMNS, tables.beats),
        ("breakdown.csv", BREAKDOWN_COLUMNS, tables.breakdown),
        ("digits.csv", DIGIT_COLUMNS, tables.digits),
        ("calibration.csv", CALIBRATION_COLUMNS, calibration_rows(tables)),
    ):
        write_table(home, name, table_text(header, rows))
    record = study_record(
        manifest,
        choices,
        counts,
        observers_apart=tables.observers_apart,
        calibrations=tables.calibrations,
        recalibrations=tables.recalibrations,
    )
    write_json(home / "study.json", record)


def _pairs(entry: Entry, told: Told | None, made: bool) -> Iterable[Row]:
    """What both observers wrote down and tapfall read, as agree takes them together."""
    for measure in MEASURES:
        one, two = _wrote(entry, measure)
        if one is None and two is None:
            continue
        value, sure = estimate_of(told, measure)
        yield _row(entry, measure, one, two, estimate_text(value), sure, made)


def _both(entry: Entry, made: bool) -> Iterable[Row]:
    """The second observer as the estimate of the first."""
    for measure in MEASURES:
        one, two = _wrote(entry, measure)
        if one is not None and two is not None:
            yield _row(entry, measure, one, None, two, None, made)


def _row(
    entry: Entry,
    measure: Measure,
    one: float | None,
    two: float | None,
    estimate: Cell,
    confidence: float | None,
    made: bool,
) -> Row:
    cuff = entry.cuff_size
    return (
        _plain(one),
        _plain(two),
        estimate,
        entry.subject,
        entry.condition,
        measure,
        _plain(confidence),
        entry.sex,
        _plain(entry.age_years),
        _plain(entry.arm_cm),
        cuff if cuff is None or isinstance(cuff, str) else f"{cuff[0]:g}x{cuff[1]:g} cm",
        True if made else None,  # of others nothing is known
    )


def _by_measure(rows: list[Row]) -> tuple[Row, ...]:
    """Rows of the first measure first, each in the order of the manifest."""
    at = PAIR_COLUMNS.index("measure")
    return tuple(row for measure in MEASURES for row in rows if row[at] == measure)


def _plain(value: float | None) -> float | None:
    # Of four decimals at most a float is written without an exponent, as agree reads it.
    return None if value is None else round(value, 4)


def _wrote(entry: Entry, measure: Measure) -> tuple[float | None, ...]:
    return tuple(written(observer, measure) for observer in entry.observers)


def _read(told: Told | None, measure: Measure) -> float | None:
    if told is None:
        return None
    one: Threshold = told.systolic if measure == "systolic" else told.diastolic
    return one.mmhg if one.state is State.OBSERVED else None


def calibration_rows(tables: Tables) -> Iterable[Row]:
    """Return the rows of :data:`CALIBRATION_COLUMNS`."""
    for measure in MEASURES:
        again = tables.recalibrations[measure]
        for subjects, kind, found in (
            ("all", "as given", tables.calibrations[measure]),
            ("check", "as given", None if again is None else again.before),
            ("check", "recalibrated", None if again is None else again.after),
        ):
            for one in () if found is None else found.bins:
                yield (
                    measure,
                    subjects,
                    kind,
                    one.low_share,
                    one.high_share,
                    one.values,
                    round(one.confidence, 4),
                    round(one.right_share, 4),
                    round(one.right_low_share, 4),
                    round(one.right_high_share, 4),
                )
