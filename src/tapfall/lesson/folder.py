"""A set on the disk: what learners get in one folder, what only the teacher gets beside it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tapfall.errors import InputError
from tapfall.files.audio import sound_bytes
from tapfall.files.names import PathLike, label_of
from tapfall.files.writing import check_new, check_writable, write_bytes
from tapfall.lesson.level import LIMIT, held, level_tones, swing
from tapfall.lesson.making import Made, Order, make_items, set_of
from tapfall.lesson.nouns import Key, LessonSet
from tapfall.lesson.padding import common_size, padded
from tapfall.lesson.sets import SET_FILE, key_beside, write_key, write_set
from tapfall.lesson.sheets import answer_sheet, teacher_sheet

#: File, samples, rate of one sound, and whether no person was measured.
Sounding = tuple[str, np.ndarray, float, bool]
#: File of the tones to set the volume by, and of the answer sheet.
LEVEL_FILE, ANSWER_FILE = "level.flac", "answer-sheet.pdf"
#: Stands in the folder while its set is made.
_CLAIM = ".making"


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """Where a set, its key and its teacher's sheet are."""

    folder: Path
    key_path: Path
    teacher_path: Path
    lesson: LessonSet
    key: Key


def make_set(
    order: Order,
    folder: PathLike,
    key: PathLike | None = None,
    told: Callable[[int], None] | None = None,
) -> Written:
    """Make a set and write it.

    Parameters
    ----------
    order
        What the set has to be.
    folder
        What learners get: made, or empty.
    key
        Where the key is written; beside the folder as ``NAME-key.json`` unless given.  The
        teacher's sheet stands beside it.
    told
        Called with the number of recordings simulated so far, which is most of the work.

    Returns
    -------
    Written
        Set, key and their places.

    Raises
    ------
    InputError
        The folder holds something, the key would lie in it, a key or its sheet stands there
        already, or a file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from tapfall.lesson.grades import grade_of
    >>> order = Order(grade=grade_of("1"), count=1, seed=4)
    >>> with tempfile.TemporaryDirectory() as place:
    ...     written = make_set(order, pathlib.Path(place) / "first")
    ...     names = sorted(path.name for path in pathlib.Path(place).iterdir())
    >>> names, len(written.key.items)
    (['first', 'first-key-sheet.pdf', 'first-key.json'], 1)
    """
    made: list[Made] = []

    def sounds() -> Iterator[Sounding]:
        for one in make_items(order, told):
            made.append(one)
            yield one.item.file, one.sound, one.rate_hz, True

    title = f"grade {order.grade.name}, {order.grade.title}"
    return write_folder(folder, key, sounds(), lambda: set_of(order, tuple(made)), title=title)


def write_folder(
    folder: PathLike,
    key: PathLike | None,
    sounds: Iterable[Sounding],
    made: Callable[[], tuple[LessonSet, Key]],
    *,
    title: str,
) -> Written:
    """Write sounds as they come, then all that goes with them.

    Parameters
    ----------
    folder, key
        As for :func:`make_set`.
    sounds
        File, samples and rate of each item, and whether it is simulated.
    made
        Returns the set and its key; called after the last sound.
    title
        What the set is like, for the teacher's sheet.

    Raises
    ------
    InputError
        The folder holds something, the key would lie in it, a key or its sheet stands there
        already, or a file cannot be written.
    """
    if not str(folder):
        raise InputError("'': found an empty name; allowed a folder to write in")
    home = Path(folder)
    key_path = Path(key) if key is not None else key_beside(home)
    teacher_path = key_path.with_name(f"{key_path.stem}-sheet.pdf")
    with _claimed(home, key_path) as written:
        for path in (key_path, teacher_path):
            check_writable(path)
            check_new(path, "another name, or removing it: its set can then not be marked")
        rate_hz, simulated, loudest = 0.0, True, LIMIT
        for file, samples, rate_hz, made_up in sounds:
            written.append(home / file)
            furthest = swing(samples, LIMIT)
            _write_sound(home / file, held(samples, furthest), rate_hz, simulated=made_up)
            loudest = max(loudest, furthest)
            simulated = simulated and made_up
        _make_equal(written)
        lesson, answers = made()
        loud, faint = level_tones(rate_hz, loudest)
        still = np.zeros(round(rate_hz), np.float32)
        tones = np.concatenate([loud, still, faint])
        written += [home / LEVEL_FILE, home / ANSWER_FILE]
        _write_sound(home / LEVEL_FILE, tones, rate_hz, simulated=simulated)
        write_bytes(home / ANSWER_FILE, answer_sheet(lesson, simulated=simulated))
        write_key(key_path, answers)
        written.append(key_path)
        write_bytes(teacher_path, teacher_sheet(answers, title=title, simulated=simulated))
        written.append(teacher_path)
        write_set(home / SET_FILE, lesson)  # last: a folder without it is no set
    return Written(
        folder=home, key_path=key_path, teacher_path=teacher_path, lesson=lesson, key=answers
    )


@contextmanager
def _claimed(home: Path, key_path: Path) -> Iterator[list[Path]]:
    """The folder for this set alone; what is put on the list is gone where making it fails."""
    _ready(home, key_path)
    written: list[Path] = []
    try:
        yield written
    except BaseException:
        with contextlib.suppress(OSError):
            for path in (*written, home / _CLAIM):
                path.unlink(missing_ok=True)
            home.rmdir()
        raise
    (home / _CLAIM).unlink(missing_ok=True)


def _ready(home: Path, key_path: Path) -> None:
    label, holds = label_of(home), ""
    try:
        inside = key_path.resolve().is_relative_to(home.resolve())
    except (OSError, ValueError):  # told below, or when the key is written
        inside = False
    if inside:  # told before anything is made
        raise InputError(
            f"{label_of(key_path)}: found a key in the folder of the learners; allowed elsewhere"
        )
    try:
        home.mkdir(parents=True, exist_ok=True)
        try:
            # Only one of two that begin at once can make it.
            (home / _CLAIM).open("x").close()
        except FileExistsError:
            holds = f" ({_CLAIM}, of a run that goes on or was cut off)"
        else:
            if any(path.name != _CLAIM for path in home.iterdir()):
                holds = " "
                (home / _CLAIM).unlink()
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise InputError(
            f"{label}: cannot be made a folder ({reason}); allowed a folder to write in"
        ) from None
    if holds:
        raise InputError(
            f"{label}: found a folder that holds something{holds.rstrip()}; allowed a new or empty "
            "one"
        )


def _write_sound(path: Path, samples: np.ndarray, rate_hz: float, *, simulated: bool) -> None:
    """Write FLAC of 16 bits; its only words, if any, say that it is simulated."""
    # The least compression packs half as long, and a few hundredths worse.
    sound = sound_bytes(
        samples,
        round(rate_hz),
        subtype="PCM_16",
        form="FLAC",
        simulated=simulated,
        compression=0.0,
    )
    write_bytes(path, sound)


def _make_equal(paths: list[Path]) -> None:
    """Pad sounds to one size, which says nothing of what they hold."""
    size = common_size([path.stat().st_size for path in paths])
    for path in paths:
        write_bytes(path, padded(path.read_bytes(), size))
