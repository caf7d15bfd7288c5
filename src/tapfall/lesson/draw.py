"""People, cuffs and rooms of one grade, drawn by a seed.

Pressures are spread evenly over the range of adults (systolic 90-200 mmHg, in equal
steps, so that a set of any size covers it); everything else comes from the population of
the simulator and the grade's own ranges.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np

from tapfall.lesson.grades import Grade, Range
from tapfall.synth.hand import trend_of
from tapfall.synth.population import beat_step_mmhg, mix, sample, with_noise
from tapfall.synth.scenario import Noise, Person, Scenario
from tapfall.synth.streams import stream

T = TypeVar("T")

#: Systolic pressures of a set lie evenly between these (adults of both sexes; common
#: practice), pulse pressures as in the population: 48 (13) mmHg.
SYSTOLIC_MMHG: Range = (92.0, 198.0)
PULSE_MMHG, PULSE_SD_MMHG, PULSE_RANGE_MMHG = 48.0, 13.0, (28.0, 90.0)
DIASTOLIC_MMHG: Range = (50.0, 112.0)
#: A person with a gap has at least this pulse pressure; the sounds above and below it span
#: at least so many beats (our choice).
GAP_PULSE_MMHG, GAP_LEAD_BEATS = 58.0, 4.2
#: The cuff starts so far above systolic, but not above the second, and is released between
#: the last, whatever the diastolic: a hand that keeps the usual distances would tell both
#: pressures within 6 mmHg (our choice).
ABOVE_MMHG: Range = (20.0, 75.0)
HIGHEST_MMHG: Range = (228.0, 240.0)
END_MMHG: Range = (22.0, 34.0)
BEATS_AROUND = 5.0
#: First and last sounds stand so far out of the noise: what nobody can hear is no question.
OVER_NOISE_DB = 5.0
#: Conducted heart sounds lie so far below all other noise, unless they are the distractor.
HEART_DB = 6.0
#: Longest deflation, seconds: all sounds of a set have one length.
LONGEST_FALL_S = 85.0
#: Longest rest before and after, seconds (that of the simulator).
LONGEST_REST_S = 60.0


def plan(grade: Grade, count: int, seed: int) -> list[Scenario]:
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
    list of Scenario
        Equal for equal arguments.

    Examples
    --------
    >>> from tapfall.lesson.grades import grade_of
    >>> [round(one.person.systolic_mmhg) for one in plan(grade_of("1"), 3, 7)]
    [179, 121, 154]
    """
    rng = stream(seed, "lesson", grade.name)
    places = (rng.permutation(count) + rng.random(count)) / count
    gaps = _shared(rng, count, ((True, grade.gap_share), (False, 1 - grade.gap_share)))
    zeros = _shared(rng, count, ((True, grade.to_zero_share), (False, 1 - grade.to_zero_share)))
    rhythms = _shared(rng, count, grade.rhythms)
    low, high = SYSTOLIC_MMHG
    seeds = rng.choice(2**31 - 1, count, replace=False)
    return [
        one_of(
            grade,
            seed=int(seeds[i]),
            systolic_mmhg=low + float(places[i]) * (high - low),
            gap=gaps[i],
            to_zero=zeros[i] and not gaps[i],
            rhythm=rhythms[i],
        )
        for i in range(count)
    ]


def _shared(rng: np.random.Generator, count: int, shares: tuple[tuple[T, float], ...]) -> list[T]:
    """Values in their shares, rounded to whole items, in random order."""
    edges = np.rint(np.cumsum([share for _, share in shares]) * count).astype(int)
    values: list[T] = []
    for (value, _), edge in zip(shares, edges.tolist(), strict=True):
        values += [value] * (edge - len(values))
    return [values[int(i)] for i in rng.permutation(count)]


def one_of(
    grade: Grade, *, seed: int, systolic_mmhg: float, gap: bool, to_zero: bool, rhythm: str
) -> Scenario:
    """Draw one scenario of a grade for a systolic pressure."""
    rng = stream(seed, "lesson", "item")
    base = sample(seed % 2**31)

    def within(between: Range) -> float:
        return round(float(rng.uniform(*between)), 3)

    pulse = float(np.clip(rng.normal(PULSE_MMHG, PULSE_SD_MMHG), *PULSE_RANGE_MMHG))
    if gap:
        pulse = max(pulse, GAP_PULSE_MMHG)
        systolic_mmhg = max(systolic_mmhg, DIASTOLIC_MMHG[0] + GAP_PULSE_MMHG)
    diastolic = float(np.clip(systolic_mmhg - pulse, *DIASTOLIC_MMHG))
    diastolic = min(diastolic, systolic_mmhg - (GAP_PULSE_MMHG if gap else 26.0))
    scenario = replace(
        base,
        name=f"grade-{grade.name}",
        person=_person(base.person, systolic_mmhg, diastolic, rhythm, rng),
        cuff=replace(
            base.cuff,
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
            to_zero=to_zero,
        ),
        sensor=replace(base.sensor, gain_swing_db=0.0),
    )
    ratio_db = within(grade.signal_to_noise_db)
    least_db = min(OVER_NOISE_DB - ratio_db, 0.0)
    scenario = replace(
        scenario,
        sound=replace(
            scenario.sound,
            first_db=max(scenario.sound.first_db, least_db),
            last_db=max(scenario.sound.last_db, least_db),
        ),
    )
    scenario = _room(_cuff(scenario, rng), grade, ratio_db, rng)
    return _with_gap(scenario, grade, rng) if gap else scenario


def _person(
    person: Person, systolic: float, diastolic: float, rhythm: str, rng: np.random.Generator
) -> Person:
    changed = replace(
        person,
        systolic_mmhg=round(systolic, 3),
        diastolic_mmhg=round(diastolic, 3),
        heart_rate_per_min=max(person.heart_rate_per_min, 58.0),
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


def _cuff(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """Top and end of the deflation, and a rate at which it does not take too long."""
    person, cuff = scenario.person, scenario.cuff
    step = beat_step_mmhg(scenario)
    high, least_above = person.systolic_mmhg, max(ABOVE_MMHG[0], BEATS_AROUND * step)
    top = min(high + float(rng.uniform(*ABOVE_MMHG)), float(rng.uniform(*HIGHEST_MMHG)))
    top = max(top, high + least_above)
    end = 4.0 if scenario.sound.to_zero else float(rng.uniform(*END_MMHG))
    least = (top - end) / LONGEST_FALL_S
    rate = max(cuff.deflation_mmhg_per_s, round(least, 3))
    changed = replace(
        cuff,
        top_mmhg=round(min(top, 300.0), 3),
        end_mmhg=round(end, 3),
        deflation_mmhg_per_s=rate,
        deflation_curve=0.0 if scenario.sound.to_zero else min(cuff.deflation_curve, 0.2),
        wobble_share=min(cuff.wobble_share, 0.15),
    )
    return replace(scenario, cuff=changed)


def _room(scenario: Scenario, grade: Grade, ratio_db: float, rng: np.random.Generator) -> Scenario:
    loud = "none"
    if grade.distractors and rng.random() < 0.5:
        loud = str(rng.choice(list(grade.distractors)))
    if loud == "none":
        noises = mix(rng, ("pink", "breath"), ratio_db)
    else:
        noises = (Noise(kind=loud, snr_db=round(ratio_db, 3)), Noise(kind="pink", snr_db=24.0))
    if loud != "heart":
        noises = (*noises, Noise(kind="heart", snr_db=round(ratio_db + HEART_DB, 3)))
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
