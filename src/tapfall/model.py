"""The nouns: frozen dataclasses with units in their names.

* Every ``time_s`` is audio time: seconds from the first audio sample.
* Pressures are cuff pressures in mmHg, read from the smooth deflation trend.
* ``lag.seconds`` is log time minus audio time of the same instant.
* Judgements (:class:`Reading` and all it holds) are tuples, numbers, strings
  and ``None``: they compare with ``==`` and never hold NaN or arrays.
* Containers of samples (:class:`CuffLog`, :class:`Recording`) hold arrays and
  compare by identity.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Said with every output; worded once and used everywhere.
CAUTION = (
    "For education and research; not a medical device and not for diagnosis. "
    "Local protocols and licensed practice decide."
)


class Status(StrEnum):
    """How far a reading can be used as it stands."""

    OK = "ok"
    REVIEW = "review"
    UNREADABLE = "unreadable"


class State(StrEnum):
    """Whether a threshold was seen."""

    OBSERVED = "observed"
    NOT_REACHED = "not_reached"
    UNDETERMINED = "undetermined"


class Rule(StrEnum):
    """Which beat the diastolic pressure is read at."""

    LAST_SOUND = "last_sound"
    FIRST_SILENCE = "first_silence"
    K4 = "k4"


class Phase(StrEnum):
    """Korotkoff phase of one beat."""

    SILENT = "silent"
    K1 = "K1"
    K2 = "K2"
    K3 = "K3"
    K4 = "K4"
    GAP = "gap"


class Rhythm(StrEnum):
    """Rhythm of the beats while the cuff falls."""

    REGULAR = "regular"
    IRREGULAR = "irregular"
    ALTERNATING = "alternating"
    UNKNOWN = "unknown"


class Flag(StrEnum):
    """Everything a reading can warn of; see :data:`FLAG_SENTENCES`."""

    ISOLATED_SOUND = "isolated_sound"
    ALTERNATING = "alternating"
    IRREGULAR_RHYTHM = "irregular_rhythm"
    SILENT_GAP = "silent_gap"
    GAP_ABOVE_NOT_EXCLUDED = "gap_above_not_excluded"
    BREATH_DEPENDENT_SOUNDS = "breath_dependent_sounds"
    SOUNDS_TO_ZERO = "sounds_to_zero"
    SYSTOLIC_NOT_REACHED = "systolic_not_reached"
    DIASTOLIC_NOT_REACHED = "diastolic_not_reached"
    REINFLATED = "reinflated"
    PALPATORY_RUN_UP = "palpatory_run_up"
    DEFLATION_FAST = "deflation_fast"
    DEFLATION_SLOW = "deflation_slow"
    DEFLATION_PAUSED = "deflation_paused"
    COARSE_CUFF_LOG = "coarse_cuff_log"
    CUFF_LOG_DROPOUT = "cuff_log_dropout"
    CUFF_LOG_ROWS_REPEATED = "cuff_log_rows_repeated"
    AUDIO_CLIPPED = "audio_clipped"
    AUDIO_DROPOUT = "audio_dropout"
    AUDIO_PARTIAL = "audio_partial"
    NOISY = "noisy"
    LAG_CORRECTED = "lag_corrected"
    LAG_UNCERTAIN = "lag_uncertain"
    LOW_CONFIDENCE = "low_confidence"
    REVISED = "revised"


#: One plain sentence for each flag.
FLAG_SENTENCES: dict[Flag, str] = {
    Flag.ISOLATED_SOUND: "A lone sound above systolic was not counted.",
    Flag.ALTERNATING: "Every second beat sounds first: alternating pulse or bigeminy.",
    Flag.IRREGULAR_RHYTHM: "The rhythm is irregular: take more readings, deflate slower.",
    Flag.SILENT_GAP: "Silent gap: the sounds vanish and return between systolic and diastolic.",
    Flag.GAP_ABOVE_NOT_EXCLUDED: (
        "Less than 20 mmHg of silence lies above the first sound, or the cuff's pulse is "
        "still large there: a silent gap with sounds above it is not excluded."
    ),
    Flag.BREATH_DEPENDENT_SOUNDS: "Sounds come and go with the breath near a threshold.",
    Flag.SOUNDS_TO_ZERO: "Sounds go on to zero, or may do so: the diastolic is the muffling (K4).",
    Flag.SYSTOLIC_NOT_REACHED: (
        "Sounds were there from the top: the systolic may be higher; inflate further next time."
    ),
    Flag.DIASTOLIC_NOT_REACHED: (
        "Sounds went on to the end of what was recorded: the diastolic may be lower."
    ),
    Flag.REINFLATED: "The cuff was re-inflated midway: deflate fully, wait, measure again.",
    Flag.PALPATORY_RUN_UP: "An inflation and release before the deflation was passed over.",
    Flag.DEFLATION_FAST: "The cuff fell fast: each beat spans more pressure.",
    Flag.DEFLATION_SLOW: "The cuff fell slowly: congestion may raise the diastolic.",
    Flag.DEFLATION_PAUSED: "The deflation paused or stepped.",
    Flag.COARSE_CUFF_LOG: "The log is too slow or too rounded to show the pulse.",
    Flag.CUFF_LOG_DROPOUT: "The log has a hole during the deflation.",
    Flag.CUFF_LOG_ROWS_REPEATED: "Repeated rows of the log were dropped.",
    Flag.AUDIO_CLIPPED: "The sound is clipped.",
    Flag.AUDIO_DROPOUT: "The sound has a hole during the deflation.",
    Flag.AUDIO_PARTIAL: "The sound covers only part of the deflation.",
    Flag.NOISY: "Noise is close to the level of the sounds.",
    Flag.LAG_CORRECTED: "A lag between log and sound was corrected.",
    Flag.LAG_UNCERTAIN: "The lag between log and sound could not be settled.",
    Flag.LOW_CONFIDENCE: "The confidence is low: a second listener is needed.",
    Flag.REVISED: "A value announced while listening was revised.",
}

#: Flags that ask for a person: a reading that carries one is ``review``.
REVIEW_FLAGS: frozenset[Flag] = frozenset(
    {
        Flag.GAP_ABOVE_NOT_EXCLUDED,
        Flag.SOUNDS_TO_ZERO,
        Flag.SYSTOLIC_NOT_REACHED,
        Flag.DIASTOLIC_NOT_REACHED,
        Flag.REINFLATED,
        Flag.AUDIO_CLIPPED,
        Flag.AUDIO_DROPOUT,
        Flag.AUDIO_PARTIAL,
        Flag.LAG_UNCERTAIN,
        Flag.LOW_CONFIDENCE,
        Flag.REVISED,
    }
)


class Reason(StrEnum):
    """Why a value is missing; see :data:`REASON_SENTENCES`."""

    NO_SOUNDS = "no_sounds"
    UNCHANGED_BY_CUFF = "unchanged_by_cuff"
    NO_DEFLATION = "no_deflation"
    SILENT_AUDIO = "silent_audio"
    TOO_FEW_BEATS = "too_few_beats"
    TOO_LITTLE_SOUND = "too_little_sound"
    NOISE_HIDES = "noise_hides"
    TOO_UNCERTAIN = "too_uncertain"
    SOUNDS_FROM_TOP = "sounds_from_top"
    SOUNDS_TO_END = "sounds_to_end"
    NO_MUFFLING = "no_muffling"


#: One plain sentence for each reason.
REASON_SENTENCES: dict[Reason, str] = {
    Reason.NO_SOUNDS: "no sounds in step with the heart were found while the cuff fell",
    Reason.UNCHANGED_BY_CUFF: "beat-synchronous sound unchanged by cuff pressure, top to end",
    Reason.NO_DEFLATION: ("the log holds no deflation slower than 10 mmHg/s over at least 20 mmHg"),
    Reason.SILENT_AUDIO: "the sound is silent or constant while the cuff falls",
    Reason.TOO_FEW_BEATS: "fewer than six heartbeats fall within the deflation",
    Reason.TOO_LITTLE_SOUND: "the sound covers less than a third of the deflation, or under 5 s",
    Reason.NOISE_HIDES: "noise as loud as the sounds hides the weak first and last ones",
    Reason.TOO_UNCERTAIN: "several values explain the sounds about equally well",
    Reason.SOUNDS_FROM_TOP: "sounds were present from the top of the deflation",
    Reason.SOUNDS_TO_END: "sounds were still present when the deflation ended",
    Reason.NO_MUFFLING: "no muffling was found",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CuffLog:
    """Cuff pressure over log time.

    Parameters
    ----------
    time_s
        Seconds on the log's own clock, strictly increasing, shape ``(n,)``.
    pressure_mmhg
        Pressure in mmHg, shape ``(n,)``.
    rows_repeated
        How many rows, equal in time and pressure to their neighbour, were dropped.
    """

    time_s: FloatArray
    pressure_mmhg: FloatArray
    rows_repeated: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a recording came from: names and hashes, never paths."""

    audio_name: str
    audio_sha256: str
    cuff_name: str
    cuff_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """A stethoscope track with its cuff-pressure log.

    Parameters
    ----------
    samples
        Mono sound, shape ``(n,)``, full scale 1.0 for floats; int16 and int32
        are scaled by 1/32768 and 1/2**31.
    rate_hz
        Sampling rate, at least 1000 Hz.
    cuff
        The cuff-pressure log.
    source
        File names and hashes, ``None`` for a recording made in memory.
    simulated
        Made by :mod:`tapfall.synth`, as far as that is known: no person was measured.
    """

    samples: NDArray[np.generic]
    rate_hz: float
    cuff: CuffLog
    source: Source | None = None
    simulated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """One pressure read from the sounds, with its 95 % interval.

    ``not_reached`` fills only the bound that was seen: ``low_mmhg`` for the
    systolic ("at least"), ``high_mmhg`` for the diastolic ("at most").
    ``confidence`` is the probability that ``mmhg`` lies within 4 mmHg of what an expert would
    record from the same sounds.  Of two beats alike likely ``time_s`` is the likelier one's.
    """

    state: State
    mmhg: float | None = None
    low_mmhg: float | None = None
    high_mmhg: float | None = None
    confidence: float | None = None
    time_s: float | None = None
    reason: Reason | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Diastolic(Threshold):
    """The diastolic pressure: a threshold and the rule it follows.

    ``k5_mmhg`` is 0.0 where the sounds go on to zero, otherwise the pressure
    of the last sound where that was observed.
    """

    rule: Rule = Rule.LAST_SOUND
    k5_mmhg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A silent (auscultatory) gap between two audible runs.

    Upper edge: the last sound above it; lower edge: the first below; 95 % intervals.
    """

    upper_mmhg: float
    lower_mmhg: float
    upper_low_mmhg: float
    upper_high_mmhg: float
    lower_low_mmhg: float
    lower_high_mmhg: float
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """One expected heartbeat of the deflation.

    ``time_s`` is where its sound starts, or would; ``heard`` how probably it sounds.
    """

    time_s: float
    cuff_mmhg: float
    heard: float
    phase: Phase


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Log time minus audio time of the same instant (positive: log stamps late)."""

    seconds: float
    low_s: float
    high_s: float
    drift_ppm: float | None
    estimated: bool


