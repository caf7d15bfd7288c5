"""People, cuffs and rooms of one grade, drawn by a seed.

Half of the people are women, half men.  Pressures of each are spread evenly over their range,
in equal steps, so that a set of any size covers it; everything else comes from the population
of the simulator and the grade's own ranges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from tapfall.lesson.grades import Grade, Range
from tapfall.lesson.nouns import Sex
from tapfall.synth.hand import trend_of
from tapfall.synth.population import beat_step_mmhg, mix, sample, with_noise
from tapfall.synth.scenario import Noise, Person, Scenario, Sound
from tapfall.synth.streams import stream

T = TypeVar("T")

#: Pressures of a set lie evenly between these: from low ones of healthy adults to grave
#: hypertension (our choice).  Men's lie 4.7 and 2.0 mmHg higher than women's, as the means of
#: adults did in 2015, 127.0/78.7 and 122.3/76.7 (NCD Risk Factor Collaboration, Lancet 2017;
#: 389: 37-55).
SYSTOLIC_MMHG: dict[Sex, Range] = {Sex.FEMALE: (92.0, 193.3), Sex.MALE: (96.7, 198.0)}
DIASTOLIC_MMHG: dict[Sex, Range] = {Sex.FEMALE: (50.0, 114.0), Sex.MALE: (52.0, 116.0)}
#: Smallest and largest pulse pressure (our choice); a person with a gap has at least the
#: third, and the sounds above and below it span at least so many beats (our choice).
PULSE_MMHG: Range = (30.0, 88.0)
GAP_PULSE_MMHG, GAP_LEAD_BEATS = 58.0, 4.2
#: The cuff starts and is released between these, whatever systolic and diastolic are: a hand
#: that keeps the usual distances would tell both (our choice).  In a grade whose sounds may go
#: on to zero all cuffs fall to the third.
TOP_MMHG: Range = (224.0, 232.0)
END_MMHG: Range = (22.0, 34.0)
ZERO_END_MMHG = 4.0
#: Inflation takes 12 s at most, and the rest before it so long.
INFLATION_MMHG_PER_S, REST_BEFORE_S = 20.0, 5.0
#: Sounds scatter by so much of the signal-to-noise ratio at most; a threshold is so sharp.
#: Beyond that noise moves most values (measured, our choice).
SCATTER_SHARE, EDGE_MMHG_PER_DB = 0.08, 0.05
#: The inaudible pulse below 25 Hz peaks so far above all noise at most: in a very quiet room
#: what is left of it in the band would pass for sounds (measured).
THUMP_OVER_NOISE_DB = 14.0
#: Rest, inflation and release take so long at most, and the valve's wobble so much more of the
#: fall: all sounds of a set have one length.
AROUND_FALL_S, WOBBLE_SHARE = 18.0, 1.04
#: Longest rest before and after, seconds (that of the simulator).
LONGEST_REST_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What an item has to be, whatever else is drawn.

    ``rhythm`` is one of those of :class:`tapfall.lesson.grades.Grade`.
    """

    sex: Sex
    systolic_mmhg: float
    gap: bool
    to_zero: bool
    rhythm: str


def length_s(grade: Grade) -> float:
    """Return how long every sound of a grade is, whatever its pressures, seconds.

    Examples
    --------
    >>> from tapfall.lesson.grades import GRADES
    >>> [length_s(grade) for grade in GRADES]
    [106.0, 106.0, 102.0, 94.0, 87.0, 86.0]
    """
    end_mmhg = ZERO_END_MMHG if grade.to_zero_share > 0 else END_MMHG[0]
    fall_s = (TOP_MMHG[1] - end_mmhg) / grade.deflation_mmhg_per_s[0]
    return float(math.ceil(AROUND_FALL_S + WOBBLE_SHARE * fall_s))


