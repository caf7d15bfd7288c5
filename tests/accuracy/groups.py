"""Groups of simulated recordings with known truth.

Each group is the population of :mod:`tapfall.synth.population` with one thing
changed; everything else a reader could learn by heart is drawn widely in every
group.  The range a seed lies in (:mod:`tests.accuracy.splits`) decides noise
files, beat series and the range of delays from pulse to sound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tapfall.synth.population import beat_step_mmhg, sample, with_noise
from tapfall.synth.scenario import Noise, Scenario
from tapfall.synth.streams import stream
from tests.accuracy.logs import coarse, damped, lag, plain, slow_log
from tests.accuracy.people import (
    alternans,
    ectopic,
    ectopic_real,
    fibrillation,
    fresh_reach,
    irregular,
    room_for_gap,
    unusual,
    with_cuff,
    with_series,
    with_sound,
)
from tests.accuracy.splits import Split, file_noise, intervals, split_of

Change = Callable[[Scenario, np.random.Generator, Split], Scenario]


def _ordinary(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    if rng.random() < 0.4:
        noise = file_noise(rng, "noise", split.sounds, round(rng.uniform(18, 30), 3), "knocks")
        room = replace(scenario.room, noises=(*scenario.room.noises, noise))
        scenario = replace(scenario, room=room)
    series = intervals(rng, split.sinus) if rng.random() < 0.5 else ()
    return with_series(scenario, rng, series) if series else scenario


def _quiet(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Noise so low that what no ear hears (the pulse's thump) stands out of it."""
    less = round(float(rng.uniform(14, 28)), 3)
    noises = tuple(replace(one, snr_db=one.snr_db + less) for one in scenario.room.noises)
    return replace(scenario, room=replace(scenario.room, noises=noises))


