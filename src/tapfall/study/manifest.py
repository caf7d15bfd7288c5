"""The manifest of a study: CSV that names every recording, and who heard what in it.

Columns, in any order (needed: the first four; others are kept as they are, unless they look
like one of these misspelt):

=============================== ==========================================================
``recording``                   its name, unlike every other
``subject``                     the person, by a code
``audio``, ``cuff``             files in the manifest's folder or below it
``observer_1_systolic_mmHg``    what the first observer wrote down; ``_diastolic_`` and
                                ``observer_2_`` likewise
``observer_1_marks``            file with the beats that observer heard, see
                                :mod:`tapfall.study.marks`; ``observer_2_`` likewise
``arm_cm``                      circumference of the upper arm, cm
``cuff_size``                   ``small-adult``, ``adult``, ``large-adult``, ``thigh``, or
                                width and length of the bladder in cm: ``12x23``
``sex``                         ``female``, ``male`` or ``other``
``age_years``                   age, years
``condition``                   a word that everything is told apart by
``device``                      which stethoscope it was; errors are told apart by it
``split``                       ``fit`` or ``check``: subjects the confidence is
                                recalibrated on, and those it is then checked on
``notes``                       anything
=============================== ==========================================================

Cells are parted by commas, semicolons or tabs, then also with decimal commas.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tapfall.errors import InputError, shown
from tapfall.files.names import PathLike, base_name, label_of, open_regular
from tapfall.files.numbers import with_point
from tapfall.files.rows import check_row_count, delimiter_of, rows_of, text_of, width_fault
from tapfall.files.tables import cell_text
from tapfall.study.cells import NEEDED, PARSERS, Bladder, text
from tapfall.study.columns import misspelt
from tapfall.study.marks import read_marks
from tapfall.study.places import file_name, place_of
from tapfall.wording import counted

#: Largest manifest, bytes; most rows, columns, and faults told in words (our choice).
MAX_BYTES, MAX_ROWS, MAX_COLUMNS, MAX_TOLD = 50_000_000, 100_000, 200, 1000

_WANTED = f"a manifest (CSV with the columns {', '.join(NEEDED)})"
_WITH_COMMAS = ("observer_", "arm_cm", "age_years")


class ManifestError(InputError):
    """A manifest with faults; ``faults`` holds all of them, one line each."""

    def __init__(self, headline: str, faults: Sequence[str] = ()) -> None:
        self.faults = tuple(faults)
        told = [f"  {fault}" for fault in self.faults[:MAX_TOLD]]
        if len(self.faults) > MAX_TOLD:
            told.append(f"  and {len(self.faults) - MAX_TOLD} more")
        super().__init__("\n".join([headline, *told]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Observer:
    """What one observer wrote down; ``marks`` is the path of the beats heard."""

    systolic_mmhg: float | None = None
    diastolic_mmhg: float | None = None
    marks: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One recording of a study.

    Parameters
    ----------
    line
        Where it stands in the file.
    recording, subject, condition, split
        As in the manifest; empty or ``None`` where nothing stands there.
    audio, cuff
        Real paths; ``cuff`` is ``None`` where the pressure is a channel of the sound.
    observers
        The two of them.
    arm_cm, cuff_size
        Stated for the check of the technique.
    sex, age_years
        Held against what protocols want of a sample.
    device
        Which it was recorded with; empty where nothing stands there.
    cells
        Every cell of the row as it stands there, in the order of ``Manifest.columns``.
    """

    line: int
    recording: str
    subject: str
    audio: str
    cuff: str | None
    observers: tuple[Observer, Observer]
    arm_cm: float | None
    cuff_size: Bladder | None
    condition: str
    split: str | None
    sex: str | None
    age_years: float | None
    device: str
    cells: tuple[str, ...]

    @property
    def file_name(self) -> str:
        """Name of its reading in the study's folder, without suffix."""
        return file_name(self.recording)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """A manifest that was found sound: its name, hash, columns and recordings."""

    name: str
    sha256: str
    columns: tuple[str, ...]
    entries: tuple[Entry, ...]