def plan(grade: Grade, count: int, seed: int) -> list[tuple[Wanted, Scenario]]:
    """Draw the scenarios of a set, in the order of their items.

    Parameters
    ----------
    grade
        What they are like.
    count
        How many, at least 1.
    seed
        Whole number, 0 or more.

    Returns
    -------
    list of (Wanted, Scenario)
        Equal for equal arguments.  As many women as men, or one more of either.

    Examples
    --------
    >>> from tapfall.lesson.grades import grade_of
    >>> [(str(one.sex), round(one.systolic_mmhg)) for one, _ in plan(grade_of("1"), 3, 7)]
    [('male', 178), ('female', 133), ('female', 180)]
    """
    rng = stream(seed, "lesson", grade.name)
    first = int(rng.integers(2))
    sexes = [list(Sex)[int(i)] for i in rng.permutation((np.arange(count) + first) % 2)]
    places = {
        sex: iter(((rng.permutation(n) + rng.random(n)) / max(n, 1)).tolist())
        for sex, n in ((one, sexes.count(one)) for one in Sex)
    }
    plain = 1.0 - grade.gap_share - grade.to_zero_share
    kinds = _shared(
        rng, count, (("gap", grade.gap_share), ("zero", grade.to_zero_share), ("plain", plain))
    )
    rhythms = _shared(rng, count, grade.rhythms)
    seeds = rng.choice(2**31 - 1, count, replace=False)
    found: list[tuple[Wanted, Scenario]] = []
    for i, sex in enumerate(sexes):
        low, high = SYSTOLIC_MMHG[sex]
        wanted = Wanted(
            sex=sex,
            systolic_mmhg=low + float(next(places[sex])) * (high - low),
            gap=kinds[i] == "gap",
            to_zero=kinds[i] == "zero",
            rhythm=rhythms[i],
        )
        found.append((wanted, one_of(grade, wanted, int(seeds[i]))))
    return found


def _shared(rng: np.random.Generator, count: int, shares: tuple[tuple[T, float], ...]) -> list[T]:
    """Values in their shares, rounded to whole items, in random order."""
    edges = np.rint(np.cumsum([share for _, share in shares]) * count).astype(int)
    values: list[T] = []
    for (value, _), edge in zip(shares, edges.tolist(), strict=True):
        values += [value] * (edge - len(values))
    return [values[int(i)] for i in rng.permutation(count)]


def one_of(grade: Grade, wanted: Wanted, seed: int) -> Scenario:
    """Draw one scenario of a grade."""
    rng = stream(seed, "lesson", "item")
    base = sample(seed % 2**31)

    def within(between: Range) -> float:
        return round(float(rng.uniform(*between)), 3)

    systolic, diastolic = _pressures(wanted, rng)
    scenario = replace(
        base,
        name=f"grade-{grade.name}",
        person=_person(
            base.person, systolic, diastolic, wanted.rhythm, within(grade.heart_rate_per_min), rng
        ),
        cuff=replace(
            base.cuff,
            rest_before_s=min(base.cuff.rest_before_s, REST_BEFORE_S),
            inflation_mmhg_per_s=max(base.cuff.inflation_mmhg_per_s, INFLATION_MMHG_PER_S),
            deflation_mmhg_per_s=within(grade.deflation_mmhg_per_s),
            lag_s=0.0,
            drift_ppm=0.0,
            dropouts_per_min=0.0,
            zero_offset_mmhg=0.0,
            gain_error_share=0.0,
            log_rate_hz=100.0,
            rounding_mmhg=0.0,
            run_up_mmhg=0.0,
            hold_s=within((0.8, 2.0)),
        ),
        sound=replace(
            base.sound,
            peak_dbfs=within(grade.peak_dbfs),
            first_db=within(grade.first_db),
            last_db=within(grade.first_db),
            muffling_mmhg=within(grade.muffling_mmhg),
            to_zero=wanted.to_zero,
        ),
        sensor=replace(base.sensor, gain_swing_db=0.0),
    )
    ratio_db = within(grade.signal_to_noise_db)
    scenario = replace(scenario, sound=_heard(scenario.sound, grade.over_noise_db, ratio_db))
    scenario = _room(_cuff(scenario, grade, rng), grade, ratio_db, rng)
    return _with_gap(scenario, grade, rng) if wanted.gap else scenario


def _heard(sound: Sound, over_noise_db: float, ratio_db: float) -> Sound:
    """Raise and even out what the noise would swallow: what nobody can hear is no question."""
    least_db = min(over_noise_db - ratio_db, 0.0)
    scatter_db = ratio_db * SCATTER_SHARE
    return replace(
        sound,
        first_db=max(sound.first_db, least_db),
        second_db=max(sound.second_db, least_db),
        muffled_db=max(sound.muffled_db, least_db),
        last_db=max(sound.last_db, least_db),
        edge_mmhg=min(sound.edge_mmhg, ratio_db * EDGE_MMHG_PER_DB),
        thump_db=min(sound.thump_db, THUMP_OVER_NOISE_DB - ratio_db),
        level_sd_db=min(sound.level_sd_db, scatter_db),
        breath_db=min(sound.breath_db, scatter_db),
    )


