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

import numpy as np
from numpy.typing import NDArray

from tapfall.vocabulary import FLAG_SENTENCES as FLAG_SENTENCES
from tapfall.vocabulary import REASON_SENTENCES as REASON_SENTENCES
from tapfall.vocabulary import REVIEW_FLAGS as REVIEW_FLAGS
from tapfall.vocabulary import FindingState as FindingState
from tapfall.vocabulary import Flag as Flag
from tapfall.vocabulary import Phase as Phase
from tapfall.vocabulary import Reason as Reason
from tapfall.vocabulary import Rhythm as Rhythm
from tapfall.vocabulary import Rule as Rule
from tapfall.vocabulary import State as State
from tapfall.vocabulary import Status as Status

FloatArray = NDArray[np.float64]
Singles = NDArray[np.float32]

#: Said with every output; worded once and used everywhere.
CAUTION = (
    "For education and research; not a medical device and not for diagnosis. "
    "Local protocols and licensed practice decide."
)

#: Said of what is known to be simulated, and where some of several are.
SIMULATED = "Simulated: no person was measured."


def simulated_words(count: int, of: str) -> str:
    """Return what is said where some of several are known to be simulated.

    Parameters
    ----------
    count
        How many of them.
    of
        Of how many of what: ``3 readings``.

    Examples
    --------
    >>> simulated_words(2, "3 readings")
    'Simulated: no person was measured in 2 of 3 readings.'
    """
    return f"{SIMULATED[:-1]} in {count} of {of}."


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

    @property
    def at_least_mmhg(self) -> float | None:
        """The pressure, or the bound that it is not below; ``None`` where neither is known.

        Examples
        --------
        >>> Threshold(state=State.NOT_REACHED, low_mmhg=171.2).at_least_mmhg
        171.2
        """
        return self.low_mmhg if self.mmhg is None else self.mmhg


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