def read_manifest(
    path: PathLike,
    *,
    allow_outside: bool = False,
    cuff_needed: bool = True,
    reserved: Sequence[str] = (),
) -> Manifest:
    """Read a manifest and check it as a whole.

    Parameters
    ----------
    path
        The file, UTF-8.
    allow_outside
        Whether it may name files outside its own folder.
    cuff_needed
        Whether each row has to name a cuff log.
    reserved
        Names that no further column may have.

    Returns
    -------
    Manifest
        The rows in the order of the file, with the places of their files.

    Raises
    ------
    ManifestError
        Anything in it cannot be used: every fault, with line and column.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "study.csv"
    ...     _ = path.write_text("recording,subject,audio,cuff\\nr1,p1,../a.wav,a.csv\\n")
    ...     try:
    ...         read_manifest(path)
    ...     except ManifestError as fault:
    ...         print(fault.faults[1])
    line 2, column cuff: found 'a.csv': no such file; allowed the name of a file
    """
    label = label_of(path)
    with open_regular(path, ManifestError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES + 1)
    whole = text_of(label, data, "UTF-8 text", ManifestError)
    delimiter = delimiter_of(whole)
    rows = rows_of(label, whole, delimiter, _WANTED, ManifestError)
    columns = _columns(label, *rows[0], reserved)
    check_row_count(label, rows, MAX_ROWS, ManifestError)
    reader = _Reader(
        columns=columns,
        folder=Path(path).parent,
        allow_outside=allow_outside,
        cuff_needed=cuff_needed,
        commas=delimiter != ",",
    )
    entries = [entry for line, cells in rows[1:] if (entry := reader.entry(line, cells))]
    reader.check_all(entries)
    if reader.faults:
        told = [text for _, text in sorted(reader.faults, key=lambda one: one[0])]
        count = counted(len(told), "fault")
        raise ManifestError(f"{label}: found {count}; allowed a manifest without any", told)
    return Manifest(
        name=base_name(path),
        sha256=hashlib.sha256(data).hexdigest(),
        columns=columns,
        entries=tuple(entries),
    )


def _columns(label: str, line: int, header: list[str], reserved: Sequence[str]) -> tuple[str, ...]:
    """Names of the columns: known ones as they are spelt here, others as in the file."""
    known = {name.lower(): name for name in PARSERS}
    names = [known.get(cell.lower(), cell) for cell in header]
    written = [cell_text(name).lower() for name in names]
    faults: list[str] = []
    near = misspelt(names)
    if len(names) > MAX_COLUMNS:
        faults.append(f"found {len(names)} columns; allowed at most {MAX_COLUMNS}")
    for place, name in enumerate(names, 1):
        if not name:
            faults.append(f"column {place}: found no name; allowed a name for each column")
        elif written.index(cell_text(name).lower()) != place - 1:
            faults.append(f"column {place}: found {shown(name)} again; allowed once")
        elif written[place - 1] in {one.lower() for one in reserved}:
            faults.append(
                f"column {place}: found {shown(name)}, a column of the results; allowed other names"
            )
        elif name in near:
            faults.append(
                f"column {place}: found {shown(name)}; allowed {near[name]}, or a name that is "
                "not like it"
            )
    faults += [
        f"found no column '{name}'; allowed {_WANTED}" for name in NEEDED if name not in names
    ]
    if faults:
        raise ManifestError(f"{label}: line {line}: {faults[0]}", faults[1:])
    return tuple(names)


def _guises(entry: Entry) -> tuple[str, str]:
    return f"file {entry.file_name}", f"cell {cell_text(entry.recording)}"


