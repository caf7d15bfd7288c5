"""At which cuff pressure the artery closes, so that the pulse beyond it vanishes.

Fingers at the wrist tell it while the cuff is inflated; a log does not show the wrist.
Above systolic the cuff's own pulse shrinks but does not vanish (the artery beats on
against the cuff's upper edge), and an inflation passes systolic within a beat or two.
So it is told by what the deflation shows: the sounds, where no gap lies above them, and
the pulse, which is largest at 0.45 of the way from diastolic to systolic
(Chandrasekhar 2019) and about half as large at systolic (Geddes 1982, from memory).
A run-up that came before bounds it: the hand went on until the pulse was gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.bell import draw_bell
from tapfall.ear.cuff import Deflation
from tapfall.ear.pulses import Pulses
from tapfall.model import Flag, Reading, State
from tapfall.standards import LARGEST_PULSE_SHARE, SYSTOLIC_PULSE_SHARE

#: The pressure over which the sizes of pulses are evened out (our choice).
NEAR_MMHG = 8.0
#: The largest pulse lies at least so far below the top, else the bell's top is not seen.
LEAST_BELOW_TOP_MMHG = 6.0
#: Half the interval of the estimate by the largest pulse: a part of the pulse pressure, for
#: the share is another in each arm, and the error of the bell's top.  Wider than simulated
#: arms need (their 5 and 95 in 100 lie 10 below and 8 above), for real envelopes are irregular
#: (our choice).
HALF_SHARE, HALF_MMHG = 0.25, 6.0
#: The same where no diastolic is known and the pulse at systolic is all there is (twice what
#: simulated arms show; our choice).
HALF_BY_SIZE_MMHG = 25.0
#: The pulse doubts the first sound where its own estimate lies higher by more than this share
#: of half its interval: so in 1 of 100 simulated recordings without a gap above, in 37 of 39
#: that were inflated into one (measured).
DOUBT_SHARE = 0.8
#: A run-up counts where it reaches the lower end of the interval; it may fall short of it by
#: this much (breath and beats; our choice).
SHORT_MMHG = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Obliteration:
    """The pressure at which the artery closes.

    ``low_mmhg`` to ``high_mmhg`` is meant to hold it 95 times in 100; ``basis`` is
    ``sounds`` (first sound, no gap above it), ``pulse`` (the cuff's own pulse), with
    ``run-up`` added where one bounds it from above.
    """

    mmhg: float
    low_mmhg: float
    high_mmhg: float
    basis: str


def by_pulse(
    deflation: Deflation, pulses: Pulses, diastolic_mmhg: float | None
) -> Obliteration | None:
    """Estimate the obliteration from the size of the cuff's pulses.

    Parameters
    ----------
    deflation, pulses
        The cuff's fall and the heartbeats seen on it.
    diastolic_mmhg
        The last sound, or the muffling where sounds go on to zero; where it is known.

    Returns
    -------
    Obliteration or None
        ``None`` where the log is too slow to show pulses, too few are seen, or the
        largest lies at the top of the deflation.
    """
    bell = draw_bell(pulses, deflation, NEAR_MMHG)
    if bell is None:
        return None
    grid, size, largest_mmhg = bell.cuff_mmhg, bell.size_mmhg, bell.largest_mmhg
    best = int(np.argmax(size))
    if largest_mmhg > bell.top_mmhg - LEAST_BELOW_TOP_MMHG or size[best] <= 0:
        return None
    if diastolic_mmhg is not None and largest_mmhg > diastolic_mmhg:
        pulse_mmhg = (largest_mmhg - diastolic_mmhg) / LARGEST_PULSE_SHARE.value
        half = HALF_SHARE * pulse_mmhg + HALF_MMHG
        return _around(diastolic_mmhg + pulse_mmhg, half)
    small = np.flatnonzero(size[best:] <= SYSTOLIC_PULSE_SHARE.value * size[best])
    if small.size == 0:
        return None
    return _around(float(grid[best + int(small[0])]), HALF_BY_SIZE_MMHG)


def _around(mmhg: float, half_mmhg: float) -> Obliteration:
    return Obliteration(
        mmhg=mmhg, low_mmhg=mmhg - half_mmhg, high_mmhg=mmhg + half_mmhg, basis="pulse"
    )


def find_obliteration(
    deflation: Deflation, pulses: Pulses, reading: Reading, run_up_mmhg: float | None = None
) -> Obliteration | None:
    """Estimate the obliteration from all that is known of a measurement.

    Parameters
    ----------
    deflation, pulses
        The cuff's fall and the heartbeats seen on it.
    reading
        What was heard.
    run_up_mmhg
        Top of a palpatory run-up before, ``None`` without one.

    Returns
    -------
    Obliteration or None
        ``None`` where nothing tells it.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.ear.cuff import find_deflation
    >>> from tapfall.ear.pulses import find_pulses
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> time_s, mmhg = recording.cuff.time_s, recording.cuff.pressure_mmhg
    >>> fall, reading = find_deflation(time_s, mmhg), take_reading(recording)
    >>> found = find_obliteration(fall, find_pulses(time_s, mmhg, fall), reading)
    >>> found.basis, found.mmhg == reading.systolic.mmhg
    ('sounds', True)
    """
    pulse = by_pulse(deflation, pulses, _diastolic_mmhg(reading))
    found = _by_sounds(reading, pulse) or pulse
    systolic = reading.systolic
    if found is None or run_up_mmhg is None or run_up_mmhg < found.low_mmhg - SHORT_MMHG:
        return found
    if found.basis == "sounds" or systolic.state is State.NOT_REACHED:
        return found
    high = min(found.high_mmhg, max(run_up_mmhg, found.low_mmhg))
    return Obliteration(
        mmhg=min(found.mmhg, high),
        low_mmhg=found.low_mmhg,
        high_mmhg=high,
        basis=f"{found.basis} and run-up",
    )


def _by_sounds(reading: Reading, pulse: Obliteration | None) -> Obliteration | None:
    """The first sound, where nothing speaks for a gap above it."""
    systolic = reading.systolic
    if systolic.state is not State.OBSERVED or systolic.mmhg is None:
        return None
    low = systolic.mmhg if systolic.low_mmhg is None else systolic.low_mmhg
    high = systolic.mmhg if systolic.high_mmhg is None else systolic.high_mmhg
    if pulse is not None:
        half = (pulse.high_mmhg - pulse.low_mmhg) / 2
        if pulse.mmhg - systolic.mmhg > DOUBT_SHARE * half:
            return None
    if Flag.GAP_ABOVE_NOT_EXCLUDED in reading.flags:
        # Sounds may lie above, as far up as the pulse allows; without a pulse nobody knows.
        if pulse is None:
            return None
        high = max(high, pulse.high_mmhg)
    return Obliteration(
        mmhg=systolic.mmhg,
        low_mmhg=min(low, systolic.mmhg),
        high_mmhg=max(high, systolic.mmhg),
        basis="sounds",
    )


def _diastolic_mmhg(reading: Reading) -> float | None:
    """Cuff pressure at the last sound, whatever rule the diastolic follows.

    Sounds that go on to zero tell no diastolic by their end: the muffling does.
    """
    if Flag.SOUNDS_TO_ZERO in reading.flags:
        return reading.muffling.mmhg
    heard = [beat.cuff_mmhg for beat in reading.beats if beat.phase.sounds]
    if not heard or reading.diastolic.state is not State.OBSERVED:
        return None
    return min(heard)
