"""What was heard of one deflation, put to the rules and measured: all that a reading rests on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy import signal

from tapfall.ear.contact import contact_changes
from tapfall.ear.cuff import Deflation
from tapfall.ear.holes import sound_holes
from tapfall.ear.judge import Listening
from tapfall.ear.presence import presence, presence_measures
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.strays import strays_per_beat
from tapfall.ear.thresholds import chance_above
from tapfall.ear.told import Told, tell
from tapfall.model import FloatArray, Quality

#: The upper end of the band of the signal-to-noise ratio (the project's definition: 25 Hz, where
#: the front end cuts, to 250 Hz; what hisses above it hides no Korotkoff sound).
BAND_HZ = 250.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """A listening put to the rules.

    ``whole`` are the measures of the listening as a whole; ``present`` is the probability that its
    sounds are Korotkoff sounds at all, ``promise`` that its systolic will still stand at the end
    of the measurement (0 where that is not asked).
    """

    told: Told
    quality: Quality
    whole: FloatArray
    present: float
    promise: float = 0.0

    @property
    def listening(self) -> Listening:
        """What was heard."""
        return self.told.listening


def weigh(record: Record, deflation: Deflation, pulses: Pulses, listening: Listening) -> Weighed:
    """Put a listening to the rules and measure what its values rest on.

    Parameters
    ----------
    record, deflation, pulses, listening
        What was recorded, what the log showed, what was heard.

    Returns
    -------
    Weighed
        Nothing in it is a judgement yet.
    """
    told = tell(listening, deflation, pulses)
    quality = _quality(record, deflation, listening, told)
    lag_s = listening.lag.seconds
    told = replace(
        told,
        signal_to_noise_db=quality.signal_to_noise_db,
        clipped_share=quality.clipped_share,
        sounds_above=chance_above(told),
        lost_s=sound_holes(record, deflation.start_s - lag_s, deflation.end_s - lag_s),
    )
    told = replace(told, ear_moved=contact_changes(record, told), strays=strays_per_beat(told))
    # A closer listening hears more where there are sounds; whether there are any was fitted before.
    whole = presence_measures(listening.before or listening)
    return Weighed(told=told, quality=quality, whole=whole, present=presence(whole))


@lru_cache(maxsize=8)
def _low_pass(rate_hz: float) -> FloatArray:
    """What keeps of the sound the band that its signal-to-noise ratio is defined in."""
    return np.asarray(signal.butter(4, BAND_HZ, fs=rate_hz, output="sos"))


def _quality(record: Record, deflation: Deflation, listening: Listening, told: Told) -> Quality:
    """Levels over the deflation; the ratio in the band of Korotkoff sounds."""
    white = listening.white
    onset = listening.onset_s[listening.story.heard > 0.5]
    sound, start_s = record.between(
        white.start_s, white.start_s + white.samples.size / record.rate_hz
    )
    size = round(0.06 * record.rate_hz)
    low = signal.sosfilt(_low_pass(record.rate_hz), sound)
    total = np.concatenate([[0.0], np.cumsum(low**2)])
    energy = (total[size:] - total[:-size]) / size
    noise = float(np.median(energy[:: max(1, size // 2)])) + 1e-16
    ratio = None
    if onset.size:
        index = np.clip(
            np.rint((onset - 0.01 - start_s) * record.rate_hz).astype(np.intp), 0, energy.size - 1
        )
        loud = float(np.quantile(energy[index], 0.9))
        ratio = round(10 * float(np.log10(max(loud - noise, 1e-16) / noise)), 1)
    first = max(0, round((white.start_s - record.start_s) * record.rate_hz))
    clipped = record.clipped[first : first + white.samples.size]
    step = np.abs(np.diff(told.cuff_mmhg))
    return Quality(
        signal_to_noise_db=ratio,
        peak_dbfs=round(20 * float(np.log10(np.abs(sound).max() + 1e-9)), 1),
        clipped_share=round(float(clipped.mean()) if clipped.size else 0.0, 5),
        deflation_mmhg_per_s=round(deflation.rate_mmhg_per_s, 2),
        deflation_mmhg_per_beat=round(float(np.median(step)), 2) if step.size else None,
        log_rate_hz=round(deflation.log_rate_hz, 2),
    )
