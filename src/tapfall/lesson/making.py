"""A graded set: sounds and dials for the learner, a key for the teacher."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from tapfall.errors import MisuseError, SettingError
from tapfall.lesson.digits import Bend, whole_pressures
from tapfall.lesson.draw import Wanted, length_s, of_length, one_of, plan
from tapfall.lesson.errors import NEAR_MMHG
from tapfall.lesson.grades import Grade
from tapfall.lesson.level import Samples, limited
from tapfall.lesson.nouns import (
    COVERED_BELOW_MMHG,
    DIAL_HZ,
    LARGEST_OFFSET_MMHG,
    Dial,
    Habit,
    Item,
    Key,
    KeyBeat,
    KeyGap,
    KeyItem,
    LessonSet,
    Mode,
    Sex,
)
from tapfall.model import FloatArray, State
from tapfall.study.pool import cores
from tapfall.synth import Scenario, Simulation, simulate
from tapfall.synth.render import outline_of
from tapfall.synth.simulate import expected_readings
from tapfall.synth.streams import stream
from tapfall.synth.truth import TrueReading, Truth

#: Most items of one set (names have two digits).
MOST_ITEMS = 99
#: A habit shows on an item where it moves the value by at least this, mmHg.
SHOWS_MMHG = {Habit.READ_LATE: 1.5, Habit.MUFFLING: 5.0}
#: Before any sound is made, the noises are taken to be so much louder than their mean, for they
#: come and go; and so many scenarios are looked at for an item (our choice).
LOUDER_DB = 1.5
_TRIES = 100
#: Recordings simulated at a time, at most: each takes some 50 MB meanwhile.
MOST_AT_ONCE = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """One sound of a set with its dial and its truth; ``rate_hz`` is that of the sound."""

    sound: Samples
    rate_hz: float
    item: Item
    key: KeyItem
    signal_to_noise_db: float | None
    scenario: Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What a set has to be.

    Parameters
    ----------
    grade
        What its items are like.
    count
        How many recordings, from 1.
    seed
        Whole number, 0 or more; whoever knows or guesses it can make the key.
    mode, replays
        What a learner is told, and how often an item may be heard again.
    random_zero
        Whether the dials are displaced.
    repeats
        How many items stand twice under different names.
    """

    grade: Grade
    count: int
    seed: int
    mode: Mode = Mode.PRACTISE
    replays: int | None = None
    random_zero: bool = False
    repeats: int = 0

    def __post_init__(self) -> None:
        if not (self.count >= 1 and 0 <= self.repeats <= self.count):
            raise SettingError(
                f"count is {self.count}, repeats {self.repeats}; "
                "allowed at least 1 item, and at most as many repeats as items"
            )
        if self.count + self.repeats > MOST_ITEMS:
            raise SettingError(
                f"count and repeats are {self.count + self.repeats} together; "
                f"allowed at most {MOST_ITEMS}"
            )
        if self.seed < 0:
            raise SettingError(f"seed is {self.seed}; allowed 0 or more")
        if self.replays is not None and self.replays < 0:
            raise SettingError(f"replays is {self.replays}; allowed 0 or more")


def make_items(order: Order, told: Callable[[int], None] | None = None) -> Iterator[Made]:
    """Make the items of a set, one after the other.

    Parameters
    ----------
    order
        What the set has to be.
    told
        Called with the number of recordings simulated so far, which is most of the work.

    Yields
    ------
    Made
        In the order of their names, ``item-01`` first.  The first ones come late: the
        whole pressures of a set are shared out among all its recordings.

    Examples
    --------
    >>> from tapfall.lesson.grades import grade_of
    >>> (made,) = make_items(Order(grade=grade_of("1"), count=1, seed=4))
    >>> made.item.name, made.key.systolic_mmhg > made.key.diastolic_mmhg
    ('item-01', True)
    """
    rng = stream(order.seed, "lesson", order.grade.name, "set")
    planned = plan(order.grade, order.count, order.seed)
    drawn = _all_readable(order.grade, planned, told)
    read = [simulation.truth.in_noise for simulation in drawn]
    high = whole_pressures(np.array([_value(one.systolic.mmhg) for one in read]), rng)
    low = whole_pressures(np.array([_value(one.diastolic.mmhg) for one in read]), rng)
    places = list(range(order.count))
    again = rng.choice(order.count, order.repeats, replace=False).tolist()
    sequence = [(places + again)[int(i)] for i in rng.permutation(order.count + order.repeats)]
    offsets = rng.integers(0, LARGEST_OFFSET_MMHG + 1, len(sequence))
    names: dict[int, str] = {}
    for number, place in enumerate(sequence):
        name = f"item-{number + 1:02d}"
        yield _made(
            drawn[place],
            name,
            (high[place], low[place]),
            float(offsets[number]) if order.random_zero else 0.0,
            covered=order.random_zero,
            same_as=names.get(place),
            sex=planned[place][0].sex,
        )
        names.setdefault(place, name)


