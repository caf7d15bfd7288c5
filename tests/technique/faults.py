"""``python -m tests.technique.faults``: one fault of technique each, found or not.

Simulated measurements by a good hand, and the same with one fault each; seeds of the
development range.  A check is an *alarm* where it says ``look`` or ``fault``.
"""

from __future__ import annotations

import argparse
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tapfall.ear import take_reading
from tapfall.model import CuffLog, FindingState, Reading, Recording
from tapfall.synth.hand import trend_of
from tapfall.synth.log import shown_mmhg
from tapfall.synth.population import mix, sample, with_noise
from tapfall.synth.scenario import Noise, Scenario
from tapfall.synth.simulate import Simulation, simulate
from tapfall.technique import CuffWork, Obliteration, check_technique, measure_cuff
from tapfall.technique.obliteration import by_pulse
from tests.accuracy.groups import draw

ALARMS = (FindingState.LOOK, FindingState.FAULT)
LAST_SEED = 9_999
#: Rates are told off by more than this ... (the aims of this check).
RATE_MMHG_PER_S, OBLITERATION_MMHG = 0.2, 8.0

Change = Callable[[Scenario, np.random.Generator], Scenario]


def faultless(seed: int) -> Scenario:
    """A measurement as it is taught: the population, with a good hand and a fair room."""
    if not 0 <= seed <= LAST_SEED:
        raise ValueError(f"seed: found {seed}; allowed 0 to {LAST_SEED} (development)")
    rng = np.random.default_rng([seed, 77])
    scenario = sample(seed)
    person = scenario.person
    return replace(
        with_noise(scenario, *mix(rng, ("pink", "breath"), float(rng.uniform(18, 28)))),
        cuff=replace(
            scenario.cuff,
            deflation_mmhg_per_s=float(rng.uniform(2.1, 2.9)),
            deflation_curve=float(rng.uniform(0.0, 0.25)),
            wobble_share=float(rng.uniform(0.03, 0.2)),
            top_mmhg=person.systolic_mmhg + float(rng.uniform(25, 35)),
            end_mmhg=max(person.diastolic_mmhg - float(rng.uniform(18, 28)), 15.0),
            zero_offset_mmhg=float(rng.uniform(-0.8, 0.8)),
            bump_mmhg=float(rng.uniform(0.5, 2.0)),
        ),
    )


def cuff(scenario: Scenario, **changes: float) -> Scenario:
    """The scenario with another hand or manometer."""
    return replace(scenario, cuff=replace(scenario.cuff, **changes))


def _either(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high) * rng.choice([-1.0, 1.0]))


