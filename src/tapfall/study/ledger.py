"""What is known of every recording while a study runs: its rows, and what was done before."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tapfall.files.tables import Cell, cell_text
from tapfall.model import Status
from tapfall.study.folder import (
    Before,
    begin_results,
    intact,
    keeps,
    read_before,
    remove_reading_file,
    write_reading_file,
    write_results,
)
from tapfall.study.manifest import Entry, Manifest
from tapfall.study.rows import COLUMNS, row_of
from tapfall.study.task import Choices, Outcome, Task, current_key, own_ear

_Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """What became of the recordings of a study.

    ``statuses`` are those of readings with how many have each, ``failures`` names and reasons
    of recordings without one; of ``copies`` sound and log are equal to the last byte.
    """

    statuses: tuple[tuple[str, int], ...]
    failures: tuple[tuple[str, str], ...]
    copies: tuple[tuple[str, ...], ...]


class Ledger:
    """What is known of every recording while a study runs."""

    def __init__(self, home: Path, manifest: Manifest, choices: Choices) -> None:
        self.home, self.manifest = home, manifest
        self.rows: dict[str, _Row] = {}
        self.read: set[str] = set()
        self.dropped = 0
        self._entries = {entry.recording: entry for entry in manifest.entries}
        self.tasks = {name: _task(entry, choices) for name, entry in self._entries.items()}

    def begin(self) -> None:
        """Take over from earlier runs what still holds, and begin the results with it."""
        before = read_before(self.home)
        names = {cell_text(name): name for name in self._entries}
        self.dropped = len(set(before) - set(names))
        for written, name in names.items():
            if written in before:
                self._take_over(self._entries[name], before[written])
        more = bool(self.missing())
        begin_results(self.home, self.manifest.columns, self._in_order(), more=more)

    @property
    def failed(self) -> int:
        """How many recordings have a row and no reading."""
        return len(self.rows) - len(self.read)

    @property
    def simulated(self) -> set[str]:
        """Names of those read that are known to be simulated."""
        return {name for name in self.read if self._cell(name, "simulated") is True}

    def outline(self) -> Outline:
        """What became of the recordings, in the order of the manifest."""
        read = [name for name in self._entries if name in self.read]
        files: dict[tuple[Cell, Cell], list[str]] = {}
        for name in read:
            files.setdefault(
                (self._cell(name, "audio_sha256"), self._cell(name, "cuff_sha256")), []
            ).append(name)
        found = Counter(str(self._cell(name, "status")) for name in read)
        return Outline(
            statuses=tuple((str(one), found[one]) for one in Status),
            failures=tuple(
                (name, str(self._cell(name, "reason")))
                for name in self._entries
                if name in self.rows and name not in self.read
            ),
            copies=tuple(tuple(names) for names in files.values() if len(names) > 1),
        )

    def missing(self) -> list[str]:
        """Names of the recordings without a row, in the order of the manifest."""
        return [name for name in self._entries if name not in self.rows]

    def take(self, outcome: Outcome) -> _Row:
        """Write the reading of an outcome, and return its row."""
        entry, sha256 = self._entries[outcome.recording], ""
        if outcome.record is None:
            remove_reading_file(self.home, entry.file_name)  # of an earlier run
        else:
            sha256 = write_reading_file(self.home, entry.file_name, outcome.record)
        row = row_of(
            entry,
            key=outcome.key,
            record=outcome.record,
            reading_sha256=sha256,
            measurements=outcome.measurements,
            simulated=outcome.simulated,
            reason=outcome.reason,
        )
        return self._keep(entry, row, failed=outcome.record is None)

    def write(self) -> None:
        """Write all rows anew, in the order of the manifest."""
        write_results(self.home, self.manifest.columns, self._in_order())

    def _cell(self, name: str, column: str) -> Cell:
        return self.rows[name][len(self.manifest.columns) + COLUMNS.index(column)]

    def _in_order(self) -> list[_Row]:
        return [self.rows[name] for name in self._entries if name in self.rows]

    def _take_over(self, entry: Entry, before: Before) -> None:
        data = intact(self.home, entry.file_name, before)
        if data is None and not keeps(before):
            return
        if current_key(self.tasks[entry.recording]) != before.key:
            return
        row = row_of(
            entry,
            key=before.key,
            record=None if data is None else json.loads(data),
            reading_sha256=before.reading_sha256,
            measurements=before.measurements,
            simulated=before.simulated,
            reason=before.reason,
        )
        self._keep(entry, row, failed=data is None)

    def _keep(self, entry: Entry, row: _Row, *, failed: bool) -> _Row:
        self.rows[entry.recording] = row
        if not failed:
            self.read.add(entry.recording)
        return row


def _task(entry: Entry, choices: Choices) -> Task:
    return Task(
        recording=entry.recording,
        audio=entry.audio,
        cuff=entry.cuff,
        arm_cm=entry.arm_cm,
        cuff_size=entry.cuff_size,
        choices=choices,
        ear=own_ear(),
    )
