"""Lessons from a school's own recordings, with the consensus of two experts as the key."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tapfall.errors import InputError
from tapfall.files import load
from tapfall.files.names import PathLike
from tapfall.lesson.blind import heard_item
from tapfall.lesson.folder import Sounding, Written, write_folder
from tapfall.lesson.level import limited
from tapfall.lesson.making import MOST_ITEMS, shows
from tapfall.lesson.nouns import LARGEST_OFFSET_MMHG, Item, Key, KeyBeat, KeyItem, LessonSet, Mode
from tapfall.lesson.sound import Samples, gain_db
from tapfall.model import CuffLog, Phase
from tapfall.show.playback import RATE_HZ
from tapfall.study.agreement.rows import APART_MMHG
from tapfall.study.compare import MEASURES, Measure, reference_mmhg, written
from tapfall.study.manifest import Entry, Manifest
from tapfall.study.marks import Mark, match, read_marks
from tapfall.synth.streams import stream

TITLE = "own recordings, key by the consensus of two experts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """What became of a manifest; ``left_out`` names recordings without a consensus."""

    written: Written
    left_out: tuple[str, ...]


def make_own_set(
    manifest: Manifest,
    folder: PathLike,
    key: PathLike | None = None,
    *,
    seed: int,
    mode: Mode = Mode.PRACTISE,
    replays: int | None = None,
    random_zero: bool = False,
) -> Own:
    """Make a set of the recordings of a manifest on which both observers agree.

    Parameters
    ----------
    manifest
        Recordings with what two experts wrote down, and if wanted the beats they marked.
    folder, key
        As for :func:`tapfall.lesson.folder.make_set`.
    seed
        Draws order and displaced zeros.
    mode, replays, random_zero
        As for :class:`tapfall.lesson.making.Order`.

    Returns
    -------
    Own
        The consensus is the mean of the experts where they are at most 4 mmHg apart, for
        both pressures; beats are those that both marked.

    Raises
    ------
    InputError
        No recording has a consensus, one cannot be read, or a file cannot be written.
    """
    agreed = [entry for entry in manifest.entries if _consensus(entry) is not None]
    left_out = tuple(one.recording for one in manifest.entries if one not in agreed)
    if not agreed:
        raise InputError(
            f"{manifest.name}: found no recording on which two observers agree within "
            f"{APART_MMHG:g} mmHg on both pressures; allowed at least one"
        )
    if len(agreed) > MOST_ITEMS:
        raise InputError(
            f"{manifest.name}: found {len(agreed)} recordings; allowed at most {MOST_ITEMS}"
        )
    rng = stream(seed, "lesson", "own")
    order = [agreed[int(i)] for i in rng.permutation(len(agreed))]
    offsets = rng.integers(0, LARGEST_OFFSET_MMHG + 1, len(order)).tolist()
    items: list[Item] = []
    keys: list[KeyItem] = []
    digest = hashlib.sha256()

    def sounds() -> Iterator[Sounding]:
        for number, (entry, offset) in enumerate(zip(order, offsets, strict=True), 1):
            recording = load(entry.audio, entry.cuff)
            name, zero = f"item-{number:02d}", float(offset) if random_zero else 0.0
            start_s, item, sound = heard_item(name, recording, 0.0, zero, entry.recording)
            sound = _levelled(sound, item)
            items.append(item)
            keys.append(_key_item(entry, recording.cuff, name, zero, start_s))
            digest.update(np.ascontiguousarray(sound, "<f4").tobytes())
            yield item.file, sound, float(RATE_HZ), recording.simulated

    def made() -> tuple[LessonSet, Key]:
        set_id = digest.hexdigest()[:12]
        lesson = LessonSet(
            set_id=set_id,
            grade=None,
            mode=mode,
            replays=replays,
            random_zero=random_zero,
            items=tuple(items),
        )
        return lesson, Key(set_id=set_id, grade=None, seed=seed, items=tuple(keys))

    done = write_folder(folder, key, sounds(), made, title=TITLE)
    return Own(written=done, left_out=left_out)


def _levelled(sound: Samples, item: Item) -> Samples:
    """Raise a sound so that it can be heard, and press what is loud below the limit."""
    raised = sound * np.float32(10 ** (gain_db(sound, item.dial) / 20))
    return limited(raised, float(RATE_HZ))


def _consensus(entry: Entry) -> dict[Measure, float] | None:
    found: dict[Measure, float] = {}
    for measure in MEASURES:
        one, two = (written(observer, measure) for observer in entry.observers)
        if one is None or two is None:
            return None
        mean = reference_mmhg(one, two)
        if mean is None:
            return None
        found[measure] = mean
    return found


def _key_item(entry: Entry, log: CuffLog, name: str, offset_mmhg: float, start_s: float) -> KeyItem:
    agreed = _consensus(entry)
    assert agreed is not None  # only such are taken
    beats = _beats(entry, log, start_s)
    muffled = [beat.mmhg for beat in beats if beat.audible and beat.phase is Phase.K4]
    heard = [beat.mmhg for beat in beats if beat.audible]
    falls = -np.diff(heard)
    item = KeyItem(
        name=name,
        systolic_mmhg=agreed["systolic"],
        diastolic_mmhg=agreed["diastolic"],
        k4_mmhg=max(muffled, default=None),
        gaps=(),
        offset_mmhg=offset_mmhg,
        step_mmhg=round(float(np.median(falls)), 2) if falls.size else 0.0,
        beats=beats,
        shows=(),
    )
    return replace(item, shows=shows(item))


def _beats(entry: Entry, log: CuffLog, start_s: float) -> tuple[KeyBeat, ...]:
    """Beats that both experts marked as heard, at the mean of their times."""
    marks = [None if one.marks is None else read_marks(one.marks) for one in entry.observers]
    if marks[0] is None or marks[1] is None:
        return ()
    first = [mark for mark in marks[0] if mark.heard]
    second = [mark for mark in marks[1] if mark.heard]
    found: list[KeyBeat] = []
    for one in first:
        other = _beside(one, second)
        if other is None:
            continue
        time_s = (one.time_s + other.time_s) / 2.0
        found.append(
            KeyBeat(
                time_s=round(time_s - start_s, 3),
                mmhg=round(float(np.interp(time_s, log.time_s, log.pressure_mmhg)), 2),
                audible=True,
                phase=one.phase or other.phase or Phase.K1,
            )
        )
    return tuple(found)


def _beside(one: Mark, others: list[Mark]) -> Mark | None:
    """The mark of the other expert that is the same beat."""
    near = min(others, key=lambda mark: abs(mark.time_s - one.time_s), default=None)
    return near if near is not None and match([one], [near]).hits else None
