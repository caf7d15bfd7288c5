"""Small studies for tests: manifests, and executors that count or lose what they are given."""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

HEADER = ("recording", "subject", "audio", "cuff")


class Counting(Executor):
    """Does everything at once in this thread, and notes which recordings it was given.

    ``at`` is called with the name before each: what it raises ends the work as it would
    in a worker, or the study where it is no Exception.
    """

    def __init__(self, at: Callable[[str], None] = lambda _: None) -> None:
        self.given: list[str] = []
        self._at = at

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.given.append(args[0].recording)
        try:
            self._at(args[0].recording)
            future.set_result(fn(*args, **kwargs))
        except Exception as fault:
            future.set_exception(fault)
        return future


class Poisoned(Executor):
    """Hands work on, but for one recording something that ends the worker's process."""

    def __init__(self, inner: Executor, recording: str) -> None:
        self._inner, self._recording = inner, recording

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        if args[0].recording == self._recording:
            return self._inner.submit(os._exit, 9)
        return self._inner.submit(fn, *args, **kwargs)


def write_manifest(path: Path, header: tuple[str, ...], *rows: tuple[str, ...]) -> Path:
    """Write a manifest."""
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])
    return path


def study_of(folder: Path, made: Path, count: int) -> Path:
    """Copy so many recordings into a folder, and write their manifest."""
    names = sorted(path.stem for path in made.glob("*.wav"))[:count]
    for name in names:
        for suffix in (".wav", ".csv"):
            shutil.copy(made / f"{name}{suffix}", folder / f"{name}{suffix}")
    rows = [(name, f"p-{name}", f"{name}.wav", f"{name}.csv") for name in names]
    return write_manifest(folder / "study.csv", HEADER, *rows)


def rows_of(path: Path) -> list[dict[str, str]]:
    """Read a table."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, strict=True))
