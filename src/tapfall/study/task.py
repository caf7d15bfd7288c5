"""One recording to one outcome: what a worker does, in whatever process or machine.

A task holds paths and choices, an outcome plain JSON values: both are small and can be
pickled.  A worker writes nothing; only the study does.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from tapfall import __version__
from tapfall.convert import to_json
from tapfall.errors import InputError, printable
from tapfall.files.names import base_name, label_of
from tapfall.model import Settings
from tapfall.study.cells import Bladder
from tapfall.study.places import content_hash

#: Files that hold every fitted number of the ear.
_FITTED = ("calibration.json", "layers.npz")
#: Changes whenever outcomes of before can no longer stand beside new ones.
_FORM = "tapfall.study.key/1"
_LONGEST_REASON = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What is chosen for all recordings of a study.

    Parameters
    ----------
    settings
        Those of a reading.
    channel, cuff_channel, cuff_scale, cuff_offset
        As in :func:`tapfall.files.load`.
    """

    settings: Settings = field(default_factory=Settings)
    channel: int | str | None = None
    cuff_channel: int | str | None = None
    cuff_scale: float | None = None
    cuff_offset: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ear:
    """Which ear listens: the version of this package, and a hash of its fitted numbers."""

    version: str
    fitted_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One recording to be read, by real paths; ``ear`` is the one that has to read it."""

    recording: str
    audio: str
    cuff: str | None
    arm_cm: float | None
    cuff_size: Bladder | None
    choices: Choices
    ear: Ear


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a recording.

    Parameters
    ----------
    recording
        Its name.
    key
        Hash of all that the outcome depends on; empty where its worker was lost.
    record
        The reading as JSON values (``tapfall.reading/1``); ``None`` where it failed.
    measurements
        How many the recording holds; the last one is the reading.
    simulated
        Whether the recording is known to be: no person was measured.
    reason
        Why it failed.
    """

    recording: str
    key: str
    record: dict[str, Any] | None = None
    measurements: int = 0
    simulated: bool = False
    reason: str | None = None


@cache
def own_ear() -> Ear:
    """Return the ear of this process."""
    digest = hashlib.sha256()
    for name in _FITTED:
        digest.update(resources.files("tapfall.ear").joinpath(name).read_bytes())
    return Ear(version=__version__, fitted_sha256=digest.hexdigest())


def key_of(task: Task, audio_sha256: str, cuff_sha256: str) -> str:
    """Return the hash of all that an outcome depends on.

    Examples
    --------
    >>> one = Task(recording="r1", audio="a.wav", cuff="a.csv", arm_cm=None, cuff_size=None,
    ...            choices=Choices(), ear=own_ear())
    >>> key_of(one, "ab", "cd") == key_of(one, "ab", "ce")
    False
    """
    whole = [
        _FORM,
        audio_sha256,
        cuff_sha256,
        to_json(task.choices),
        to_json(task.ear),
        task.arm_cm,
        to_json(task.cuff_size),
    ]
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode("ascii")).hexdigest()


def current_key(task: Task) -> str:
    """Return the key that the files, as they are now, give an outcome."""
    hashes = []
    for path in (task.audio, task.cuff or task.audio):
        hashes.append("none")
        with suppress(InputError, OSError):
            hashes[-1] = content_hash(path)
    return key_of(task, hashes[0], hashes[1])


def work(task: Task) -> Outcome:
    """Read one recording; whatever is wrong with it becomes an outcome."""
    try:
        if own_ear() != task.ear:
            raise InputError(
                f"found another tapfall on the worker ({own_ear().version}, fitted numbers "
                f"{own_ear().fitted_sha256[:8]}); allowed {task.ear.version}, "
                f"{task.ear.fitted_sha256[:8]}"
            )
        return _read(task)
    except InputError as fault:
        reason = str(fault).partition("\n")[0]
    except Exception as fault:  # one recording must not end a study
        reason = f"defect: {type(fault).__name__}: {fault}".partition("\n")[0]
    for path in (task.audio, task.cuff):
        if path is not None:  # folders stay out of what is written
            reason = reason.replace(label_of(path), label_of(base_name(path)))
    key = current_key(task) if own_ear() == task.ear else ""
    return Outcome(recording=task.recording, key=key, reason=printable(reason)[:_LONGEST_REASON])


def _read(task: Task) -> Outcome:
    from tapfall.ear import take_readings
    from tapfall.files import load, record_of
    from tapfall.technique import Stated, check_technique, with_technique

    for path in (task.audio, task.cuff):
        # A link put there since the manifest was checked would lead elsewhere.
        if path is not None and os.path.realpath(path) != path:
            raise InputError(f"{label_of(path)}: found a link; allowed the file that was checked")
    choices = task.choices
    recording = load(
        task.audio,
        task.cuff,
        channel=choices.channel,
        cuff_channel=choices.cuff_channel,
        cuff_scale=choices.cuff_scale,
        cuff_offset=choices.cuff_offset,
        lag_s=choices.settings.lag_s,
    )
    readings = take_readings(recording, choices.settings)
    stated = Stated(arm_cm=task.arm_cm, cuff=task.cuff_size)
    found = check_technique(recording, readings[-1], stated)
    reading = with_technique(readings[-1], found)
    source = recording.source
    if source is None:  # pragma: no cover - load always names its files
        raise InputError("found a recording without files")
    return Outcome(
        recording=task.recording,
        key=key_of(task, source.audio_sha256, source.cuff_sha256),
        record=record_of(reading, source, choices.settings),
        measurements=len(readings),
        simulated=recording.simulated,
    )
