"""Recordings of a study as a blinded set for one observer: order and zeros by chance.

The set names nothing: not the recordings, not their files, not the people.  Which item
is which recording, and by how much each dial is displaced, stands in the key alone.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tapfall.ear.measurement import REST_MMHG, REST_S
from tapfall.errors import InputError, SettingError, shown
from tapfall.files import load
from tapfall.lesson.blindkey import BlindItem, BlindKey
from tapfall.lesson.nouns import (
    COVERED_BELOW_MMHG,
    DIAL_HZ,
    LARGEST_OFFSET_MMHG,
    Dial,
    Item,
    LessonSet,
    Mode,
)
from tapfall.lesson.sound import Samples, at_page_rate, gain_db, packed
from tapfall.model import FloatArray, Recording
from tapfall.show.playback import RATE_HZ
from tapfall.study.manifest import Manifest

#: Most recordings in a page, and the longest that one may be, seconds (our choice).
MOST_ITEMS, LONGEST_S = 100, 300.0
_STEP_S = 1.0 / DIAL_HZ
#: So much rest is kept before and after a measurement, seconds.
_MARGIN_S = 3.0
#: Between rows further apart nobody knows what a needle showed (our choice: logs of one
#: row a second may miss one).
_HOLE_S = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Blinded:
    """What an observer's page is made of: the set, its sounds, and the private key."""

    lesson: LessonSet
    sounds: tuple[str, ...]
    key: BlindKey
    simulated: bool


def observer_code(text: str) -> str:
    """Return an observer's code in capitals.

    Raises
    ------
    SettingError
        It is no such code.

    Examples
    --------
    >>> observer_code("obs-1")
    'OBS-1'
    """
    plain = text.isascii() and text.replace("-", "").isalnum() and text[:1] != "-"
    if not plain or not 1 <= len(text) <= 20:
        raise SettingError(
            f"--observer: found {shown(text)}; allowed letters, digits and hyphens, at most 20, "
            "the first no hyphen"
        )
    return text.upper()


def blind(
    manifest: Manifest,
    observer: str,
    *,
    replays: int | None = None,
    lag_s: float = 0.0,
    below: Callable[[int], int] = secrets.randbelow,
) -> Blinded:
    """Make the recordings of a study into a set that one observer can be given.

    Parameters
    ----------
    manifest
        The study.
    observer
        The observer's code.
    replays
        How often an item may be heard again; as often as wanted if None.
    lag_s
        Log time minus audio time: the needle moves by so much earlier.
    below
        Draws whole numbers from 0 to below its argument; nobody can foretell them unless
        another source is given.

    Raises
    ------
    InputError
        A recording cannot be read, has no log, or is too long.
    SettingError
        The code cannot be used.
    """
    code = observer_code(observer)
    if len(manifest.entries) > MOST_ITEMS:
        raise InputError(
            f"{manifest.name}: found {len(manifest.entries)} recordings; allowed at most "
            f"{MOST_ITEMS} in a page"
        )
    order = list(manifest.entries)
    for last in range(len(order) - 1, 0, -1):
        other = below(last + 1)
        order[last], order[other] = order[other], order[last]
    set_id = "study-" + "".join("0123456789abcdef"[below(16)] for _ in range(12))
    items, sounds, private, simulated = [], [], [], []
    for place, entry in enumerate(order, 1):
        recording = load(entry.audio, entry.cuff, lag_s=lag_s)
        offset_mmhg = below(LARGEST_OFFSET_MMHG + 1)
        name = f"item-{place:02d}"
        start_s, item, sound = heard_item(name, recording, lag_s, offset_mmhg, entry.recording)
        items.append(item)
        sounds.append(packed(sound, gain_db(sound, item.dial)))
        simulated.append(recording.simulated)
        private.append(
            BlindItem(
                name=name,
                recording=entry.recording,
                audio_sha256=recording.source.audio_sha256 if recording.source else "",
                offset_mmhg=offset_mmhg,
                start_s=start_s,
                seconds=item.seconds,
            )
        )
    return Blinded(
        lesson=LessonSet(
            set_id=set_id,
            grade="",
            mode=Mode.EXAMINE,
            replays=replays,
            random_zero=True,
            items=tuple(items),
        ),
        sounds=tuple(sounds),
        key=BlindKey(
            set_id=set_id,
            observer=code,
            manifest=manifest.name,
            lag_s=lag_s,
            items=tuple(private),
        ),
        simulated=all(simulated),
    )


