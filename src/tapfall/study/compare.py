"""Tapfall against observers, and beside it observer against observer.

Order is (reference, estimate), differences are estimate minus reference.  A reading's
reference is the mean of what the two observers wrote down; where they are more than
4 mmHg apart there is none (ISO 81060-2, from memory), and where one wrote nothing, it is
the other's.  What lay between the first and the second is a difference of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tapfall.convert import from_json
from tapfall.files.tables import Cell
from tapfall.model import Diastolic, Phase, State, Threshold
from tapfall.study.agreement.rows import SLACK_MMHG, together
from tapfall.study.cells import ALL, SAME
from tapfall.study.manifest import Entry, Observer
from tapfall.study.marks import HEARD, BeatCounts, Edges, Mark, edges_of, match

#: What the confidence speaks of: a value within this of an expert's (our definition).
NEAR_MMHG = 4.0

Measure = Literal["systolic", "diastolic"]
MEASURES: tuple[Measure, ...] = ("systolic", "diastolic")
TAPFALL, OBSERVERS, FIRST, SECOND = "tapfall", "observers", "observer_1", "observer_2"
#: Who is compared with whom, in the order of every table.
COMPARED = ((OBSERVERS, TAPFALL), (FIRST, TAPFALL), (SECOND, TAPFALL), (FIRST, SECOND))

ERROR_COLUMNS = (
    "reference",
    "estimate",
    "condition",
    "measure",
    "pairs",
    "no_value",
    "mean_mmHg",
    "sd_mmHg",
    "mean_absolute_mmHg",
    "share_within_4_mmHg",
    "mean_beats",
    "sd_beats",
)
BEAT_COLUMNS = (
    "reference",
    "estimate",
    "condition",
    "recordings",
    "hits",
    "false",
    "missed",
    "precision",
    "recall",
    "f1",
    "onset_mean_s",
    "onset_sd_s",
    "onset_median_absolute_s",
    "phases_same",
    "phases_compared",
    "edges_compared",
    *(
        f"{edge}_{part}_{unit}"
        for edge in ("first", "last")
        for unit in ("beats", "mmHg")
        for part in ("mean", "sd")
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One value of one recording: who is compared with whom, and how far apart.

    ``estimate`` is a number, a bound (``>=120``) or empty; ``error_mmhg`` is there for a
    number only, ``step_mmhg`` is the fall of the cuff from beat to beat, where known.
    ``by_all`` values have a number by both observers and by tapfall.
    """

    reference_name: str
    estimate_name: str
    subject: str
    condition: str
    split: str | None
    measure: Measure
    reference_mmhg: float
    estimate: str
    error_mmhg: float | None
    step_mmhg: float | None
    confidence: float | None
    by_all: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """The beats of one recording: who is compared with whom, and how they match.

    ``edges`` are None where the reading's beats do not reach as far.
    """

    reference_name: str
    estimate_name: str
    condition: str
    counts: BeatCounts
    edges: Edges | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a comparison needs of a reading; ``step_mmhg`` is the fall from beat to beat."""

    systolic: Threshold
    diastolic: Diastolic
    step_mmhg: float | None
    signal_to_noise_db: float | None
    marks: tuple[Mark, ...]
    cuff_mmhg: tuple[float, ...]


def told_by(record: dict[str, Any]) -> Told:
    """Return what a reading says, from its JSON values.

    Only what is compared is turned into objects: of a study of thousands, most of the time
    would go into the rest.
    """
    return Told(
        systolic=from_json(Threshold, record["systolic"], "systolic"),
        diastolic=from_json(Diastolic, record["diastolic"], "diastolic"),
        step_mmhg=record["quality"]["deflation_mmHg_per_beat"],
        signal_to_noise_db=record["quality"].get("signal_to_noise_db"),
        marks=tuple(
            Mark(time_s=one["time_s"], heard=one["heard"] >= HEARD, phase=Phase(one["phase"]))
            for one in record["beats"]
        ),
        cuff_mmhg=tuple(one["cuff_mmHg"] for one in record["beats"]),
    )


def written(observer: Observer, measure: Measure) -> float | None:
    """Return what an observer wrote down, mmHg."""
    return observer.systolic_mmhg if measure == "systolic" else observer.diastolic_mmhg


def reference_mmhg(first: float | None, second: float | None) -> float | None:
    """Return the reference that two observers give together, mmHg.

    Examples
    --------
    >>> reference_mmhg(120.0, 122.0), reference_mmhg(120.0, 126.0), reference_mmhg(None, 80.0)
    (121.0, None, 80.0)
    """
    pair = (np.array([np.nan if one is None else one]) for one in (first, second))
    both = float(together(*pair)[0][0])
    return None if math.isnan(both) else both


def values_of(entry: Entry, told: Told | None) -> list[Judged]:
    """Compare the values of one recording.

    Parameters
    ----------
    entry
        Its row in the manifest.
    told
        What its reading says; ``None`` where there is none, which counts as no value.
    """
    found: list[Judged] = []
    step_mmhg = None if told is None else told.step_mmhg
    for measure in MEASURES:
        one, two = (written(observer, measure) for observer in entry.observers)
        value, confidence = estimate_of(told, measure)
        text = estimate_text(value)
        by_all = one is not None and two is not None and not isinstance(value, str)
        against: list[tuple[str, str, float | None, float | str, str, float | None]] = [
            (OBSERVERS, TAPFALL, reference_mmhg(one, two), value, text, confidence),
            (FIRST, TAPFALL, one, value, text, confidence),
            (SECOND, TAPFALL, two, value, text, confidence),
        ]
        if two is not None:
            against.append((FIRST, SECOND, one, two, f"{two:g}", None))
        for first, second, reference, estimate, shown, sure in against:
            if reference is None:
                continue
            error = None if isinstance(estimate, str) else estimate - reference
            found.append(
                Judged(
                    reference_name=first,
                    estimate_name=second,
                    subject=entry.subject,
                    condition=entry.condition,
                    split=entry.split,
                    measure=measure,
                    reference_mmhg=reference,
                    estimate=shown,
                    error_mmhg=error,
                    step_mmhg=step_mmhg,
                    confidence=sure,
                    by_all=by_all,
                )
            )
    return found


def estimate_of(told: Told | None, measure: Measure) -> tuple[float | str, float | None]:
    """A number, or a bound or nothing in words; and how sure."""
    if told is None:
        return "", None
    one: Threshold = told.systolic if measure == "systolic" else told.diastolic
    if one.state is State.OBSERVED and one.mmhg is not None:
        return one.mmhg, one.confidence
    if one.state is State.NOT_REACHED and measure == "systolic" and one.low_mmhg is not None:
        return f">={_written(one.low_mmhg)}", None
    if one.state is State.NOT_REACHED and measure == "diastolic" and one.high_mmhg is not None:
        return f"<={_written(one.high_mmhg)}", None
    return "", None


def estimate_text(value: float | str) -> str:
    """Return an estimate as it stands in a table of pairs."""
    return value if isinstance(value, str) else _written(value)


def _written(value_mmhg: float) -> str:
    # A log that stands a little below zero at rest bounds no pressure below zero.
    return f"{max(0.0, value_mmhg):.2f}"


def apart(entry: Entry) -> int:
    """Return how many values the two observers are too far apart on."""
    pairs = [[written(one, measure) for one in entry.observers] for measure in MEASURES]
    return sum(a is not None and b is not None and reference_mmhg(a, b) is None for a, b in pairs)


def beats_of(
    entry: Entry, told: Told | None, marks: tuple[tuple[Mark, ...] | None, ...]
) -> list[Heard]:
    """Compare the beats of one recording; ``marks`` are those of both observers."""
    one, two = marks
    own = None if told is None else told.marks
    return [
        Heard(
            reference_name=first,
            estimate_name=second,
            condition=entry.condition,
            counts=match(reference, estimate),
            edges=None
            if told is None
            else edges_of(reference, estimate, told.marks, told.cuff_mmhg),
        )
        for first, second, reference, estimate in (
            (FIRST, TAPFALL, one, own),
            (SECOND, TAPFALL, two, own),
            (FIRST, SECOND, one, two),
        )
        if reference is not None and estimate is not None
    ]


def place_of_row(
    reference: str, estimate: str, condition: str, measure: Measure = "systolic"
) -> tuple[int, int, int, str]:
    """Return where a row stands: by measure, comparison, all recordings first, condition.

    Examples
    --------
    >>> place_of_row("observers", "tapfall", "(all)") < place_of_row("observers", "tapfall", "(a)")
    True
    """
    part = (ALL, SAME).index(condition) if condition in (ALL, SAME) else 2
    return MEASURES.index(measure), COMPARED.index((reference, estimate)), part, condition


def _place(key: tuple[Any, ...]) -> tuple[int, int, int, str]:
    return place_of_row(*key)


def error_rows(values: Iterable[Judged]) -> list[tuple[Cell, ...]]:
    """Return the rows of :data:`ERROR_COLUMNS`: each comparison, condition and measure.

    Beside all recordings stand those that every one of the three has a number for: there,
    expert against expert and tapfall against expert rest on the same sounds.
    """
    groups: dict[tuple[str, str, str, Measure], list[Judged]] = {}
    for one in values:
        for condition in (ALL, *((SAME,) if one.by_all else ()), one.condition):
            key = (one.reference_name, one.estimate_name, condition, one.measure)
            groups.setdefault(key, []).append(one)
    return [(*key, *_errors(groups[key])) for key in sorted(groups, key=_place) if key[2]]


def _errors(group: list[Judged]) -> tuple[Cell, ...]:
    errors = np.array([one.error_mmhg for one in group if one.error_mmhg is not None])
    beats = np.array(
        [
            one.error_mmhg / one.step_mmhg
            for one in group
            if one.error_mmhg is not None and one.step_mmhg
        ]
    )
    near = float(np.mean(np.abs(errors) <= NEAR_MMHG + SLACK_MMHG)) if errors.size else None
    size = float(np.mean(np.abs(errors))) if errors.size else None
    return (
        int(errors.size),
        len(group) - int(errors.size),
        *_mean_sd(errors),
        _rounded(size),
        _rounded(near),
        *_mean_sd(beats),
    )


def beat_rows(heard: Iterable[Heard]) -> list[tuple[Cell, ...]]:
    """Return the rows of :data:`BEAT_COLUMNS`: each comparison and condition."""
    groups: dict[tuple[str, str, str], list[Heard]] = {}
    for one in heard:
        for condition in (ALL, one.condition):
            key = (one.reference_name, one.estimate_name, condition)
            groups.setdefault(key, []).append(one)
    return [
        (*key, len(groups[key]), *_beats(groups[key]))
        for key in sorted(groups, key=_place)
        if key[2]
    ]


def _beats(group: list[Heard]) -> tuple[Cell, ...]:
    total = BeatCounts.total([one.counts for one in group])
    onsets = np.array(total.onsets_s)
    middle = float(np.median(np.abs(onsets))) if onsets.size else None
    edges = [one.edges for one in group if one.edges is not None]
    return (
        total.hits,
        total.false,
        total.missed,
        _rounded(total.precision),
        _rounded(total.recall),
        _rounded(total.f1),
        *_mean_sd(onsets),
        _rounded(middle),
        total.phases_same,
        total.phases_compared,
        len(edges),
        *_mean_sd(np.array([one.first_beats for one in edges], np.float64)),
        *_mean_sd(np.array([one.first_mmhg for one in edges])),
        *_mean_sd(np.array([one.last_beats for one in edges], np.float64)),
        *_mean_sd(np.array([one.last_mmhg for one in edges])),
    )


def _mean_sd(values: np.ndarray) -> tuple[float | None, float | None]:
    mean = float(np.mean(values)) if values.size else math.nan
    spread = float(np.std(values, ddof=1)) if values.size > 1 else math.nan
    return _rounded(mean), _rounded(spread)


def _rounded(value: float | None) -> float | None:
    # Nothing is -0.0.
    return None if value is None or math.isnan(value) else round(value, 4) + 0.0