def set_of(order: Order, items: tuple[Made, ...]) -> tuple[LessonSet, Key]:
    """Put made items together.

    The name of a set comes from its sounds alone, so that nobody can try seeds on it who
    could not try them on the sounds.
    """
    digest = hashlib.sha256()
    for one in items:
        digest.update(np.ascontiguousarray(one.sound, "<f4").tobytes())
    set_id = digest.hexdigest()[:12]
    lesson = LessonSet(
        set_id=set_id,
        grade=order.grade.name,
        mode=order.mode,
        replays=order.replays,
        random_zero=order.random_zero,
        items=tuple(one.item for one in items),
    )
    key = Key(
        set_id=set_id,
        grade=order.grade.name,
        seed=order.seed,
        items=tuple(one.key for one in items),
    )
    return lesson, key


def _all_readable(
    grade: Grade, planned: list[tuple[Wanted, Scenario]], told: Callable[[int], None] | None
) -> list[Simulation]:
    """Simulate what was planned, several at a time: filters and sums leave the cores free."""
    pool = ThreadPoolExecutor(min(cores(), MOST_AT_ONCE))
    found: list[Simulation] = []
    try:
        for one in pool.map(lambda each: _readable(grade, *each), planned):
            found.append(one)
            if told is not None:
                told(len(found))
    finally:
        pool.shutdown(cancel_futures=True)
    return found


def _readable(grade: Grade, wanted: Wanted, scenario: Scenario) -> Simulation:
    """Simulate a scenario, or others like it, until both values can be told by ear.

    Most of those that cannot are told from their beats, which take an eighth of the time.
    """
    rng = stream(scenario.seed, "lesson", "again")
    seconds, here = length_s(grade), scenario
    for _ in range(_TRIES):
        whole = of_length(here, seconds)
        outline = outline_of(whole)
        quiet, noisy = expected_readings(whole, outline, louder_db=LOUDER_DB)
        # No rest left: it would be longer than the others.
        if whole.cuff.rest_after_s > 0 and _fair(quiet, noisy, wanted):
            simulation = simulate(whole, outline)
            truth = simulation.truth
            if _fair(truth.in_quiet, truth.in_noise, wanted):
                return simulation
        here = one_of(grade, wanted, int(rng.integers(2**31 - 1)))
    raise MisuseError(
        f"seed {scenario.seed} gives no recording of grade {grade.name} that can be read; "
        "allowed another seed"
    )


def _fair(quiet: TrueReading, noisy: TrueReading, wanted: Wanted) -> bool:
    """Whether both values are there, the same with and without the noise, and as wanted."""
    return (
        bool(noisy.gaps) == wanted.gap and noisy.to_zero == wanted.to_zero and _agree(noisy, quiet)
    )


def _agree(one: TrueReading, other: TrueReading) -> bool:
    """Whether both values are there, and near each other with and without the noise."""
    for here, there in ((one.systolic, other.systolic), (one.diastolic, other.diastolic)):
        if here.state is not State.OBSERVED or here.mmhg is None or there.mmhg is None:
            return False
        if abs(here.mmhg - there.mmhg) > NEAR_MMHG:
            return False
    return one.to_zero == other.to_zero


def _value(mmhg: float | None) -> float:
    assert mmhg is not None  # _agree
    return mmhg