def _noisy(kind: str, snr_db: float) -> Change:
    def change(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
        tone_hz = float(rng.choice([50.0, 60.0]))
        return with_noise(scenario, Noise(kind=kind, snr_db=snr_db, tone_hz=tone_hz))

    return change


def _speech(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    loud = file_noise(rng, "noise", split.speech, 4.0, "speech")
    return with_noise(scenario, loud, Noise(kind="pink", snr_db=24.0))


def _friction(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    return with_noise(scenario, Noise(kind="friction", snr_db=4.0), Noise(kind="pink", snr_db=24.0))


def _heart(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    return with_noise(scenario, Noise(kind="heart", snr_db=8.0), Noise(kind="pink", snr_db=24.0))


def _fast(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    rate = round(rng.uniform(5, 7), 3)
    return fresh_reach(with_cuff(scenario, deflation_mmhg_per_s=rate), rng)


def _weak(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    return with_sound(scenario, peak_dbfs=-40.0)


def _gap(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    scenario = room_for_gap(scenario, rng)
    person, step = scenario.person, beat_step_mmhg(scenario)
    room = person.systolic_mmhg - person.diastolic_mmhg
    lead = max(4.2 * step, 8.0) + 0.5 * person.breath_swing_mmhg
    least = max(2.6 * step, 5.0)
    most = max(min(40.0, room - 2 * lead), least)
    width = float(np.exp(rng.uniform(np.log(least), np.log(most))))
    low = lead
    high = max(room - lead - width, low)
    top = person.systolic_mmhg - rng.uniform(low, max(low, min(high, low + 20)))
    fade = round(min(rng.uniform(0.2, 3.0), 0.2 * width), 3)
    return with_sound(
        scenario,
        gap_top_mmhg=round(top, 3),
        gap_bottom_mmhg=round(top - width, 3),
        gap_fade_mmhg=max(fade, 0.05),
    )


def _into_gap(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    scenario = room_for_gap(scenario, rng)
    person, step = scenario.person, beat_step_mmhg(scenario)
    top = person.systolic_mmhg - rng.uniform(5, 15)
    width = rng.uniform(22, 36)
    bottom = top - width
    start = rng.uniform(bottom + max(10.0, 3.2 * step), max(top - 4, bottom + 11))
    changed = with_cuff(
        scenario,
        top_mmhg=round(min(start, top - 3.5), 3),
        hold_s=round(rng.uniform(0.8, 2.5), 3),
        run_up_mmhg=0.0,
    )
    return with_sound(
        changed, gap_top_mmhg=round(top, 3), gap_bottom_mmhg=round(bottom, 3), gap_fade_mmhg=1.5
    )


def _no_sounds(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    kinds = (
        "pink",
        "white",
        "breath",
        "heart",
        "speech",
        "friction",
        "knocks",
        "hum",
        "valve_hiss",
        "pump",
        "chest",
        "file",
    )
    chosen = [kinds[int(i)] for i in rng.choice(len(kinds), int(rng.integers(1, 3)), replace=False)]
    noises = []
    for kind in chosen:
        snr_db = round(rng.uniform(-6, 12), 3)
        if kind == "chest":
            noises.append(file_noise(rng, "heart_sounds", split.chest, snr_db, "heart"))
        elif kind == "file":
            noises.append(file_noise(rng, "noise", split.sounds, snr_db, "knocks"))
        elif kind == "speech":
            noises.append(file_noise(rng, "noise", split.speech, snr_db, "speech"))
        else:
            noises.append(Noise(kind=kind, snr_db=snr_db))
    noises.append(Noise(kind="pink", snr_db=26.0))
    return with_sound(with_noise(scenario, *noises), present=False)


def _heart_only(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Loud heart sounds and nothing else, under a log with, without, or with a slow pulse."""
    snr_db = round(rng.uniform(-8, 2), 3)
    if rng.random() < 0.5:
        heart = Noise(kind="heart", snr_db=snr_db)
    else:
        heart = file_noise(rng, "heart_sounds", split.chest, snr_db, "heart")
    scenario = with_noise(scenario, heart, Noise(kind="pink", snr_db=round(rng.uniform(15, 40), 3)))
    log = int(rng.integers(3))
    if log == 0:
        scenario = with_cuff(scenario, pulse_mmhg=0.0)
    elif log == 1:
        scenario = coarse(scenario, rng, split)
    return with_sound(scenario, present=False)


def _far_above(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """A cuff inflated much too high: half a minute of silence, in which noises look like taps."""
    top = scenario.person.systolic_mmhg + rng.uniform(50, 140)
    return with_cuff(scenario, top_mmhg=round(min(top, 295.0), 3))


def _far_below(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Listened to on and on: as much silence below the sounds as there is."""
    return with_cuff(scenario, end_mmhg=round(rng.uniform(5, 25), 3), deflation_curve=0.0)


def _top_inside(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    person = scenario.person
    pulse = person.systolic_mmhg - person.diastolic_mmhg
    top = person.systolic_mmhg - rng.uniform(0.1, 0.4) * pulse
    end = min(scenario.cuff.end_mmhg, top - 20)
    return with_cuff(scenario, top_mmhg=round(top, 3), end_mmhg=round(end, 3))


def _end_inside(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    person = scenario.person
    pulse = person.systolic_mmhg - person.diastolic_mmhg
    end = person.diastolic_mmhg + rng.uniform(0.12, 0.4) * pulse
    return with_cuff(scenario, end_mmhg=round(end, 3))


def _to_zero(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    muffling = round(rng.uniform(5, 18), 3)
    changed = with_cuff(scenario, end_mmhg=round(rng.uniform(2.0, 4.0), 3), deflation_curve=0.0)
    return with_sound(
        changed, to_zero=True, muffling_mmhg=muffling, last_db=round(rng.uniform(-14, -7), 3)
    )


def _run_up(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    top = scenario.person.systolic_mmhg + rng.uniform(0, 25)
    return with_cuff(
        scenario, run_up_mmhg=round(top, 3), run_up_rest_s=round(rng.uniform(6, 12), 3)
    )


def _re_inflation(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    person = scenario.person
    at = rng.uniform(person.diastolic_mmhg + 5, person.systolic_mmhg - 5)
    if rng.random() < 0.6:
        by = person.systolic_mmhg + rng.uniform(15, 35) - at
    else:
        by = rng.uniform(12, 30)
    return with_cuff(scenario, reinflate_at_mmhg=round(at, 3), reinflate_by_mmhg=round(by, 3))


def _pause(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    person = scenario.person
    at = rng.uniform(person.diastolic_mmhg - 8, person.systolic_mmhg + 5)
    return with_cuff(scenario, pause_at_mmhg=round(at, 3), pause_s=round(rng.uniform(3, 10), 3))


def _any_coarse(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Any other kind whose values are to be read, under a log that hardly shows a pulse."""
    name = HEARD[int(rng.integers(len(HEARD)))]
    scenario = GROUPS[name].change(scenario, rng, split)
    if rng.random() < 0.4:
        return coarse(scenario, rng, split)
    rate_hz, step_mmhg = rng.choice((1.0, 2.0, 3.0, 4.0, 5.0)), rng.choice((0.1, 0.5, 1.0, 2.0))
    return with_cuff(scenario, log_rate_hz=float(rate_hz), rounding_mmhg=float(step_mmhg))


def _any_plain(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Any other kind whose values are to be read, under such a log."""
    name = HEARD[int(rng.integers(len(HEARD)))]
    return plain(GROUPS[name].change(scenario, rng, split), rng)


def _any_damped(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Any other kind whose values are to be read, under such a log."""
    name = HEARD[int(rng.integers(len(HEARD)))]
    return damped(GROUPS[name].change(scenario, rng, split), rng)


def _plain_no_sounds(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Nothing to hear, under such a log or a slow one."""
    scenario = _no_sounds(scenario, rng, split)
    return plain(scenario, rng) if rng.random() < 0.5 else coarse(scenario, rng, split)


def _unusual_no_sounds(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Nothing to hear, in an unusual person."""
    return _no_sounds(unusual(scenario, rng, split), rng, split)


def _any_unusual(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """Any other kind whose values are to be read, in an unusual person."""
    name = HEARD[int(rng.integers(len(HEARD)))]
    return GROUPS[name].change(unusual(scenario, rng, split), rng, split)


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """A kind of recording: what it is, and how it differs from the population."""

    description: str
    change: Change


def _group(description: str, change: Change) -> Group:
    return Group(description=description, change=change)


GROUPS: dict[str, Group] = {
    "ordinary": _group("room noise of several kinds at 14-26 dB", _ordinary),
    "quiet_room": _group("room noise of several kinds at 28-54 dB", _quiet),
    "room_6db": _group("pink noise at 6 dB", _noisy("pink", 6.0)),
    "breath_6db": _group("breath at 6 dB", _noisy("breath", 6.0)),
    "hum_6db": _group("mains hum at 6 dB", _noisy("hum", 6.0)),
    "fast": _group("deflation at 5-7 mmHg/s", _fast),
    "coarse_log": _group("log at 1 Hz, rounded to 2 mmHg", coarse),
    "slow_log": _group("log at 7-15 Hz, rounded to 0.1-1 mmHg", slow_log),
    "lag": _group("clocks up to 1.5 s apart", lag),
    "alternans": _group("every second beat 8-20 mmHg weaker", alternans),
    "ectopic": _group("4-12 ectopic beats a minute, or bigeminy", ectopic),
    "weak": _group("sounds that peak at 1 % of full scale, 16 bit", _weak),
    "gap": _group("a silent gap, from two silent beats to 40 mmHg", _gap),
    "into_gap": _group("inflated into a silent gap", _into_gap),
    "heart_only": _group("loud heart sounds alone, logs of three kinds", _heart_only),
    "no_sounds": _group("noises of any kind, no Korotkoff sounds", _no_sounds),
    "systolic_not_reached": _group("inflated to below systolic", _top_inside),
    "diastolic_not_reached": _group("released above diastolic", _end_inside),
    "pink_0db": _group("pink noise at 0 dB", _noisy("pink", 0.0)),
    "speech_4db": _group("speech at 4 dB", _speech),
    "friction_4db": _group("rubbing at 4 dB", _friction),
    "heart_8db": _group("conducted heart sounds at 8 dB", _heart),
    "atrial_fibrillation": _group("a real series in atrial fibrillation", fibrillation),
    "ectopic_real": _group("a real series with ectopic beats", ectopic_real),
    "to_zero": _group("sounds that go on to zero", _to_zero),
    "run_up": _group("a palpatory run-up first", _run_up),
    "re_inflation": _group("the cuff is re-inflated midway", _re_inflation),
    "pause": _group("the deflation pauses for 3-10 s", _pause),
    "irregular": _group("strong breathing arrhythmia", irregular),
    "far_above": _group("inflated 50-140 mmHg above systolic", _far_above),
    "far_below": _group("listened down to 5-25 mmHg", _far_below),
    "unusual": _group("pulse pressure 12-120, systolic 65-250, heart rate 35-180", unusual),
    "any_unusual": _group("any of those with values to read, in such persons", _any_unusual),
    "unusual_no_sounds": _group("noises of any kind, no sounds, such persons", _unusual_no_sounds),
    "any_coarse": _group("any of those with values to read, log at 1-5 Hz", _any_coarse),
    "any_plain": _group("any of those, log at 8-100 Hz that shows no pulse", _any_plain),
    "plain_no_sounds": _group(
        "noises of any kind, no sounds, such a log or 1 Hz", _plain_no_sounds
    ),
    "any_damped": _group("any of those, manometer that lags by 0.05-0.5 s", _any_damped),
}
#: Kinds in which both values can be read, but for those that change the log.
HEARD = (
    "ordinary",
    "quiet_room",
    "room_6db",
    "breath_6db",
    "hum_6db",
    "fast",
    "lag",
    "alternans",
    "ectopic",
    "weak",
    "gap",
    "speech_4db",
    "friction_4db",
    "heart_8db",
    "atrial_fibrillation",
    "ectopic_real",
    "run_up",
    "re_inflation",
    "pause",
    "irregular",
    "far_above",
    "far_below",
)


def _falling(mmhg_per_s: float) -> Change:
    def change(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
        return fresh_reach(with_cuff(scenario, deflation_mmhg_per_s=mmhg_per_s), rng)

    return change


#: The population with one thing set to each of several values, for the figures of where
#: reading breaks down: name of the group and the value.
SWEEPS: dict[str, dict[str, float]] = {
    "noise": {f"pink_{db:+d}db": float(db) for db in range(-9, 25, 3)},
    "rate": {f"fall_{rate}": float(rate) for rate in (1, 2, 3, 4, 5, 6, 7, 8, 9)},
}
SWEPT: dict[str, Group] = {
    name: _group(f"pink noise at {db:g} dB", _noisy("pink", db))
    for name, db in SWEEPS["noise"].items()
} | {
    name: _group(f"deflation at {rate:g} mmHg/s", _falling(rate))
    for name, rate in SWEEPS["rate"].items()
}


def draw(group: str, seed: int) -> Scenario:
    """One scenario of a group.

    Parameters
    ----------
    group
        A name from :data:`GROUPS` or :data:`SWEPT`.
    seed
        0-9,999 development, 10,000-19,999 calibration, 20,000-29,999 closing.

    Raises
    ------
    ValueError
        The group is unknown or the seed outside the splits.
    """
    known = GROUPS | SWEPT
    if group not in known:
        raise ValueError(f"group: found {group!r}; allowed {', '.join(GROUPS)}")
    split = split_of(seed)
    rng = stream(seed, "group", group)
    scenario = sample(int(rng.integers(2**31)), delay_s=split.delay_s)
    return replace(known[group].change(scenario, rng, split), name=f"{group}-{seed}")