def _reinflated(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    person = scenario.person
    at = float(rng.uniform(person.diastolic_mmhg + 5, person.systolic_mmhg - 5))
    top = person.systolic_mmhg + float(rng.uniform(15, 35))
    return cuff(scenario, reinflate_at_mmhg=at, reinflate_by_mmhg=top - at)


def _sound(scenario: Scenario, **changes: float) -> Scenario:
    return replace(scenario, sound=replace(scenario.sound, **changes))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault: how it is made, and which of the checks have to find it (any of them)."""

    change: Change
    checks: tuple[str, ...]


FAULTS: dict[str, Fault] = {
    name: Fault(change=change, checks=checks)
    for name, checks, change in (
        (
            "zero shifted by 3-8 mmHg",
            ("zero before", "zero after"),
            lambda s, rng: cuff(s, zero_offset_mmhg=_either(rng, 3.0, 8.0)),
        ),
        (
            "inflated 1-12 mmHg above systolic",
            ("inflation",),
            lambda s, rng: cuff(s, top_mmhg=s.person.systolic_mmhg + float(rng.uniform(1, 12))),
        ),
        (
            "inflated 3-12 mmHg short of systolic",
            ("inflation",),
            lambda s, rng: cuff(s, top_mmhg=s.person.systolic_mmhg - float(rng.uniform(3, 12))),
        ),
        (
            "inflated 55-80 mmHg above systolic",
            ("over-inflation",),
            lambda s, rng: cuff(s, top_mmhg=s.person.systolic_mmhg + float(rng.uniform(55, 80))),
        ),
        (
            "deflated at 5-7 mmHg/s",
            ("deflation",),
            lambda s, rng: cuff(s, deflation_mmhg_per_s=float(rng.uniform(5, 7))),
        ),
        (
            "deflated at 0.7-1.2 mmHg/s",
            ("deflation",),
            lambda s, rng: cuff(s, deflation_mmhg_per_s=float(rng.uniform(0.7, 1.2))),
        ),
        (
            "paused for 3-10 s",
            ("pauses",),
            lambda s, rng: cuff(
                s,
                pause_at_mmhg=float(
                    rng.uniform(s.person.diastolic_mmhg - 8, s.person.systolic_mmhg + 5)
                ),
                pause_s=float(rng.uniform(3, 10)),
            ),
        ),
        (
            "let down in steps of 5-10 mmHg",
            ("steps",),
            lambda s, rng: cuff(s, step_mmhg=float(rng.uniform(5, 10))),
        ),
        ("re-inflated midway", ("re-inflation",), _reinflated),
        (
            "released 0-5 mmHg below diastolic",
            ("listening on",),
            lambda s, rng: cuff(s, end_mmhg=s.person.diastolic_mmhg - float(rng.uniform(0, 5))),
        ),
        (
            "released above diastolic",
            ("listening on",),
            lambda s, rng: cuff(s, end_mmhg=s.person.diastolic_mmhg + float(rng.uniform(3, 10))),
        ),
        (
            "again after 8-55 s",
            ("wait since the reading before",),
            lambda s, rng: s,
        ),
        (
            "noise at 3 dB",
            ("sounds over noise",),
            lambda s, rng: with_noise(s, Noise(kind="pink", snr_db=3.0)),
        ),
        (
            "sounds that overload the sensor",
            ("clipping",),
            lambda s, rng: _sound(s, peak_dbfs=float(rng.uniform(14, 20))),
        ),
        (
            "sounds that peak 68-70 dB down",
            ("sound level",),
            lambda s, rng: replace(
                _sound(s, peak_dbfs=float(rng.uniform(-70, -68))),
                sensor=replace(s.sensor, response="electronic"),
            ),
        ),
    )
}
WAITED = "again after 8-55 s"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """A simulated measurement, read and checked."""

    simulation: Simulation
    reading: Reading
    work: CuffWork | None
    states: dict[str, FindingState]

    def alarms(self) -> set[str]:
        """The checks that say look or fault."""
        return {name for name, state in self.states.items() if state in ALARMS}


def earlier_log(recording: Recording, wait_s: float) -> Recording:
    """The recording with the log of an earlier measurement put before its own."""
    log = recording.cuff
    empty_s = np.array([-wait_s - 40.0, -wait_s - 35.0, -wait_s, -wait_s + 0.8])
    step_s = float(np.median(np.diff(log.time_s)))
    first_s = float(log.time_s[log.pressure_mmhg >= 15.0][0])
    time_s = np.arange(first_s + empty_s[0] - 5.0, float(log.time_s[0]) - step_s / 2, step_s)
    mmhg = np.interp(time_s, first_s + empty_s, [0.0, 160.0, 60.0, 0.0], left=0.0, right=0.0)
    return replace(
        recording,
        cuff=CuffLog(
            time_s=np.concatenate([time_s, log.time_s]),
            pressure_mmhg=np.concatenate([mmhg, log.pressure_mmhg]),
        ),
    )


def take_case(scenario: Scenario, wait_s: float | None = None) -> Case:
    """Simulate, read, check."""
    simulation = simulate(scenario)
    recording = simulation.recording
    reading = take_reading(recording)
    if wait_s is not None:
        recording = earlier_log(recording, wait_s)
    found = check_technique(recording, reading)
    return Case(
        simulation=simulation,
        reading=reading,
        work=measure_cuff(recording.cuff, reading),
        states={one.check: one.state for one in found},
    )


def fault_case(name: str, seed: int) -> Case:
    """One measurement with one fault."""
    rng = np.random.default_rng([seed, zlib.crc32(name.encode())])
    scenario = FAULTS[name].change(faultless(seed), rng)
    return take_case(scenario, float(rng.uniform(8, 55)) if name == WAITED else None)


def run_up_case(seed: int) -> Case:
    """A good measurement with a palpatory run-up before it."""
    rng = np.random.default_rng([seed, 78])
    scenario = faultless(seed)
    return take_case(
        cuff(
            scenario,
            run_up_mmhg=scenario.person.systolic_mmhg + float(rng.uniform(0, 25)),
            run_up_rest_s=float(rng.uniform(2, 12)),
        )
    )


def is_found(name: str, case: Case) -> bool:
    """Whether a fault was found by one of its checks."""
    return bool(case.alarms().intersection(FAULTS[name].checks))


def rate_error(case: Case) -> float | None:
    """Rate told less the true one, mmHg/s."""
    if case.work is None:
        return None
    return case.work.rate_mmhg_per_s - case.simulation.truth.deflation_mmhg_per_s


def near_errors(case: Case) -> list[float]:
    """The same near systolic and diastolic, over the same pressures of the true trend."""
    work, scenario = case.work, case.simulation.scenario
    if work is None:
        return []
    trend = trend_of(scenario.cuff, scenario.seed)
    time_s = np.arange(trend.fall_s, trend.release_s, 0.01)
    mmhg = shown_mmhg(scenario.cuff, trend.at(time_s))
    errors = []
    for threshold in (case.reading.systolic, case.reading.diastolic):
        if threshold.mmhg is None:
            continue
        told = work.rate_near(threshold.mmhg)
        near = np.flatnonzero(np.abs(mmhg - threshold.mmhg) <= 8.0)
        if told is not None and near.size > 100:
            a, b = near[0], near[-1]
            errors.append(told - float((mmhg[a] - mmhg[b]) / (time_s[b] - time_s[a])))
    return errors


def told_obliteration(case: Case) -> Obliteration | None:
    """What the check found."""
    return None if case.work is None else case.work.obliteration


def true_obliteration_mmhg(case: Case) -> float:
    """The person's mean systolic, as the manometer shows it."""
    scenario = case.simulation.scenario
    return float(shown_mmhg(scenario.cuff, np.array([scenario.person.systolic_mmhg]))[0])


def _share(right: Sequence[bool]) -> str:
    return f"{100 * sum(right) / len(right):5.1f} % of {len(right)}" if right else "none"


def by_pulse_alone(case: Case) -> Obliteration | None:
    """What the pulse tells, with the true diastolic for the last sound."""
    work, scenario = case.work, case.simulation.scenario
    if work is None:
        return None
    diastolic = shown_mmhg(scenario.cuff, np.array([scenario.person.diastolic_mmhg]))
    return by_pulse(work.deflation, work.pulses, float(diastolic[0]))


def _obliterations(
    title: str, cases: Sequence[Case], estimate: Callable[[Case], Obliteration | None]
) -> None:
    told = [
        (found, true_obliteration_mmhg(case))
        for case in cases
        if (found := estimate(case)) is not None
    ]
    for basis in ("all", *sorted({found.basis for found, _ in told})):
        some = [(f, t) for f, t in told if basis in ("all", f.basis)]
        near = _share([abs(f.mmhg - t) <= OBLITERATION_MMHG for f, t in some])
        inside = _share([f.low_mmhg - 4.0 <= t <= f.high_mmhg + 4.0 for f, t in some])
        print(f"  {title}, {basis}: within {OBLITERATION_MMHG:g} mmHg {near}; in range {inside}")
    print(f"  {title}: told in {len(told)} of {len(cases)}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.technique.faults",
        description="Simulate faults of technique, one each, and print which are found.",
    )
    parser.add_argument("--per-fault", type=int, default=40, help="recordings per fault (40)")
    parser.add_argument("--faultless", type=int, default=200, help="faultless recordings (200)")
    parser.add_argument("--first-seed", type=int, default=6000, help="first seed (6000)")
    given = parser.parse_args(arguments)
    first = given.first_seed
    good = [take_case(faultless(seed)) for seed in range(first, first + given.faultless)]
    print(f"faultless, {len(good)} recordings from seed {first}: alarms and unknown, each check")
    alarms = Counter(name for case in good for name in case.alarms())
    for name in good[0].states:
        unknown = sum(case.states[name] is FindingState.UNKNOWN for case in good)
        if unknown < len(good):
            share = 100 / len(good)
            print(f"  {name:<35} {share * alarms[name]:5.1f} % {share * unknown:6.1f} % unknown")
    errors = [e for case in good if (e := rate_error(case)) is not None]
    near = [e for case in good for e in near_errors(case)]
    print("\nfaults, found (by the check they are made for)")
    for name in FAULTS:
        cases = [fault_case(name, seed) for seed in range(first, first + given.per_fault)]
        missed = [c.simulation.scenario.seed for c in cases if not is_found(name, c)]
        line = _share([is_found(name, case) for case in cases])
        print(f"  {name:<40} {line}  {'missed ' + str(missed) if missed else ''}", flush=True)
        if name.startswith("deflated"):
            errors += [e for case in cases if (e := rate_error(case)) is not None]
            near += [e for case in cases for e in near_errors(case)]
    print(f"\nrate within {RATE_MMHG_PER_S:g} mmHg/s of the true one")
    print(f"  overall {_share([abs(e) <= RATE_MMHG_PER_S for e in errors])}")
    print(f"  near systolic and diastolic {_share([abs(e) <= RATE_MMHG_PER_S for e in near])}")
    print("\nobliteration against the person's systolic (the range widened by breath, 4 mmHg)")
    seeds = range(first, first + given.per_fault)
    _obliterations("faultless", good, told_obliteration)
    _obliterations("faultless, pulse alone", good, by_pulse_alone)
    _obliterations("after a run-up", [run_up_case(seed) for seed in seeds], told_obliteration)
    gaps = [take_case(draw("gap", seed)) for seed in seeds]
    _obliterations("with a silent gap", gaps, told_obliteration)
    into = [take_case(draw("into_gap", seed)) for seed in seeds]
    _obliterations("inflated into a gap", into, told_obliteration)
    alarms = [bool({"inflation"} & case.alarms()) for case in into]
    print(f"  inflated into a gap: inflation found {_share(alarms)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
