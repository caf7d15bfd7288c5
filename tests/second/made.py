"""One simulated recording with its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.second.cuff import Cuff
from tests.second.kinds import KINDS, SIGNAL_TO_NOISE_DB
from tests.second.log import Log, draw_log
from tests.second.noise import draw_machine, draw_noise
from tests.second.plan import Plan, draw_plan
from tests.second.rules import Judged, judge
from tests.second.sounds import draw_thump
from tests.second.waves import RATE_HZ, BoolArray, FloatArray, band_rms, level_around, ratio

#: Rates of recordings, and the chance of each (our choice).
RATES_HZ = (2000, 4000, 8000, 44100)
RATE_CHANCES = (0.25, 0.35, 0.25, 0.15)
#: Full scale of 16 bits.
FULL_SCALE = 32768

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueBeat:
    """One beat of the hold or the deflation, at the onset of its sound."""

    time_s: float
    cuff_mmhg: float
    audible_quiet: bool
    audible_noise: bool
    expected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What a careful listener would write down, by the rule of the last sound.

    A pressure is the range from what is read without noise to what is read of the
    sounds that stand out of the noise; ``None`` where it was not reached or there are no
    sounds, as the states say.  ``quiet`` and ``noise`` hold the two readings.
    """

    systolic_mmhg: Range | None
    diastolic_mmhg: Range | None
    systolic_state: str
    diastolic_state: str
    gaps_mmhg: tuple[Range, ...]
    quiet: Judged
    noise: Judged
    beats: tuple[TrueBeat, ...]
    lag_s: float
    signal_to_noise_db: float | None
    hold_s: float
    deflation_s: float
    release_s: float
    log_rate_hz: float
    log_step_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """What the sound is the sum of, at 4 kHz; 1 is the level of the loudest tenth of sounds."""

    sounds: FloatArray
    thump: FloatArray
    noise: FloatArray
    machine: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """A recording: sound, log, truth, and the parts of the sound."""

    samples: NDArray[np.float32]
    rate_hz: int
    log: Log
    truth: Truth
    parts: Parts


def make(kind: str, seed: int) -> Made:
    """Make the recording of a kind and a seed, always the same one."""
    if kind not in KINDS:
        raise ValueError(f"kind: found {kind!r}; allowed {', '.join(KINDS)}")
    rng, plan = draw_plan(kind, seed)
    unit = plan.loudest or 1.0
    sounds = plan.sounds.wave / unit
    thump = draw_thump(rng, plan.person, plan.beats, plan.sounds)
    noise, signal_to_noise_db = _noise(rng, kind, plan)
    machine = draw_machine(rng, plan.person, plan.cuff, len(sounds))
    around = level_around(noise + machine, plan.sounds.onset_s)
    parts = Parts(sounds=sounds, thump=thump, noise=noise, machine=machine)
    rate_hz, samples = _recorded(rng, kind, plan, parts)
    log = draw_log(rng, kind, plan.person, plan.cuff, plan.beats)
    truth = _truth(
        kind,
        plan,
        log,
        noisy=plan.quiet & (plan.level / unit >= around),
        signal_to_noise_db=None if plan.loudest is None else signal_to_noise_db,
    )
    return Made(samples=samples, rate_hz=rate_hz, log=log, truth=truth, parts=parts)


def deflation(times: Cuff | Truth) -> slice:
    """The deflation on the grid of 4 kHz."""
    return slice(int(times.deflation_s * RATE_HZ), int(times.release_s * RATE_HZ))


def _noise(rng: np.random.Generator, kind: str, plan: Plan) -> tuple[FloatArray, float]:
    """All noise of the deflation, scaled to the ratio in dB that is handed back as well."""
    count, inside = len(plan.sounds.wave), deflation(plan.cuff)
    named, background = draw_noise(rng, kind, plan.person, plan.cuff, plan.beats, count)
    drawn_db = rng.uniform(14, 26)
    signal_to_noise_db = SIGNAL_TO_NOISE_DB.get(kind, drawn_db)
    wanted = ratio(-signal_to_noise_db)
    if named is None:
        return background * wanted / band_rms(background[inside]), signal_to_noise_db
    least = min(ratio(-rng.uniform(17, 25)), 0.5 * wanted)
    noise = background * least / band_rms(background[inside]) + named * np.sqrt(
        wanted**2 - least**2
    ) / band_rms(named[inside])
    return noise * (wanted / band_rms(noise[inside])), signal_to_noise_db


def _recorded(
    rng: np.random.Generator, kind: str, plan: Plan, parts: Parts
) -> tuple[int, NDArray[np.float32]]:
    """Rate and samples of the recording: level, resampling, rounding to 16 bits."""
    rate_hz = int(rng.choice(RATES_HZ, p=RATE_CHANCES))
    mixed = parts.sounds + parts.thump + parts.noise + parts.machine
    inside = slice(int(plan.cuff.hold_s * RATE_HZ), int(plan.cuff.release_s * RATE_HZ))
    peak = 4.0 if plan.loudest is None else np.abs(parts.sounds[inside]).max()
    target = 0.01 if kind == "weak" else np.exp(rng.uniform(np.log(0.04), np.log(0.7)))
    gain = min(target / peak, 0.95 / np.abs(mixed[inside]).max())
    if rate_hz != RATE_HZ:
        common = np.gcd(rate_hz, RATE_HZ)
        mixed = signal.resample_poly(mixed, rate_hz // common, RATE_HZ // common)
    floor = rng.uniform(0.3, 2) / FULL_SCALE
    mixed = mixed * gain + floor * rng.standard_normal(len(mixed))
    clipped = np.clip(mixed, -1, 1 - 1 / FULL_SCALE)
    return rate_hz, (np.round(clipped * FULL_SCALE) / FULL_SCALE).astype(np.float32)


def _truth(
    kind: str, plan: Plan, log: Log, *, noisy: BoolArray, signal_to_noise_db: float | None
) -> Truth:
    counted = plan.used & plan.beats.expected
    quiet, noise = plan.judged, judge(plan.sounds.cuff_mmhg[counted], noisy[counted])
    return Truth(
        systolic_mmhg=_range(quiet.systolic_mmhg, noise.systolic_mmhg),
        diastolic_mmhg=_range(quiet.diastolic_mmhg, noise.diastolic_mmhg),
        systolic_state=quiet.systolic_state,
        diastolic_state=quiet.diastolic_state,
        # what falls silent with the breath in other kinds is no gap
        gaps_mmhg=quiet.gaps_mmhg if kind == "gap" else (),
        quiet=quiet,
        noise=noise,
        beats=tuple(
            TrueBeat(
                time_s=float(plan.sounds.onset_s[index]),
                cuff_mmhg=float(plan.sounds.cuff_mmhg[index]),
                audible_quiet=bool(plan.quiet[index]),
                audible_noise=bool(noisy[index]),
                expected=bool(plan.beats.expected[index]),
            )
            for index in np.flatnonzero(plan.used)
        ),
        lag_s=log.lag_s,
        signal_to_noise_db=signal_to_noise_db,
        hold_s=plan.cuff.hold_s,
        deflation_s=plan.cuff.deflation_s,
        release_s=plan.cuff.release_s,
        log_rate_hz=log.rate_hz,
        log_step_mmhg=log.step_mmhg,
    )


def _range(quiet_mmhg: float | None, noise_mmhg: float | None) -> Range | None:
    if quiet_mmhg is None:
        return None
    both_mmhg = [quiet_mmhg, quiet_mmhg if noise_mmhg is None else noise_mmhg]
    return min(both_mmhg), max(both_mmhg)