def _pressures(wanted: Wanted, rng: np.random.Generator) -> tuple[float, float]:
    """Systolic and diastolic: the second evenly over what the first leaves of its range."""
    low, high = DIASTOLIC_MMHG[wanted.sex]
    least, most = GAP_PULSE_MMHG if wanted.gap else PULSE_MMHG[0], PULSE_MMHG[1]
    systolic = max(wanted.systolic_mmhg, low + least)
    bottom, top = max(low, systolic - most), min(high, systolic - least)
    return systolic, float(rng.uniform(bottom, max(top, bottom)))


def _person(
    person: Person,
    systolic: float,
    diastolic: float,
    rhythm: str,
    heart_rate_per_min: float,
    rng: np.random.Generator,
) -> Person:
    changed = replace(
        person,
        systolic_mmhg=round(systolic, 3),
        diastolic_mmhg=round(diastolic, 3),
        heart_rate_per_min=heart_rate_per_min,
        breath_swing_mmhg=min(person.breath_swing_mmhg, 4.0),
    )
    if rhythm == "ectopics":
        return replace(changed, rhythm=rhythm, ectopics_per_min=round(rng.uniform(4, 10), 2))
    if rhythm == "alternans":
        pulse = systolic - diastolic
        return replace(changed, alternans_mmhg=round(min(rng.uniform(8, 16), 0.4 * pulse), 3))
    if rhythm == "atrial_fibrillation":
        return replace(changed, rhythm=rhythm, heart_rate_per_min=round(rng.uniform(75, 115), 2))
    return replace(changed, rhythm="sinus")


def _cuff(scenario: Scenario, grade: Grade, rng: np.random.Generator) -> Scenario:
    """Top and end of the deflation, alike for all pressures and for sounds that go on to zero."""
    cuff, to_zero = scenario.cuff, scenario.sound.to_zero
    top, end = float(rng.uniform(*TOP_MMHG)), float(rng.uniform(*END_MMHG))
    changed = replace(
        cuff,
        top_mmhg=round(top, 3),
        end_mmhg=ZERO_END_MMHG if grade.to_zero_share > 0 else round(end, 3),
        deflation_curve=0.0 if to_zero else min(cuff.deflation_curve, 0.2),
        wobble_share=min(cuff.wobble_share, 0.15),
    )
    return replace(scenario, cuff=changed)


def _room(scenario: Scenario, grade: Grade, ratio_db: float, rng: np.random.Generator) -> Scenario:
    loud = "none"
    if grade.distractors and rng.random() < grade.distractor_share:
        loud = str(rng.choice(list(grade.distractors)))
    if loud == "none":
        noises = mix(rng, ("pink", "breath"), ratio_db)
    else:
        noises = (Noise(kind=loud, snr_db=round(ratio_db, 3)), Noise(kind="pink", snr_db=24.0))
    if loud != "heart":
        noises = (*noises, Noise(kind="heart", snr_db=round(ratio_db + grade.heart_below_db, 3)))
    return with_noise(scenario, *noises)


def _with_gap(scenario: Scenario, grade: Grade, rng: np.random.Generator) -> Scenario:
    person, step = scenario.person, beat_step_mmhg(scenario)
    room = person.systolic_mmhg - person.diastolic_mmhg
    lead = max(GAP_LEAD_BEATS * step, 8.0) + 0.5 * person.breath_swing_mmhg
    least = max(2.8 * step, grade.gap_mmhg[0])
    width = float(rng.uniform(least, max(least, min(grade.gap_mmhg[1], room - 2 * lead))))
    highest = max(lead, room - lead - width)
    top = person.systolic_mmhg - float(rng.uniform(lead, max(lead, min(highest, lead + 16))))
    return replace(
        scenario,
        sound=replace(
            scenario.sound,
            gap_top_mmhg=round(top, 3),
            gap_bottom_mmhg=round(max(top - width, 1.0), 3),
            gap_fade_mmhg=1.0,
        ),
    )


def of_length(scenario: Scenario, length_s: float) -> Scenario:
    """Rest after the release until all sounds of a set have one length.

    The room goes on, so neither a sound's length nor a file's size tells a pressure.
    """
    bare = replace(scenario.cuff, rest_after_s=0.0)
    left_s = max(length_s - trend_of(bare, scenario.seed).end_s, 0.0)
    after_s = round(min(left_s, LONGEST_REST_S), 3)
    before_s = round(bare.rest_before_s + left_s - after_s, 3)
    cuff = replace(bare, rest_before_s=min(before_s, LONGEST_REST_S), rest_after_s=after_s)
    return replace(scenario, cuff=cuff)
