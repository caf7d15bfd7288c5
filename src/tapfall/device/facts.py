"""What a check of a device finds: the nouns, without any judgement.

Numbers carry their unit in their name; ``None`` stands for what cannot be told
from the recording.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

#: The band of the sounds, in which noise and hum hide them (definition of audible; the
#: project's design).
BAND_HZ = (25.0, 250.0)


class Verdict(StrEnum):
    """Whether readings are possible with a device, as far as a recording tells.

    ``NOT_TOLD``: nothing was found against it, but without a deflation on the log no reading
    was tried either.
    """

    POSSIBLE = "possible"
    LIMITED = "limited"
    NOT_POSSIBLE = "not possible"
    NOT_TOLD = "not told"


class DeviceState(StrEnum):
    """What a finding means for readings."""

    GOOD = "good"
    LIMITS = "limits"
    PREVENTS = "prevents"
    UNKNOWN = "unknown"


class Gain(StrEnum):
    """Whether an automatic gain was seen at work."""

    SEEN = "seen"
    NOT_SEEN = "not seen"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceSound:
    """What was measured of the sound.

    Levels are dB re full scale (``_dbfs``); ``band`` is :data:`BAND_HZ`.  ``heard_s`` is
    how much of ``length_s`` was looked at.  ``step_dbfs`` is the resolution of the
    samples.  ``upper_edge_hz`` is where the spectrum falls into its floor, or far below its
    strongest part; ``cut_hz`` where it begins to fall as steeply as only a filter or a change
    of rate makes it; ``lower_edge_hz`` where it begins (0 where nothing is cut off).
    ``hum_hz`` is the mains frequency, ``hum_over_noise_db`` its power with its
    harmonics over the rest of the noise in the band, ``hum_told`` whether it could be looked
    for.  Stretches are ``dead`` that hold one value though the sound goes on beside them,
    ``repeats`` are blocks of samples that come twice.
    """

    rate_hz: float
    length_s: float
    heard_s: float
    rms_dbfs: float | None
    peak_dbfs: float | None
    band_rms_dbfs: float | None
    band_peak_dbfs: float | None
    band_noise_dbfs: float | None
    step_dbfs: float | None
    offset_share: float
    full_scale_share: float
    flat_top_share: float | None
    flat_top_dbfs: float | None
    gain: Gain
    gain_swing_db: float | None
    lower_edge_hz: float | None
    upper_edge_hz: float | None
    cut_hz: float | None
    hum_hz: float | None
    hum_dbfs: float | None
    hum_over_noise_db: float | None
    hum_told: bool
    dead_count: int
    dead_s: float
    longest_dead_s: float
    repeats: int | None
    repeated_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceLog:
    """What was measured of the cuff log, in its own time.

    ``rate_hz`` is told by even rows laid through those between holes, ``jitter_s`` how
    far 95 in 100 stay within of them; ``held_rate_hz`` how often the pressure
    is renewed where rows only repeat it; ``rounding_mmhg`` the smallest step.
    ``falls_mmhg`` is the fall of the last deflation, ``pulse_seen`` whether the
    heart's pulse shows on it, ``pulse_mmhg`` its median height, ``pulse_late_s`` how much later
    than it is its shape says that it shows (0 where the manometer keeps up).
    """

    rows: int
    rows_repeated: int
    first_s: float
    last_s: float
    rate_hz: float
    jitter_s: float
    holes: int
    longest_hole_s: float
    held_rate_hz: float | None
    rounding_mmhg: float | None
    lowest_mmhg: float
    highest_mmhg: float
    falls_mmhg: float | None
    pulse_seen: bool | None
    pulse_mmhg: float | None
    pulse_late_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceTrial:
    """A reading taken as a trial, and how log and sound lie to each other.

    ``status`` is that of the reading, ``reasons`` why it holds nothing; both are
    empty where the log holds no deflation.  ``lag_s`` is log time minus audio time
    (given or estimated), known within ``lag_low_s`` to ``lag_high_s``; ``heard_lag_s`` is
    the one at which inflation and release are heard, to some tenths of a second.
    ``shared_s`` is how long log and sound run at the same time, ``longer_s`` by how
    much the log is longer than the sound, ``drift_if_together_ppm`` the drift that
    this would be had both started and stopped at the same instants.
    """

    status: str | None
    reasons: tuple[str, ...]
    signal_to_noise_db: float | None
    lag_s: float | None
    lag_low_s: float | None
    lag_high_s: float | None
    lag_estimated: bool
    lag_clear: bool
    heard_lag_s: float | None
    shared_s: float
    longer_s: float
    drift_if_together_ppm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceFinding:
    """One thing that was checked.

    Parameters
    ----------
    part
        ``sound``, ``log`` or ``trial``.
    check
        What was checked, a few words.
    found
        A number in ``unit``, a word, or ``None`` where nothing can be told.
    unit
        The unit of ``found``; empty for words.
    needed
        What readings need.
    state
        What it means for readings.
    sentence
        The same in one plain sentence.
    """

    part: str
    check: str
    found: float | str | None
    unit: str
    needed: str
    state: DeviceState
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceReport:
    """What a recording tells of the device that made it.

    ``why`` holds the sentences of all findings that limit or prevent readings,
    the preventing ones first; ``untold`` names the checks that told nothing.
    """

    verdict: Verdict
    why: tuple[str, ...]
    untold: tuple[str, ...]
    findings: tuple[DeviceFinding, ...]
    sound: DeviceSound
    log: DeviceLog
    trial: DeviceTrial

    def finding(self, check: str) -> DeviceFinding:
        """The finding of a check.

        Raises
        ------
        KeyError
            If nothing of that name was checked.
        """
        for one in self.findings:
            if one.check == check:
                return one
        raise KeyError(check)
