"""A scenario becomes a recording whose truth is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapfall.model import FloatArray, Phase, Recording, Rhythm
from tapfall.synth.log import log_of, shown_mmhg
from tapfall.synth.loudness import (
    AUDIBLE_BELOW_LOUDEST_DB,
    AUDIBLE_FLOOR_DBFS,
    in_band,
    noise_around,
)
from tapfall.synth.render import Layers, Outline, render
from tapfall.synth.rules import read_beats, rounded
from tapfall.synth.scenario import Scenario
from tapfall.synth.sensor import record
from tapfall.synth.streams import stream
from tapfall.synth.tracks import rms
from tapfall.synth.truth import TrueBeat, TrueReading, Truth

#: Where the second and third phase start, 0 systolic to 1 diastolic (our choice).
K2_DEPTH = 0.2
K3_DEPTH = 0.42


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Simulation:
    """A simulated recording, its truth and what it was made from."""

    recording: Recording
    truth: Truth
    scenario: Scenario


def _phase(depth: float, *, muffled: bool, heard: bool, faded: bool) -> Phase:
    if faded:
        return Phase.GAP
    if not heard:
        return Phase.SILENT
    if muffled:
        return Phase.K4
    return Phase.K1 if depth < K2_DEPTH else Phase.K2 if depth < K3_DEPTH else Phase.K3


def _rhythm(scenario: Scenario, before_s: FloatArray, median_s: FloatArray) -> Rhythm:
    """Irregular above 12 % interval variation or 5 % of early beats (our choice).

    Alternating is a pulse that is strong and weak by turns, its beats even: of bigeminy
    the intervals are uneven.
    """
    if scenario.person.alternans_mmhg >= 4:
        return Rhythm.ALTERNATING
    if before_s.size < 4:
        return Rhythm.UNKNOWN
    early = float(np.mean(before_s < 0.8 * median_s))
    spread = float(np.std(before_s / median_s))
    return Rhythm.IRREGULAR if spread > 0.12 or early > 0.05 else Rhythm.REGULAR


def _listed(
    scenario: Scenario, outline: Outline, around: FloatArray
) -> tuple[tuple[TrueBeat, ...], NDArray[np.intp]]:
    """Beats from the top to the release, the noise around each given; and their index."""
    trend, openings, beats, cuff = outline.trend, outline.openings, outline.beats, scenario.cuff
    floor = max(
        outline.loudest * 10 ** (-AUDIBLE_BELOW_LOUDEST_DB / 20), 10 ** (AUDIBLE_FLOOR_DBFS / 20)
    )
    quiet = outline.levels >= floor
    noisy = quiet & (outline.levels >= around)
    ungapped = openings.level_db > -AUDIBLE_BELOW_LOUDEST_DB
    faded = ungapped & (openings.gap_db > 6) & ~quiet & scenario.sound.present
    shown = shown_mmhg(cuff, openings.cuff_mmhg)
    high = shown_mmhg(cuff, outline.pressures.systolic_mmhg)
    low = shown_mmhg(cuff, outline.pressures.diastolic_mmhg)
    inside = np.flatnonzero(
        (openings.onset_s >= trend.hold_s) & (openings.onset_s < trend.release_s)
    )
    listed = tuple(
        TrueBeat(
            time_s=rounded(openings.onset_s[i]),
            foot_s=rounded(beats.foot_s[i]),
            cuff_mmhg=rounded(shown[i]),
            systolic_mmhg=rounded(high[i]),
            diastolic_mmhg=rounded(low[i]),
            audible_in_quiet=bool(quiet[i]),
            audible_in_noise=bool(noisy[i]),
            phase=_phase(
                float(openings.depth[i]),
                muffled=bool(openings.depth[i] >= openings.muffled_from[i]),
                heard=bool(quiet[i]),
                faded=bool(faded[i]),
            ),
            expected=bool(beats.expected[i]),
        )
        for i in inside
    )
    return listed, inside


def _readings(listed: tuple[TrueBeat, ...], seed: int) -> tuple[TrueReading, TrueReading]:
    """In quiet and in noise."""
    return (
        read_beats(
            listed, [beat.audible_in_quiet for beat in listed], stream(seed, "thresholds", "quiet")
        ),
        read_beats(
            listed, [beat.audible_in_noise for beat in listed], stream(seed, "thresholds", "noise")
        ),
    )


def expected_readings(
    scenario: Scenario, outline: Outline, *, louder_db: float = 0.0
) -> tuple[TrueReading, TrueReading]:
    """Return the readings in quiet and in noise, with every noise as loud all along as its mean.

    The first is exact.  The second costs no noise: it tells beforehand, for steady noises,
    what a recording is likely to come to.

    Parameters
    ----------
    scenario
        What would be simulated.
    outline
        Its outline.
    louder_db
        By how much the noises are taken to be louder than they are.

    Returns
    -------
    in_quiet, in_noise : TrueReading

    Examples
    --------
    >>> from tapfall.synth.render import outline_of
    >>> scenario = Scenario(seed=1)
    >>> quiet, noisy = expected_readings(scenario, outline_of(scenario))
    >>> quiet == simulate(scenario).truth.in_quiet, noisy.readable
    (True, True)
    """
    power = sum(10 ** (-noise.snr_db / 10) for noise in scenario.room.noises)
    level = outline.loudest * math.sqrt(power) * 10 ** (louder_db / 20)
    listed, _ = _listed(scenario, outline, np.full(outline.levels.size, level))
    return _readings(listed, scenario.seed)


def truth_of(scenario: Scenario, layers: Layers) -> Truth:
    """Return what the layers of a scenario really hold."""
    outline = layers.outline
    trend, beats = outline.trend, outline.beats
    noise = layers.thumps + layers.hand + sum(layers.noises, np.zeros_like(layers.thumps))
    noise_band = in_band(noise, layers.rate_hz)
    around = noise_around(noise_band, layers.rate_hz, outline.openings.onset_s)
    listed, inside = _listed(scenario, outline, around)
    fall_s = trend.release_s - trend.fall_s
    top, bottom = trend.at(np.array([trend.fall_s, trend.release_s]))
    rate = float(top - bottom) / fall_s
    median_s = float(np.median(beats.before_s[inside])) if inside.size else 0.0
    snr_db = None
    if scenario.sound.present and (outline.levels > 0).any():
        around_db = 20 * np.log10(rms(noise_band[outline.falling]) + 1e-15)
        snr_db = rounded(20 * np.log10(outline.loudest) - around_db)
    in_quiet, in_noise = _readings(listed, scenario.seed)
    return Truth(
        beats=listed,
        in_quiet=in_quiet,
        in_noise=in_noise,
        rhythm=_rhythm(scenario, beats.before_s[inside], beats.median_s[inside]),
        lag_s=scenario.cuff.lag_s,
        drift_ppm=scenario.cuff.drift_ppm,
        signal_to_noise_db=snr_db,
        deflation_mmhg_per_s=rounded(rate),
        deflation_mmhg_per_beat=rounded(rate * median_s),
        inflated_into_gap=any(beat.phase is Phase.GAP for beat in listed[:2]),
    )


def simulate(scenario: Scenario, outline: Outline | None = None) -> Simulation:
    """Simulate a scenario.

    Parameters
    ----------
    scenario
        What to simulate; the same scenario always gives the same truth.
    outline
        Its outline, where it is there already.

    Returns
    -------
    Simulation
        float32 samples at the sensor's rate, the cuff log, and the truth.

    Raises
    ------
    ScenarioError
        A noise file cannot be read.

    Examples
    --------
    >>> simulation = simulate(Scenario(seed=1))
    >>> simulation.truth.in_quiet.readable
    True
    """
    layers = render(scenario, outline)
    base = layers.outline
    heard = layers.sounds + layers.thumps + layers.hand
    for noise in layers.noises:
        heard = heard + noise
    log = log_of(
        scenario.person, scenario.cuff, base.beats, base.pressures, base.trend, scenario.seed
    )
    recording = Recording(
        samples=record(scenario.sensor, heard), rate_hz=layers.rate_hz, cuff=log, simulated=True
    )
    return Simulation(recording=recording, truth=truth_of(scenario, layers), scenario=scenario)