def heard_item(
    name: str, recording: Recording, lag_s: float, offset_mmhg: float, told: str
) -> tuple[float, Item, Samples]:
    """Cut a recording to its last measurement: start in it, item, and sound at 8 kHz."""
    time_s = recording.cuff.time_s - lag_s
    whole_s = recording.samples.size / recording.rate_hz
    start_s, end_s = measured_span_s(time_s, recording.cuff.pressure_mmhg, whole_s)
    if end_s - start_s > LONGEST_S:
        raise InputError(
            f"recording {shown(told)}: found {end_s - start_s:.0f} s to hear; allowed at most "
            f"{LONGEST_S:g}"
        )
    sound = at_page_rate(recording.samples, recording.rate_hz)
    first, last = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
    sound = sound[first:last]
    seconds = sound.size / RATE_HZ
    dial = dial_of(time_s - first / RATE_HZ, recording.cuff.pressure_mmhg, seconds, offset_mmhg)
    item = Item(name=name, file=f"{name}.flac", seconds=seconds, dial=dial)
    return first / RATE_HZ, item, sound


def measured_span_s(
    time_s: FloatArray, pressure_mmhg: FloatArray, whole_s: float
) -> tuple[float, float]:
    """Return from when to when a recording is heard: its last measurement, with a margin.

    Parameters
    ----------
    time_s, pressure_mmhg
        The log in the sound's time, shape ``(n,)``.
    whole_s
        Length of the sound.

    Examples
    --------
    >>> time_s = np.arange(0.0, 60.0)
    >>> pressure = np.where((time_s > 10) & (time_s < 20) | (time_s > 30) & (time_s < 50), 90, 0)
    >>> measured_span_s(time_s, pressure, 60.0)
    (28.0, 52.0)
    """
    risen = np.flatnonzero((pressure_mmhg >= REST_MMHG) & (time_s >= 0.0) & (time_s < whole_s))
    if not risen.size:
        return 0.0, whole_s
    last = int(risen[-1])
    first = last
    for place in risen[::-1].tolist():
        if time_s[first] - time_s[place] >= REST_S and first - place > 1:
            break
        first = place
    start_s = max(0.0, float(time_s[first]) - _MARGIN_S)
    return start_s, min(whole_s, float(time_s[last]) + _MARGIN_S)


def dial_of(
    time_s: FloatArray,
    pressure_mmhg: FloatArray,
    seconds: float,
    offset_mmhg: float,
) -> Dial:
    """Return what a displaced manometer shows along a log.

    The needle is covered where it would show less than 30 mmHg: where the cuff rests it
    would give its displacement away.  It is the shown pressure that decides, not the true
    one: else the place where the needle vanishes would tell the displacement.  It is also
    covered where the log has no row yet, or no more, or a hole of more than 2.5 s.

    Parameters
    ----------
    time_s, pressure_mmhg
        The log in the sound's time, shape ``(n,)``.
    seconds
        Length of the sound.
    offset_mmhg
        By how much the dial shows more.

    Examples
    --------
    >>> log_s, log_mmhg = np.array([0.0, 0.1, 0.2]), np.array([0.0, 20.0, 40.0])
    >>> dial_of(log_s, log_mmhg, 0.3, 12.0).mmhg
    (None, None, 32.0, 42.0, 52.0, None, None)
    """
    at_s = np.arange(int(np.ceil(seconds / _STEP_S - 1e-6)) + 1, dtype=np.float64) * _STEP_S
    shown_mmhg = np.interp(at_s, time_s, pressure_mmhg) + offset_mmhg
    seen = (at_s >= time_s[0] - 1e-6) & (at_s <= time_s[-1] + 1e-6)
    seen &= shown_mmhg >= COVERED_BELOW_MMHG
    after = np.clip(np.searchsorted(time_s, at_s), 1, time_s.size - 1)
    seen &= time_s[after] - time_s[after - 1] <= _HOLE_S
    return Dial(
        step_s=_STEP_S,
        mmhg=tuple(
            round(mmhg, 1) if see else None
            for mmhg, see in zip(shown_mmhg.tolist(), seen.tolist(), strict=True)
        ),
    )


def key_path(page: str) -> str:
    """Return where the private key of a page is written, unless another place is given.

    Examples
    --------
    >>> key_path("pages/obs-a.html")
    'pages/obs-a-key.json'
    """
    path = Path(page)
    return str(path.with_name(f"{path.stem}-key.json"))