class FindingState(StrEnum):
    """What a check of the technique says."""

    OK = "ok"
    LOOK = "look"
    FAULT = "fault"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What one check of the technique found; ``bias``: which way it shifts the pressures."""

    check: str
    state: FindingState
    found: str
    expected: str
    unit: str
    source: str
    bias: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """How well the sounds stand out, over the deflation that was read.

    ``signal_to_noise_db`` compares the loudest tenth of the sounds over 60 ms
    with the noise between beats, both in 25-250 Hz; ``peak_dbfs`` is the
    loudest sample of that band; ``clipped_share`` the share of clipped samples.
    """

    signal_to_noise_db: float | None = None
    peak_dbfs: float | None = None
    clipped_share: float = 0.0
    deflation_mmhg_per_s: float | None = None
    deflation_mmhg_per_beat: float | None = None
    log_rate_hz: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one measurement says, with how far to trust it.

    Equality compares the judgement only; names of files, versions and
    settings live in the record that :mod:`tapfall.files` writes.
    """

    status: Status
    systolic: Threshold
    diastolic: Diastolic
    first_silence: Threshold
    muffling: Threshold
    reasons: tuple[Reason, ...] = ()
    gaps: tuple[Gap, ...] = ()
    pulse_per_min: float | None = None
    rhythm: Rhythm = Rhythm.UNKNOWN
    beats: tuple[Beat, ...] = ()
    lag: Lag | None = None
    manometer_mmhg: float | None = None
    technique: tuple[Finding, ...] = ()
    flags: tuple[Flag, ...] = ()
    quality: Quality = field(default_factory=Quality)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the user may choose about a reading.

    Parameters
    ----------
    diastolic
        The rule that the diastolic value follows.
    lag_s
        Log time minus audio time in seconds; ``None`` estimates it within
        +-2 s, a number is obeyed with +-0.1 s.
    manometer_mmhg
        The manometer's stated error, +- mmHg; reported beside the interval,
        never inside it.
    longest_s
        The longest measurement kept, the bound on memory, in seconds.
    """

    diastolic: Rule = Rule.LAST_SOUND
    lag_s: float | None = None
    manometer_mmhg: float | None = None
    longest_s: float = 300.0
