"""The words of a reading: states, phases, flags and reasons, with plain sentences."""

from __future__ import annotations

from enum import StrEnum


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

    @property
    def sounds(self) -> bool:
        """Whether a beat of this phase sounds.

        Examples
        --------
        >>> [phase.value for phase in Phase if phase.sounds]
        ['K1', 'K2', 'K3', 'K4']
        """
        return self not in (Phase.SILENT, Phase.GAP)


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
    DAMPED_CUFF_LOG = "damped_cuff_log"
    CUFF_LOG_DROPOUT = "cuff_log_dropout"
    CUFF_LOG_ROWS_REPEATED = "cuff_log_rows_repeated"
    ZERO_OFF = "zero_off"
    AUDIO_CLIPPED = "audio_clipped"
    AUDIO_DROPOUT = "audio_dropout"
    AUDIO_PARTIAL = "audio_partial"
    STETHOSCOPE_MOVED = "stethoscope_moved"
    STRAY_SOUNDS = "stray_sounds"
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
    Flag.COARSE_CUFF_LOG: (
        "The log shows no pulse (too slow, too rounded, or none in it): beats and values rest on "
        "the sounds alone."
    ),
    Flag.DAMPED_CUFF_LOG: (
        "The log shows the pulse smoothed: its manometer or tube may lag, and what is read while "
        "the cuff falls may be a few mmHg too high."
    ),
    Flag.CUFF_LOG_DROPOUT: "The log has a hole during the deflation.",
    Flag.CUFF_LOG_ROWS_REPEATED: "Repeated rows of the log were dropped.",
    Flag.ZERO_OFF: (
        "The log does not show zero with the cuff at rest: unless pressure was left in the cuff, "
        "all values are wrong by as much."
    ),
    Flag.AUDIO_CLIPPED: "The sound is clipped.",
    Flag.AUDIO_DROPOUT: "The sound has a hole during the deflation.",
    Flag.AUDIO_PARTIAL: "The sound covers only part of the deflation.",
    Flag.STETHOSCOPE_MOVED: (
        "The stethoscope seems to have been put on late, lifted or moved where the sounds begin "
        "or end."
    ),
    Flag.STRAY_SOUNDS: (
        "Other sounds keep no step with the pulse: tapping, music, speech or another pulse."
    ),
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
        Flag.ZERO_OFF,
        Flag.AUDIO_CLIPPED,
        Flag.AUDIO_DROPOUT,
        Flag.AUDIO_PARTIAL,
        Flag.STETHOSCOPE_MOVED,
        Flag.STRAY_SOUNDS,
        Flag.LAG_UNCERTAIN,
        Flag.LOW_CONFIDENCE,
        Flag.REVISED,
    }
)


class Reason(StrEnum):
    """Why a value is missing; see :data:`REASON_SENTENCES`."""

    NO_SOUNDS = "no_sounds"
    DOUBTFUL_SOUNDS = "doubtful_sounds"
    UNCHANGED_BY_CUFF = "unchanged_by_cuff"
    NO_DEFLATION = "no_deflation"
    SILENT_AUDIO = "silent_audio"
    TOO_FEW_BEATS = "too_few_beats"
    TOO_FEW_SOUNDS = "too_few_sounds"
    TOO_LITTLE_SOUND = "too_little_sound"
    NOISE_HIDES = "noise_hides"
    TOO_UNCERTAIN = "too_uncertain"
    SOUNDS_FROM_TOP = "sounds_from_top"
    SOUNDS_TO_END = "sounds_to_end"
    NO_MUFFLING = "no_muffling"


#: One plain sentence for each reason.
REASON_SENTENCES: dict[Reason, str] = {
    Reason.NO_SOUNDS: "no sounds in step with the heart were found while the cuff fell",
    Reason.DOUBTFUL_SOUNDS: (
        "beats sound while the cuff falls, but whether they are Korotkoff sounds is not sure"
    ),
    Reason.UNCHANGED_BY_CUFF: (
        "beat-synchronous sound unchanged by cuff pressure: it comes with every heartbeat"
    ),
    Reason.NO_DEFLATION: ("the log holds no deflation slower than 10 mmHg/s over at least 20 mmHg"),
    Reason.SILENT_AUDIO: "the sound is silent or constant while the cuff falls",
    Reason.TOO_FEW_BEATS: "fewer than six heartbeats fall within the deflation",
    Reason.TOO_FEW_SOUNDS: "fewer than four beats sound: too few to tell from noise",
    Reason.TOO_LITTLE_SOUND: "the sound covers less than a third of the deflation, or under 5 s",
    Reason.NOISE_HIDES: "noise as loud as the sounds hides the weak first and last ones",
    Reason.TOO_UNCERTAIN: "several values explain the sounds about equally well",
    Reason.SOUNDS_FROM_TOP: "sounds were present from the top of the deflation",
    Reason.SOUNDS_TO_END: "sounds were still present when the deflation ended",
    Reason.NO_MUFFLING: "no muffling was found",
}


class FindingState(StrEnum):
    """What a check of the technique says."""

    OK = "ok"
    LOOK = "look"
    FAULT = "fault"
    UNKNOWN = "unknown"