def _made(
    simulation: Simulation,
    name: str,
    whole: tuple[int, int],
    offset_mmhg: float,
    *,
    covered: bool,
    same_as: str | None,
    sex: Sex,
) -> Made:
    truth, recording = simulation.truth, simulation.recording
    read = truth.in_noise
    systolic, diastolic = _value(read.systolic.mmhg), _value(read.diastolic.mmhg)
    bend = Bend(
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        by_systolic_mmhg=whole[0] - systolic,
        by_diastolic_mmhg=whole[1] - diastolic,
    )

    def moved(mmhg: float | None) -> float | None:
        return None if mmhg is None else round(float(bend.at(np.array([mmhg]))[0]), 2)

    shown = bend.at(recording.cuff.pressure_mmhg)
    seconds = len(recording.samples) / recording.rate_hz
    key = KeyItem(
        name=name,
        systolic_mmhg=float(whole[0]),
        diastolic_mmhg=float(whole[1]),
        k4_mmhg=moved(read.muffling.mmhg),
        gaps=tuple(
            KeyGap(upper_mmhg=_value(moved(g.upper_mmhg)), lower_mmhg=_value(moved(g.lower_mmhg)))
            for g in read.gaps
        ),
        offset_mmhg=offset_mmhg,
        step_mmhg=round(truth.deflation_mmhg_per_beat, 2),
        beats=_key_beats(truth, bend),
        shows=(),
        same_as=same_as,
        sex=sex,
    )
    return Made(
        sound=limited(_unlike(recording.samples, name), recording.rate_hz),
        rate_hz=recording.rate_hz,
        item=Item(
            name=name,
            file=f"{name}.flac",
            seconds=round(seconds, 3),
            dial=_dial(recording.cuff.time_s, shown, seconds, offset_mmhg, covered=covered),
        ),
        key=replace(key, shows=shows(key, to_zero=read.to_zero)),
        signal_to_noise_db=truth.signal_to_noise_db,
        scenario=simulation.scenario,
    )


def _key_beats(truth: Truth, bend: Bend) -> tuple[KeyBeat, ...]:
    """The beats of a key, at the pressures that its dial shows."""
    at_beats = bend.at(np.array([beat.cuff_mmhg for beat in truth.beats])).tolist()
    return tuple(
        KeyBeat(
            time_s=round(beat.time_s, 3),
            mmhg=round(mmhg, 2),
            audible=beat.audible_in_noise,
            phase=beat.phase,
        )
        for beat, mmhg in zip(truth.beats, at_beats, strict=True)
    )


def shows(item: KeyItem, *, to_zero: bool = False) -> tuple[Habit, ...]:
    """Return the habits of readers that an item can bring to light."""
    found = [Habit.READ_PULSE]
    if item.gaps:
        found.append(Habit.MISSED_GAP)
    if item.diastolic_mmhg is not None:
        found.append(Habit.STOPPED_EARLY)
    if item.step_mmhg >= SHOWS_MMHG[Habit.READ_LATE]:
        found.append(Habit.READ_LATE)
    if any(
        value is not None and value % 5 != 0 for value in (item.systolic_mmhg, item.diastolic_mmhg)
    ):
        found.append(Habit.ROUNDS)
    muffled_mmhg = 0.0
    if item.k4_mmhg is not None and item.diastolic_mmhg is not None and not to_zero:
        muffled_mmhg = item.k4_mmhg - item.diastolic_mmhg
    if muffled_mmhg >= SHOWS_MMHG[Habit.MUFFLING]:
        found.append(Habit.MUFFLING)
    return tuple(habit for habit in Habit if habit in found)


def _dial(
    time_s: FloatArray, mmhg: FloatArray, seconds: float, offset_mmhg: float, *, covered: bool
) -> Dial:
    at_s = np.arange(int(seconds * DIAL_HZ) + 1) / DIAL_HZ
    true = np.interp(at_s, time_s, mmhg)
    values = [round(value + offset_mmhg, 1) for value in true.tolist()]
    hidden = (true + offset_mmhg < COVERED_BELOW_MMHG) & covered
    return Dial(
        step_s=1.0 / DIAL_HZ,
        mmhg=tuple(
            None if gone else value for value, gone in zip(values, hidden.tolist(), strict=True)
        ),
    )


def _unlike(samples: np.ndarray, name: str) -> Samples:
    """The samples with noise of half their last bit: repeated items are no equal files."""
    noise = stream(len(samples), "lesson", name).random(len(samples), np.float32)
    return np.asarray(samples + (noise - np.float32(0.5)) / 2**14, np.float32)
