"""Answers of blinded observers, put into the manifest of their study.

The displacement of each dial is taken off, marks count from the start of the recording
again, and the new manifest has them as its first and second observer.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tapfall.errors import InputError, SettingError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.numbers import with_point
from tapfall.files.tables import FORMULA_STARTS, cell_text, table_text
from tapfall.files.writing import check_new, check_writable, write_bytes
from tapfall.lesson.blindkey import BlindItem, BlindKey
from tapfall.lesson.nouns import Answer, Answers
from tapfall.study.cells import OBSERVED_MMHG
from tapfall.study.manifest import Entry, Manifest
from tapfall.study.places import content_hash

#: Longest delay between a sound and the press of a key, seconds (our choice).
MOST_DELAY_S = 1.0

_FILES = ("audio", "cuff", "observer_1_marks", "observer_2_marks")
_NUMBERS = ("arm_cm", "age_years")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What one observer wrote down of one recording, on the cuff's own scale.

    ``marks_s`` is audio time of the whole recording.
    """

    recording: str
    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    marks_s: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What became of the answers: the file, and counts for each observer given."""

    path: Path
    marks_files: tuple[Path, ...]
    recordings: int
    answered: tuple[int, ...]


def heard_by(key: BlindKey, answers: Answers, *, delay_s: float = 0.0) -> tuple[Heard, ...]:
    """Return what an observer wrote down, by recording and on the cuff's own scale.

    Parameters
    ----------
    key
        The key of the observer's page.
    answers
        What was saved from it.
    delay_s
        How long after a sound its key was pressed; taken off every mark.

    Raises
    ------
    InputError
        The answers are of another page or observer, or cannot be.
    SettingError
        The delay is outside 0 to 1 s.

    Examples
    --------
    >>> from tapfall.lesson.nouns import Mode
    >>> item = BlindItem(name="item-01", recording="p1", audio_sha256="", offset_mmhg=7.0,
    ...                  start_s=10.0, seconds=60.0)
    >>> key = BlindKey(set_id="s", observer="A", manifest="study.csv", lag_s=0.0, items=(item,))
    >>> answer = Answer(item="item-01", systolic_mmhg=127.0, diastolic_mmhg=None,
    ...                 marks_s=(2.5,), replays=0)
    >>> answers = Answers(set_id="s", learner="A", saved="2026-03-01T10:00:00Z",
    ...                   mode=Mode.EXAMINE, answers=(answer,))
    >>> heard_by(key, answers, delay_s=0.2)
    (Heard(recording='p1', systolic_mmhg=120.0, diastolic_mmhg=None, marks_s=(12.3,)),)
    """
    if not 0.0 <= delay_s <= MOST_DELAY_S:
        raise SettingError(f"found a delay of {delay_s:g} s; allowed 0 to {MOST_DELAY_S:g}")
    for name, found, wanted in (
        ("set", answers.set_id, key.set_id),
        ("observer", answers.learner.upper(), key.observer.upper()),
    ):
        if found != wanted:
            raise InputError(
                f"found answers of the {name} {shown(found)}; allowed those of {shown(wanted)}, "
                "whose key it is"
            )
    items = {item.name: item for item in key.items}
    names = [answer.item for answer in answers.answers]
    faults = [f"{shown(one)}: found no such item in the key" for one in names if one not in items]
    faults += [f"{shown(name)}: found twice" for name in set(names) if names.count(name) > 1]
    heard: list[Heard] = []
    if not faults:
        for answer in answers.answers:
            try:
                heard.append(_heard(items[answer.item], answer, delay_s))
            except InputError as fault:
                faults.append(f"{answer.item}: {fault}")
    if faults:
        raise InputError(fault_text(faults[0], faults[1:]))
    return tuple(heard)


def _heard(item: BlindItem, answer: Answer, delay_s: float) -> Heard:
    low, high = OBSERVED_MMHG
    values: list[float | None] = []
    for mmhg in (answer.systolic_mmhg, answer.diastolic_mmhg):
        value = None if mmhg is None else round(mmhg - item.offset_mmhg, 3)
        if value is not None and not low <= value <= high:
            raise InputError(
                f"found {mmhg:g} on a dial displaced by {item.offset_mmhg:g}; allowed {low:g} to "
                f"{high:g} without it"
            )
        values.append(value)
    systolic, diastolic = values
    if systolic is not None and diastolic is not None and systolic <= diastolic:
        raise InputError(
            f"found {answer.diastolic_mmhg:g} beside a systolic of {answer.systolic_mmhg:g}; "
            "allowed a diastolic below it"
        )
    if any(not 0.0 <= mark_s <= item.seconds for mark_s in answer.marks_s):
        raise InputError(f"found a mark outside the {item.seconds:.1f} s of the sound")
    marks = {round(max(0.0, item.start_s + mark_s - delay_s), 3) for mark_s in answer.marks_s}
    return Heard(
        recording=item.recording,
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        marks_s=tuple(sorted(marks)),
    )


def write_observed(
    path: PathLike,
    manifest: Manifest,
    manifest_path: PathLike,
    observers: Sequence[tuple[BlindKey, Sequence[Heard]] | None],
) -> Merged:
    """Write a manifest with what its observers heard, and a file of marks for each.

    Parameters
    ----------
    path
        The new manifest, in the folder of the old one, so that names of files stay right; never
        over a file, which may hold what other observers heard.
    manifest, manifest_path
        The old one, and where it lies.
    observers
        Key and :func:`heard_by` of the first and the second observer; None to leave one as
        it is.

    Raises
    ------
    InputError
        The keys do not fit the manifest, an observer is there already, the new manifest or the
        folder of its marks is, or a file cannot be written.
    """
    given = {n: one for n, one in enumerate(observers, 1) if one is not None}
    target = Path(path)
    if os.path.realpath(target.parent) != os.path.realpath(Path(manifest_path).parent):
        raise InputError(
            f"{label_of(path)}: found another folder than the manifest's; allowed a file beside "
            "it, so that names of files stay right"
        )
    check_writable(path, (manifest_path,))
    folder = target.with_name(f"{target.stem}-marks")
    for place in (target, folder):
        check_new(place, "another -o, or removing it, with all that observers heard in it")
    codes = [key.observer.upper() for key, _ in given.values()]
    if len(set(codes)) < len(codes):
        raise InputError(f"found the observer {shown(codes[0])} twice; allowed two observers")
    entries = {entry.recording: entry for entry in manifest.entries}
    for number, (key, _) in given.items():
        _check_fits(entries, manifest, number, key)
    columns = list(manifest.columns)
    for number in given:
        start = f"observer_{number}_"
        for name in (f"{start}systolic_mmHg", f"{start}diastolic_mmHg", f"{start}marks"):
            if name not in columns:
                columns.append(name)
    heard = {(number, one.recording): one for number, (_, found) in given.items() for one in found}
    files: list[Path] = []
    rows = []
    for entry in manifest.entries:
        cells = dict(zip(manifest.columns, entry.cells, strict=True))
        for number in given:
            one = heard.get((number, entry.recording))
            if one is None:
                continue
            start = f"observer_{number}_"
            cells[f"{start}systolic_mmHg"] = _number(one.systolic_mmhg)
            cells[f"{start}diastolic_mmHg"] = _number(one.diastolic_mmhg)
            if one.marks_s:
                file = folder / f"{entry.file_name}-observer-{number}.csv"
                _write_marks(file, one.marks_s)
                files.append(file)
                cells[f"{start}marks"] = f"{folder.name}/{file.name}"
        rows.append([_cell(name, cells.get(name, "")) for name in columns])
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([cell_text(name) for name in columns])
    writer.writerows(rows)
    write_bytes(path, buffer.getvalue().encode("utf-8"))
    return Merged(
        path=target,
        marks_files=tuple(files),
        recordings=len(manifest.entries),
        answered=tuple(len(found) for _, found in given.values()),
    )


def _check_fits(entries: dict[str, Entry], manifest: Manifest, number: int, key: BlindKey) -> None:
    for item in key.items:
        entry = entries.get(item.recording)
        if entry is None:
            raise InputError(
                f"{manifest.name}: found no recording {shown(item.recording)}, which the key of "
                f"observer {number} has; allowed the manifest that the page was made of"
            )
        if item.audio_sha256 and content_hash(entry.audio) != item.audio_sha256:
            raise InputError(
                f"{manifest.name}: recording {shown(item.recording)}: found another sound than "
                f"the one observer {number} heard; allowed the same file"
            )
    for entry in manifest.entries:
        there = entry.observers[number - 1]
        if (there.systolic_mmhg, there.diastolic_mmhg, there.marks) != (None, None, None):
            raise InputError(
                f"{manifest.name}: line {entry.line}: found values of observer {number}; allowed "
                "a manifest without them"
            )


def _write_marks(path: Path, marks_s: Sequence[float]) -> None:
    try:
        path.parent.mkdir(exist_ok=True)  # of its first file
    except OSError as fault:
        raise InputError(
            f"{label_of(path.parent)}: cannot be made a folder ({fault.strerror}); allowed a "
            "place beside the new manifest"
        ) from None
    text = table_text(("time_s", "heard"), [(mark_s, 1) for mark_s in marks_s])
    write_bytes(path, text.encode("ascii"))


def _number(mmhg: float | None) -> str:
    return "" if mmhg is None else f"{mmhg:g}"


def _cell(name: str, cell: str) -> str:
    """A cell as the next reader of the manifest understands it, and no spreadsheet runs."""
    if name in _FILES:
        return f"./{cell}" if cell.startswith(FORMULA_STARTS) else cell
    if name in _NUMBERS or name.endswith("_mmHg"):
        return with_point(cell).removeprefix("+")
    return cell_text(cell)
