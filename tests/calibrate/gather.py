"""Simulate many recordings and keep what the fits need, in processes of their own."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.measurement import measurement_bounds
from tapfall.ear.rises import PulseLog, lay_out_log, rise_values
from tapfall.model import Phase
from tapfall.synth.artery import pressures_of
from tapfall.synth.hand import trend_of
from tapfall.synth.log import log_of
from tapfall.synth.rhythm import Beats, beats_of, breath_of
from tapfall.synth.scenario import Cuff, Person, Scenario
from tapfall.synth.streams import stream
from tests.accuracy.groups import GROUPS
from tests.running import show_progress

#: Ranges of the sound far wider than the population's: what is learned from them must
#: not hang on one simulator's waveforms.
WIDE = {
    "first_db": (-24.0, -3.0),
    "second_db": (-10.0, 0.0),
    "last_db": (-24.0, -4.0),
    "muffled_db": (-10.0, -1.0),
    "loudest_share": (0.35, 0.75),
    "edge_mmhg": (0.05, 2.5),
    "level_sd_db": (0.0, 3.0),
    "breath_db": (0.0, 3.0),
    "low_hz": (28.0, 80.0),
    "high_hz": (90.0, 300.0),
    "tap_s": (0.005, 0.035),
    "spread": (0.0, 0.35),
    "crisp_share": (0.0, 0.6),
    "muffle_share": (0.1, 0.6),
    "murmur_db": (-30.0, 3.0),
    "thump_db": (-30.0, 8.0),
}
#: The same for conducted heart sounds.
WIDE_HEART = {
    "s1_before_s": (0.0, 0.2),
    "s2_after_s": (0.08, 0.34),
    "s2_db": (-12.0, 6.0),
    "s1_slope_db": (3.0, 12.0),
    "heart_corner_hz": (15.0, 70.0),
    "heart_length": (0.6, 2.2),
    "heart_breath_db": (0.0, 5.0),
}
WIDE_HEART_SNR_DB = (2.0, 20.0)
#: The same for the pulse and the log.
WIDE_PULSE = {
    "upstroke_s": (0.06, 0.26),
    "upstroke_shape": (0.0, 1.0),
    "notch_share": (0.0, 0.5),
    "alternans_mmhg": (0.0, 15.0),
}
WIDE_LOG = {"pulse_mmhg": (0.6, 5.0), "noise_sd_mmhg": (0.02, 0.5), "bumps_per_min": (0.0, 8.0)}
SLOW_RATES_HZ = (4.0, 5.0, 5.0, 6.25, 8.0, 10.0, 10.0, 12.5, 16.0)
WIDE_RATES_HZ = (*SLOW_RATES_HZ, 20.0, 25.0, 40.0, 50.0, 100.0, 200.0)
WIDE_ROUNDING_MMHG = (0.1, 0.25, 0.5, 1.0)
#: Share of logs that show no pulse at all.
NO_PULSE = 0.15
#: Share of cuffs that are let down in steps, and how large these are.
STEPPED, STEPS_MMHG = 0.3, (1.5, 8.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """The truth of a recording's beats, shape ``(n,)``, from ``origin_s`` of the log on."""

    time_s: np.ndarray
    cuff_mmhg: np.ndarray
    noisy: np.ndarray
    quiet: np.ndarray
    muffled: np.ndarray
    lag_s: float
    origin_s: float


def _some(
    rng: np.random.Generator, ranges: dict[str, tuple[float, float]], share: float
) -> dict[str, float]:
    """About this share of the fields, each drawn from its range."""
    return {
        name: round(float(rng.uniform(low, high)), 4)
        for name, (low, high) in ranges.items()
        if rng.random() < share
    }


def widened(scenario: Scenario, seed: int) -> Scenario:
    """The scenario with some fields of its sound, heart and log drawn from wider ranges.

    Each of the three for about a third of all seeds, in all combinations.
    """
    if seed % 3 == 0:
        scenario = _widened_sound(scenario, stream(seed, "wide"))
    if seed % 7 < 3:
        scenario = _widened_heart(scenario, stream(seed, "wide heart"))
    if seed % 5 < 2 and scenario.cuff.log_rate_hz > max(SLOW_RATES_HZ):
        rng = stream(seed, "wide rate")
        slow: dict[str, float] = {"log_rate_hz": float(rng.choice(SLOW_RATES_HZ))}
        if rng.random() < 0.4:
            slow["rounding_mmhg"] = float(rng.choice(WIDE_ROUNDING_MMHG))
        scenario = replace(scenario, cuff=replace(scenario.cuff, **slow))
    return scenario


