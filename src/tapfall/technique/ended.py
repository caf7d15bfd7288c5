"""What ended a measurement that sounds went on to: the hand, the log, or the sound."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from tapfall.ear.measurement import REST_MMHG
from tapfall.model import Reading, Recording
from tapfall.technique.log import CuffWork

#: The sound ends early where it ends so long before the deflation (a long beat; our choice).
EARLY_S = 1.5


class By(Enum):
    """What ended; the value names it."""

    RELEASE = "the release"
    LOG = "the log"
    SOUND = "the recorded sound"
    BOTH = "the recording"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """What ended the listening, and the cuff pressure there."""

    by: By
    mmhg: float


def how_it_ended(work: CuffWork, recording: Recording, reading: Reading) -> Ended:
    """Tell what ended the listening.

    Parameters
    ----------
    work
        What the log shows.
    recording, reading
        The sound, and its lag to the log.

    Returns
    -------
    Ended
        A log that goes on to rest, or ends there, was ended by the hand.
    """
    lag_s = 0.0 if reading.lag is None else reading.lag.seconds
    sound_ends_s = recording.samples.size / recording.rate_hz + lag_s
    fall = work.deflation
    open_end = not fall.released and work.bottom_mmhg >= REST_MMHG
    if sound_ends_s < fall.end_s - EARLY_S:
        mmhg = float(fall.pressure_mmhg(np.array([sound_ends_s]))[0])
        return Ended(by=By.SOUND, mmhg=mmhg)
    if not open_end:
        return Ended(by=By.RELEASE, mmhg=work.bottom_mmhg)
    both = sound_ends_s < float(work.time_s[-1]) + EARLY_S
    return Ended(by=By.BOTH if both else By.LOG, mmhg=work.bottom_mmhg)
