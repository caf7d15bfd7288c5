"""Small sets for tests of the page: a falling dial, a sound that tells its own time."""

from __future__ import annotations

import numpy as np

from tapfall.lesson.nouns import (
    Dial,
    Habit,
    Item,
    Key,
    KeyBeat,
    KeyGap,
    KeyItem,
    LessonSet,
    Mode,
)
from tapfall.lesson.sound import Samples, packed
from tapfall.model import Phase
from tapfall.show.playback import RATE_HZ

#: The dial of every item falls by so much a second, so that it tells the needle's time.
TOP_MMHG, FALL_MMHG_PER_S = 280.0, 2.0
OFFSET_MMHG = 7.0
SECRET = "4711"  # a seed that no page may show


def clicks(seconds: float) -> Samples:
    """A short burst at every full second, the first at 0.5 s."""
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    since = (time_s - 0.5) % 1.0
    burst = np.where(since < 0.01, np.sin(2 * np.pi * 500.0 * since), 0.0)
    return (0.2 * burst * (time_s >= 0.5)).astype(np.float32)


def falling(seconds: float) -> Dial:
    """A dial without pulse, falling by 2 mmHg/s."""
    count = int(seconds * 20) + 1
    return Dial(
        step_s=0.05,
        mmhg=tuple(round(TOP_MMHG - FALL_MMHG_PER_S * 0.05 * n, 1) for n in range(count)),
    )


def lesson(
    count: int = 2,
    seconds: float = 2.0,
    *,
    mode: Mode = Mode.EXAMINE,
    replays: int | None = 1,
    random_zero: bool = True,
) -> LessonSet:
    """A set of so many items."""
    return LessonSet(
        set_id="set-7",
        grade="first",
        mode=mode,
        replays=replays,
        random_zero=random_zero,
        items=tuple(
            Item(
                name=f"item-{n:02d}",
                file=f"item-{n:02d}.flac",
                seconds=seconds,
                dial=falling(seconds),
            )
            for n in range(1, count + 1)
        ),
    )


def key(of: LessonSet) -> Key:
    """Answers of a set: 123.4/77.7 in every item, a gap, a beat at 0.5 s and a silent one."""
    beats = (
        KeyBeat(time_s=0.5, mmhg=123.4, audible=True, phase=Phase.K1),
        KeyBeat(time_s=1.5, mmhg=121.0, audible=False, phase=Phase.SILENT),
    )
    return Key(
        set_id=of.set_id,
        grade=of.grade,
        seed=int(SECRET),
        items=tuple(
            KeyItem(
                name=item.name,
                systolic_mmhg=123.4,
                diastolic_mmhg=77.7,
                k4_mmhg=88.8,
                gaps=(KeyGap(upper_mmhg=111.1, lower_mmhg=99.9),),
                offset_mmhg=OFFSET_MMHG,
                step_mmhg=2.0,
                beats=beats,
                shows=(Habit.ROUNDS,),
            )
            for item in of.items
        ),
    )


def sounds(of: LessonSet) -> tuple[str, ...]:
    """The sounds of a set."""
    return tuple(packed(clicks(item.seconds), 0.0) for item in of.items)
