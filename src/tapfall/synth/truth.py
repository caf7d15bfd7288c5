"""What a simulated recording really holds.

Each beat carries two truths: audible in quiet, and audible in this noise
(its 60-ms level in 25-250 Hz at least as loud as the noise around it; our
choice).  Two readings follow from them, and scoring accepts any value
between the two.

Every pressure is on the manometer's scale: what the log would show without
pulse, sensor noise and rounding, its zero offset and gain error included.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.model import Phase, Rhythm, State


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueBeat:
    """One heartbeat of the simulated person.

    ``time_s`` (audio time) is where the sound starts, or would start: where
    the arterial upstroke crosses the cuff pressure, or the upstroke's top
    (cuff above systolic) or foot (cuff below diastolic).  ``cuff_mmhg`` is the
    cuff pressure without pulse there.  ``expected`` is false for an ectopic
    beat (interval below 80 % of the local median).
    """

    time_s: float
    foot_s: float
    cuff_mmhg: float
    systolic_mmhg: float
    diastolic_mmhg: float
    audible_in_quiet: bool
    audible_in_noise: bool
    phase: Phase
    expected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueThreshold:
    """One true pressure.

    ``mmhg`` is the cuff pressure at the deciding beat (``None`` unless
    observed), ``bound_mmhg`` the highest (systolic) or lowest (diastolic)
    pressure at which a beat was audible where the threshold was not reached,
    ``threshold_mmhg`` the threshold itself, drawn continuously between the
    silent and the sounding beat: what a 95 % interval has to cover.
    """

    state: State
    mmhg: float | None = None
    bound_mmhg: float | None = None
    threshold_mmhg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueGap:
    """A silent gap: last sound above it and first sound below it."""

    upper_mmhg: float
    lower_mmhg: float
    silent_beats: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueReading:
    """The reading that follows from the beats by the project's definitions.

    ``alternating`` says that the systolic was read on alternate beats,
    ``isolated_sound`` that a lone sound above it was not counted.
    """

    systolic: TrueThreshold
    diastolic: TrueThreshold
    first_silence: TrueThreshold
    muffling: TrueThreshold
    gaps: tuple[TrueGap, ...] = ()
    to_zero: bool = False
    readable: bool = True
    alternating: bool = False
    isolated_sound: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Everything known about one simulated recording.

    ``beats`` are those from the top of the last inflation to the release.
    ``lag_s`` is log time minus audio time at the start of the audio.
    ``signal_to_noise_db`` counts everything but the Korotkoff sounds as
    noise; it is ``None`` where there are none.
    """

    beats: tuple[TrueBeat, ...]
    in_quiet: TrueReading
    in_noise: TrueReading
    rhythm: Rhythm
    lag_s: float
    drift_ppm: float
    signal_to_noise_db: float | None
    deflation_mmhg_per_s: float
    deflation_mmhg_per_beat: float
    inflated_into_gap: bool = False