class _Reader:
    """Turns rows into entries and gathers every fault by line."""

    def __init__(
        self,
        *,
        columns: tuple[str, ...],
        folder: Path,
        allow_outside: bool,
        cuff_needed: bool,
        commas: bool,
    ) -> None:
        self.faults: list[tuple[int, str]] = []
        self._columns, self._folder, self._commas = columns, folder, commas
        self._allow_outside, self._cuff_needed = allow_outside, cuff_needed

    def entry(self, line: int, cells: list[str]) -> Entry | None:
        """One row; None, and its faults noted, where it cannot be used."""
        before = len(self.faults)
        if len(cells) != len(self._columns):
            self._note(line, None, width_fault(cells, len(self._columns)))
            return None
        cell = dict(zip(self._columns, cells, strict=True))
        value = {name: self._value(line, name, cell[name]) for name in self._columns}
        place: dict[str, str | None] = {
            name: self._place(line, name, cell[name])
            for name in ("audio", "cuff", "observer_1_marks", "observer_2_marks")
            if name in cell and (cell[name] or name == "audio" or self._is_needed(name))
        }
        observers = tuple(self._observer(line, n, value, place) for n in (1, 2))
        if len(self.faults) > before:
            return None
        return Entry(
            line=line,
            recording=cell["recording"],
            subject=cell["subject"],
            audio=place["audio"] or "",
            cuff=place.get("cuff"),
            observers=(observers[0], observers[1]),
            arm_cm=value.get("arm_cm"),
            cuff_size=value.get("cuff_size"),
            condition=cell.get("condition", ""),
            split=value.get("split"),
            sex=value.get("sex"),
            age_years=value.get("age_years"),
            device=cell.get("device", ""),
            cells=tuple(cells),
        )

    def check_all(self, entries: list[Entry]) -> None:
        """Note what only shows across rows: a pair of files in two would count twice."""
        seen: dict[str, Entry] = {}
        people: dict[str, Entry] = {}
        sexes: dict[str, Entry] = {}
        pairs: dict[tuple[str, str | None], Entry] = {}
        for entry in entries:
            # Also by its file's name and as it is written: both must tell it from others.
            firsts = [seen.setdefault(one, entry) for one in _guises(entry)]
            first = next((one for one in firsts if one is not entry), entry)
            if first is not entry:
                self._note(
                    entry.line,
                    "recording",
                    f"found {shown(entry.recording)} as in line {first.line}; allowed once",
                )
            other = pairs.setdefault((entry.audio, entry.cuff), entry)
            if first is entry is not other:
                self._note(
                    entry.line,
                    "audio",
                    f"found the files of {shown(other.recording)} in line {other.line} again for "
                    f"{shown(entry.recording)}; allowed one recording for each sound and its log",
                )
            first = people.setdefault(entry.subject, entry)
            self._check_same(entry, first, "split", entry.split, first.split)
            if entry.sex is not None:  # not every row has to tell it
                first = sexes.setdefault(entry.subject, entry)
                self._check_same(entry, first, "sex", entry.sex, first.sex)

    def _check_same(
        self, entry: Entry, first: Entry, column: str, own: str | None, other: str | None
    ) -> None:
        if own != other:
            self._note(
                entry.line,
                column,
                f"found {own or 'nothing'} for {shown(entry.subject)}, {other or 'nothing'} in "
                f"line {first.line}; allowed the same for all recordings of a subject",
            )

    def _note(self, line: int, column: str | None, words: str) -> None:
        where = f"line {line}" if column is None else f"line {line}, column {column}"
        self.faults.append((line, f"{where}: {words}"))

    def _is_needed(self, name: str) -> bool:
        return name == "cuff" and self._cuff_needed

    def _value(self, line: int, name: str, cell: str) -> Any:
        if not cell and name not in ("recording", "subject"):
            return None
        if self._commas and name.startswith(_WITH_COMMAS):
            cell = with_point(cell)
        try:
            return PARSERS.get(name, text)(cell)
        except InputError as fault:
            self._note(line, shown(name)[1:-1], str(fault))
            return None

    def _place(self, line: int, name: str, cell: str) -> str | None:
        place = None
        try:
            place = place_of(self._folder, cell, allow_outside=self._allow_outside)
            if name.endswith("_marks"):
                read_marks(place)
        except InputError as fault:
            words = str(fault).partition("\n")[0]
            # The cell names the file; its folder is nobody else's business.
            words = words.replace(label_of(place), label_of(cell)) if place else words
            self._note(line, name, words)
            return None
        return place

    def _observer(
        self, line: int, number: int, value: dict[str, Any], place: dict[str, str | None]
    ) -> Observer:
        start = f"observer_{number}_"
        high, low = value.get(f"{start}systolic_mmHg"), value.get(f"{start}diastolic_mmHg")
        if high is not None and low is not None and high <= low:
            self._note(
                line,
                f"{start}diastolic_mmHg",
                f"found {low:g} beside a systolic of {high:g}; allowed a diastolic below it",
            )
        return Observer(systolic_mmhg=high, diastolic_mmhg=low, marks=place.get(f"{start}marks"))
