"""Draw person, cuff, beats and sounds until they keep what their kind promises."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from tests.second.cuff import STEP_S, Cuff, draw_cuff
from tests.second.heart import Beats, draw_beats
from tests.second.kinds import WITH_GAP
from tests.second.person import Person, draw_person
from tests.second.rules import Judged, judge
from tests.second.sounds import Sounds, draw_sounds
from tests.second.waves import BoolArray, FloatArray, loudest_near, ratio

#: A sound this far below the loudest tenth is not heard even in quiet (our choice; peaks of
#: 84 mV beside an audible limit of 4-6 mV, which is 23-26 dB: Celler 2017).
QUIET_DB = -26.0

#: Draws after which a seed is given up.
ATTEMPTS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a recording is made of; ``used`` marks the beats of the hold and the deflation.

    ``level`` is the loudest 60 ms of each sound and ``loudest`` that of the loudest
    tenth of the used ones, ``None`` where there are none; ``quiet`` marks the sounds that
    are audible without noise, and ``judged`` is what the rules make of them.
    """

    person: Person
    cuff: Cuff
    beats: Beats
    sounds: Sounds
    level: FloatArray
    loudest: float | None
    used: BoolArray
    quiet: BoolArray
    judged: Judged


def draw_plan(kind: str, seed: int) -> tuple[np.random.Generator, Plan]:
    """The first draw that keeps the promise, and the generator to go on with."""
    for attempt in range(ATTEMPTS):
        rng = np.random.default_rng([zlib.crc32(kind.encode()), seed, attempt])
        plan = _draw(rng, kind)
        if plan is not None and (kind == "no_sounds" or _keeps_promise(kind, plan)):
            return rng, plan
    raise RuntimeError(f"kind {kind} seed {seed}: no draw of {ATTEMPTS} fits")


def _draw(rng: np.random.Generator, kind: str) -> Plan | None:
    """One draw; ``None`` where fewer than three beats sound."""
    person = draw_person(rng, kind)
    cuff = draw_cuff(rng, kind, person)
    beats = draw_beats(rng, kind, person, cuff.end_s)
    sounds = draw_sounds(rng, kind, person, cuff, beats)
    level = loudest_near(sounds.wave, sounds.onset_s)
    used = (sounds.onset_s >= cuff.hold_s + 0.02) & (sounds.onset_s < cuff.release_s)
    sounding = sounds.amplitude > 0
    loudest, quiet = None, np.zeros(len(level), bool)
    if kind != "no_sounds":
        found = np.sort(level[used & sounding])
        if len(found) < 3:
            return None
        tenth = max(1, int(np.ceil(len(found) / 10)))
        loudest = float(np.sqrt(np.mean(found[-tenth:] ** 2)))
        quiet = (level >= loudest * ratio(QUIET_DB)) & sounding
    counted = used & beats.expected
    return Plan(
        person=person,
        cuff=cuff,
        beats=beats,
        sounds=sounds,
        level=level,
        loudest=loudest,
        used=used,
        quiet=quiet,
        judged=judge(sounds.cuff_mmhg[counted], quiet[counted]),
    )


def _keeps_promise(kind: str, plan: Plan) -> bool:
    """Whether the audible sounds show what the kind is named for."""
    judged, counted = plan.judged, plan.quiet[plan.used & plan.beats.expected]
    heard = np.flatnonzero(counted)
    if len(heard) < 5 or judged.systolic_state == "none":
        return False
    wanted = ["observed", "observed"]
    if kind == "systolic_not_reached":
        wanted[0] = "not_reached"
    elif heard[0] < 3:
        return False
    if kind == "diastolic_not_reached":
        wanted[1] = "not_reached"
    elif len(counted) - 1 - heard[-1] < 4:
        return False
    if [judged.systolic_state, judged.diastolic_state] != wanted:
        return False
    if kind in WITH_GAP:
        return _shows_gap(kind, plan)
    if kind == "alternans":
        return bool(np.any(np.diff(heard[:4]) == 2))
    if kind == "ectopic":
        return _shows_ectopic(plan)
    return True


def _shows_gap(kind: str, plan: Plan) -> bool:
    gap, judged, cuff = plan.person.gap, plan.judged, plan.cuff
    if kind == "gap":
        return len(judged.gaps_mmhg) == 1
    assert gap is not None
    assert judged.systolic_mmhg is not None
    top_mmhg = cuff.pressure_mmhg[int(cuff.hold_s / STEP_S)]
    below = judged.systolic_mmhg < gap.lower_mmhg + 4 and top_mmhg < gap.upper_mmhg - 1
    return not judged.gaps_mmhg and bool(below)


def _shows_ectopic(plan: Plan) -> bool:
    """An early beat between systolic and diastolic, and none that would be expected."""
    early = plan.used & plan.beats.early
    cuff_mmhg, person = plan.sounds.cuff_mmhg, plan.person
    between = (cuff_mmhg < person.systolic_mmhg) & (cuff_mmhg > person.diastolic_mmhg)
    return bool(np.any(early & between)) and not np.any(early & plan.beats.expected)