def _widened_heart(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """Heart sounds of other spectra and lengths, and at times louder."""
    room = scenario.room
    drawn = _some(rng, WIDE_HEART, 0.7)
    snr_db = round(float(rng.uniform(*WIDE_HEART_SNR_DB)), 3)
    louder = rng.random() < 0.3
    noises = tuple(
        replace(one, snr_db=min(one.snr_db, snr_db)) if louder and one.kind == "heart" else one
        for one in room.noises
    )
    return replace(scenario, room=replace(room, noises=noises, **drawn))


def _widened_sound(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """Korotkoff sounds of other levels and waveforms."""
    drawn = _some(rng, WIDE, 0.6)
    low_hz = drawn.get("low_hz", scenario.sound.low_hz)
    high_hz = drawn.get("high_hz", scenario.sound.high_hz)
    drawn["high_hz"] = max(high_hz, 1.3 * low_hz)
    return replace(scenario, sound=replace(scenario.sound, **drawn))


def simulated_and_known(case: tuple[str, int], wide: bool) -> tuple[Any, Known]:
    """One recording and what is known of it."""
    from tapfall.synth import simulate
    from tests.accuracy.groups import draw

    group, seed = case
    scenario = draw(group, seed)
    if wide:
        scenario = widened(scenario, seed)
    simulation = simulate(scenario)
    beats = simulation.truth.beats
    cuff = simulation.recording.cuff
    rows = measurement_bounds(cuff.time_s, cuff.pressure_mmhg)
    # The judgement's own times start at the measurement's first row.
    origin_s = float(cuff.time_s[rows[-1][0]]) if rows else 0.0
    known = Known(
        time_s=np.array([beat.time_s for beat in beats]) - origin_s,
        cuff_mmhg=np.array([beat.cuff_mmhg for beat in beats]),
        noisy=np.array([beat.audible_in_noise for beat in beats], bool),
        quiet=np.array([beat.audible_in_quiet for beat in beats], bool),
        muffled=np.array([beat.phase is Phase.K4 for beat in beats], bool),
        lag_s=simulation.truth.lag_s,
        origin_s=origin_s,
    )
    return simulation, known


@contextmanager
def watching(module: Any, name: str, seen: list[Any]) -> Iterator[None]:
    """Keep the arguments and the result of every call of a function."""
    plain = getattr(module, name)

    def watched(*arguments: Any, **named: Any) -> Any:
        result = plain(*arguments, **named)
        seen.append((arguments, result))
        return result

    setattr(module, name, watched)
    try:
        yield
    finally:
        setattr(module, name, plain)


def scanned(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """Levels over time, pulses and truth of one recording, for the networks of layers."""
    from tapfall.ear import judge, taking
    from tapfall.ear import reader as ear_reader

    simulation, known = simulated_and_known(case, wide)
    levels: list[Any] = []
    listened: list[Any] = []
    with (
        watching(judge, "band_levels", levels),
        watching(ear_reader, "listen", listened),
    ):
        taking.take_reading(simulation.recording)
    if not levels or levels[-1][1] is None:
        return None
    _, deflation, pulses, _ = listened[-1][0]
    lag_s = known.lag_s
    return {
        "group": case[0],
        "seed": case[1],
        "level": levels[-1][1].level.astype(np.float16),
        "start_s": levels[-1][1].start_s,
        "span_s": (deflation.start_s - lag_s, deflation.end_s - lag_s),
        "pulse_s": pulses.time_s - lag_s if pulses.usable else None,
        "known": known,
    }


def ended(case: tuple[str, int], wide: bool) -> dict[str, Any]:
    """What every late diastolic rests on, and whether the reading at the end keeps it."""
    from tapfall.ear import Listener, announcer

    simulation, _ = simulated_and_known(case, wide)
    recording = simulation.recording
    listener = Listener(rate_hz=recording.rate_hz)
    seen: list[Any] = []
    with watching(announcer, "late_measures", seen):
        listener.push_cuff(recording.cuff.time_s, recording.cuff.pressure_mmhg)
        listener.push_audio(recording.samples)
        final = listener.finish()
    values = [
        (measures, announcer.kept(arguments[0].mmhg, final.diastolic))
        for arguments, measures in seen
    ]
    return {"group": case[0], "seed": case[1], "values": values}


def widened_log(scenario: Scenario, seed: int) -> Scenario:
    """The scenario with pulse and log drawn from wider ranges."""
    rng = stream(seed, "wide log")
    person, cuff = _some(rng, WIDE_PULSE, 0.5), _some(rng, WIDE_LOG, 0.5)
    if rng.random() < 0.5:
        cuff["log_rate_hz"] = float(rng.choice(WIDE_RATES_HZ))
    if rng.random() < 0.3:
        cuff["rounding_mmhg"] = float(rng.choice(WIDE_ROUNDING_MMHG))
    if rng.random() < 0.3:
        cuff["dropouts_per_min"] = round(float(rng.uniform(0, 4)), 2)
        cuff["dropout_s"] = round(float(rng.uniform(0.1, 1.5)), 2)
    if rng.random() < NO_PULSE:
        cuff["pulse_mmhg"] = 0.0
    if rng.random() < STEPPED:
        cuff["step_mmhg"] = round(float(rng.uniform(*STEPS_MMHG)), 2)
    return replace(
        scenario,
        person=replace(scenario.person, **person),
        cuff=replace(scenario.cuff, **cuff),
    )


def logged(person: Person, cuff: Cuff, seed: int) -> tuple[Beats, Deflation, PulseLog] | None:
    """The beats, and the log of the last deflation as the ear lays it out; no sound."""
    trend, breath = trend_of(cuff, seed), breath_of(person, seed)
    beats = beats_of(person, breath, trend.end_s, seed)
    pressures = pressures_of(person, beats, breath, seed)
    log = log_of(person, cuff, beats, pressures, trend, seed)
    bounds = measurement_bounds(log.time_s, log.pressure_mmhg)
    if not bounds:
        return None
    rows = slice(*bounds[-1])
    deflation = find_deflation(log.time_s[rows], log.pressure_mmhg[rows])
    if deflation is None:
        return None
    laid = lay_out_log(log.time_s[rows], log.pressure_mmhg[rows], deflation)
    return None if laid is None else (beats, deflation, laid)


def risen(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """What the network of rises reads of a log, and where the pulses rise; no sound."""
    from tests.accuracy.groups import draw

    scenario = draw(*case)
    if wide and case[1] % 2 == 1:
        scenario = widened_log(scenario, case[1])
    person, cuff = scenario.person, scenario.cuff
    found = logged(person, cuff, scenario.seed)
    if found is None:
        return None
    beats, deflation, laid = found
    rise_s = beats.foot_s + cuff.pulse_offset_s + 0.5 * person.upstroke_s
    if cuff.pulse_mmhg == 0:
        rise_s = rise_s[:0]
    return {
        "values": rise_values(laid),
        "time_s": laid.time_s,
        "rise_s": rise_s * (1 + cuff.drift_ppm * 1e-6) + cuff.lag_s,
        "span_s": (deflation.start_s, deflation.end_s),
        "log_rate_hz": deflation.log_rate_hz,
    }


def sounding(known: Known, onset_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which beats sound, and of which that can be learned; shape ``(n,)``."""
    away_s = np.abs(known.time_s[None, :] - onset_s[:, None])
    nearest = away_s.argmin(axis=1)
    there = away_s.min(axis=1) < 0.25
    noisy, quiet = known.noisy[nearest] & there, known.quiet[nearest] & there
    # A beat that only a quiet room would let one hear teaches nothing.
    return noisy, noisy | ~quiet


def heard(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """Measures of each round, of muffling, presence and confidence, with their truth."""
    from tapfall.ear import judge, taking, thresholds, values, weighed
    from tapfall.ear.closer import CLOSER
    from tapfall.ear.muffling import LEAST_SOUNDS, muffling_measures
    from tests.accuracy.scoring import score

    simulation, known = simulated_and_known(case, wide)
    rounds: list[Any] = []
    sure: list[Any] = []
    shown: list[Any] = []
    sought: list[Any] = []
    above: list[Any] = []
    present: list[Any] = []
    with (
        watching(judge, "_hear", rounds),
        watching(weighed, "presence", present),
        watching(values, "character", shown),
        watching(values, "find_muffling", sought),
        watching(thresholds, "above_measures", above),
        watching(thresholds, "confidence", sure),
    ):
        reading = taking.take_reading(simulation.recording)
    row: dict[str, Any] = {
        "sure": {kind: measures for (measures, kind), _ in sure},
        "score": score(simulation.truth, reading, group=case[0], seed=case[1], seconds=0.0),
        "audible": int(known.noisy.sum()),
    }
    heard_in = [(found.evidence.measures, *sounding(known, found.onset_s)) for _, found in rounds]
    if heard_in and heard_in[-1][0].shape[1] == len(CLOSER):
        row["closer"] = [heard_in.pop()]
    row["rounds"] = heard_in[-judge.ROUNDS :]
    if sought and known.noisy.any() and sought[-1][0][1].size >= LEAST_SOUNDS:
        found, sounds, cuff_mmhg = sought[-1][0]
        onset_s = shown[-1][0][1][sounds]
        away_s = np.abs(known.time_s[None, :] - onset_s[:, None])
        row["muffling"] = (
            muffling_measures(found, sounds, cuff_mmhg),
            known.muffled[away_s.argmin(axis=1)],
            away_s.min(axis=1) < 0.25,
        )
    if above and above[-1][1] is not None:
        row["above"] = (above[-1][1], simulation.truth.inflated_into_gap)
    if present:
        row["presence"] = present[-1][0][0]
    return row


def gather(
    look: Callable[[tuple[str, int], bool], dict[str, Any] | None],
    first: int,
    count: int,
    workers: int,
    wide: bool = False,
    more: dict[str, int] | None = None,
) -> list[dict[str, Any]]:
    """Look at ``count`` recordings of each group, and at ``more`` of some, on seeds that follow."""
    os.environ["OMP_NUM_THREADS"] = "1"
    end = first + count
    cases = [(group, seed) for seed in range(first, end) for group in GROUPS]
    for group, further in (more or {}).items():
        cases += [(group, seed) for seed in range(end, end + further)]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        rows: list[dict[str, Any] | None] = []
        for row in pool.imap_unordered(partial(look, wide=wide), cases, chunksize=8):
            rows.append(row)
            show_progress(len(rows), len(cases))
        return [row for row in rows if row]
