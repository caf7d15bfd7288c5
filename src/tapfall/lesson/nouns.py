"""What a graded set of recordings is made of: items, their key, and answers to them.

Pressures of the key are true ones.  The dial shows them with the item's displaced
zero; what a learner writes down is as read from the dial, and marking takes the
displacement off.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from tapfall.model import Phase

#: Names of the three forms of file, the values of their field ``schema``.
SET_SCHEMA = "tapfall.lesson/1"
KEY_SCHEMA = "tapfall.lesson-key/1"
ANSWERS_SCHEMA = "tapfall.answers/1"
#: When answers without a time count as saved: before all that have one.
NOT_DATED = "1970-01-01T00:00:00Z"
#: Values of a dial per second.
DIAL_HZ = 20.0
#: The zero of a dial is displaced upwards by so much at most, in whole mmHg, like that of a
#: random-zero manometer, and the needle covered at rest and where it would show less than this:
#: covered by the true pressure it would give the zero away.  Downwards it could not be
#: displaced: low pressures would be covered.
LARGEST_OFFSET_MMHG, COVERED_BELOW_MMHG = 20, 30.0


class Habit(StrEnum):
    """What a reader may do wrong again and again."""

    MISSED_GAP = "missed_gap"
    STOPPED_EARLY = "stopped_early"
    READ_LATE = "read_late"
    READ_PULSE = "read_pulse"
    ROUNDS = "rounds"
    MUFFLING = "muffling"


class Sex(StrEnum):
    """Sex of the person of an item, by which its pressures were drawn."""

    FEMALE = "female"
    MALE = "male"


class Mode(StrEnum):
    """What a learner is told, and when."""

    LEARN = "learn"
    PRACTISE = "practise"
    EXAMINE = "examine"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial:
    """What the manometer shows, with the bounce of the pulse and the displaced zero.

    Parameters
    ----------
    step_s
        Time from one value to the next; the first one is at time 0 of the sound.
    mmhg
        The values; null where the needle is covered.
    """

    step_s: float
    mmhg: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One recording of a set: a neutral name, the sound's file, its length, its dial."""

    name: str
    file: str
    seconds: float
    dial: Dial


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonSet:
    """The public part of a set; no answer can be read from it.

    ``grade`` is its number, or None for recordings that have none; ``replays`` is how often
    an item may be heard again, None for as often as wanted.  ``random_zero`` says that the
    dials are displaced, not by how much.
    """

    schema: str = SET_SCHEMA
    set_id: str
    grade: str | None
    mode: Mode
    replays: int | None
    random_zero: bool
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyGap:
    """A silent gap: last sound above it and first sound below it."""

    upper_mmhg: float
    lower_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyBeat:
    """One heartbeat: when its sound starts or would start, and whether it is heard."""

    time_s: float
    mmhg: float
    audible: bool
    phase: Phase


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyItem:
    """What is true of one item.

    A pressure is None where it cannot be told from the recording.  ``offset_mmhg`` is what
    the dial shows more than is true, ``step_mmhg`` the fall of the cuff from beat to beat.
    ``shows`` names the habits of readers that this item can bring to light, ``same_as``
    an earlier item with the same sound, ``sex`` whose typical pressures the item has, None
    where that is not known.
    """

    name: str
    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    k4_mmhg: float | None
    gaps: tuple[KeyGap, ...]
    offset_mmhg: float
    step_mmhg: float
    beats: tuple[KeyBeat, ...]
    shows: tuple[Habit, ...]
    same_as: str | None = None
    sex: Sex | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """The answers of a set, and the seed and grade that it can be made from again.

    ``seed`` and ``grade`` are None where the recordings were not made here.
    """

    schema: str = KEY_SCHEMA
    set_id: str
    grade: str | None
    seed: int | None
    items: tuple[KeyItem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a learner read from one item; None where they said it cannot be told."""

    item: str
    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    marks_s: tuple[float, ...]
    replays: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a learner, known by a code, saved from the page.

    ``saved`` is :data:`NOT_DATED` where nobody wrote when.
    """

    schema: str = ANSWERS_SCHEMA
    set_id: str
    learner: str
    saved: str
    mode: Mode
    answers: tuple[Answer, ...]
