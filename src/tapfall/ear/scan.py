"""First guess at the beats of a deflation: the lag, and where each sound may lie."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from tapfall.ear import lag as lags
from tapfall.ear.apart import clocks_apart
from tapfall.ear.bands import Bands
from tapfall.ear.beats import clock_from_sounds
from tapfall.ear.cuff import Deflation
from tapfall.ear.delaymap import DelayMap, delay_map, plain_map
from tapfall.ear.evidence import Expectation
from tapfall.ear.instep import keep_in_step
from tapfall.ear.onsets import STEP_S, Marks, Onsets, find_onsets
from tapfall.ear.paths import Paths, follow
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.torn import MAYBE_TORN_NATS, SEEN_TORN_NATS, TORN_NATS, torn_nats
from tapfall.ear.track import follow_track
from tapfall.model import FloatArray

#: Spread of the delay in the first round where the clock is made of sounds.
FIRST_SPREAD_S = 0.025
#: How far a sound may lie off the path through the map, and where about a clock made of sounds.
PATH_REACH_S, SOUNDS_SPAN_S = 0.02, (-0.32, 0.32)
#: All delays of a sound that a lag within reach can cause.
ANY_LAG_S = (
    lags.EARLIEST_S - lags.LARGEST_LAG_S - 0.06,
    lags.LATEST_S + lags.LARGEST_LAG_S + 0.06,
)
#: A lag is none where what every beat brings fits so many times better without it (at six false
#: lags of the second simulator at least five times better; at true ones of development seeds at
#: most as well).
LAG_TIMES = 2.0
#: Fewest expected beats that can be judged.
LEAST_BEATS = 6


def falls(deflation: Deflation, log_s: FloatArray) -> FloatArray:
    """Fall of the cuff before each beat, at log times."""
    pressure = deflation.pressure_mmhg(log_s)
    return np.asarray(-np.diff(pressure, prepend=pressure[:1]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Guess:
    """What is expected before a round; arrays of shape ``(n,)``.

    ``onset_s`` and ``heard`` are what was found so far, ``chart`` the map of
    delays after ``expected.reference_s``; ``real`` is how likely there was a beat,
    1 where the log shows it; ``marks`` are the sounds that make the clock, ``None`` where the
    log's pulses do.
    """

    expected: Expectation
    real: FloatArray
    onset_s: FloatArray
    heard: FloatArray
    chart: DelayMap
    lag: lags.LagFound
    marks: Marks | None

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Which beats the log shows, shape ``(n,)``."""
        return self.anchored & (self.real >= 1.0)

    @property
    def anchored(self) -> bool:
        """Whether the clock is that of the log's pulses, not made of sounds."""
        return self.marks is None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Clock:
    """Beats to listen at, arrays of shape ``(n,)``.

    ``reference_s`` is audio time, off by ``error_s`` as a standard deviation, ``real`` how
    likely there was a beat; ``marks`` are the sounds that make the clock, ``None`` where the
    log's pulses do.
    """

    reference_s: FloatArray
    real: FloatArray
    error_s: float
    marks: Marks | None


def _scan_pulses(
    record: Record,
    deflation: Deflation,
    pulses: Pulses,
    bands: Bands,
    lag_s: float | None,
) -> Guess | None:
    """First guess where the log shows the beats: lag and delays from one map."""
    if lag_s is None:
        lag, beats = _find_lag(deflation, pulses, bands)
    else:
        beats_s, fall_mmhg = pulses.time_s - lag_s, falls(deflation, pulses.time_s)
        _, marks = _marked(find_onsets(bands), beats_s, fall_mmhg, pulses.error_s)
        torn = _torn(bands, beats_s, fall_mmhg, pulses.error_s, marks)
        lag = lags.LagFound(seconds=lag_s, error_s=lags.GIVEN_ERROR_S, clear=not torn)
        beats = keep_in_step(bands, pulses, lag_s).pulses
    chart, paths = _look(deflation, beats, bands, lag.seconds)
    path_s = chart.delay_s[paths.best()]
    clock = _Clock(
        reference_s=beats.time_s - lag.seconds,
        real=beats.real,
        error_s=beats.error_s,
        marks=None,
    )
    return _guess(record, deflation, clock, chart, path_s, lag)


def _look(
    deflation: Deflation, beats: Pulses, bands: Bands, lag_s: float
) -> tuple[DelayMap, Paths]:
    """The map of delays that sounds can have at a lag, and the paths through it."""
    fall_mmhg = falls(deflation, beats.time_s)
    span_s = (lags.EARLIEST_S, lags.LATEST_S)
    chart = delay_map(bands, beats.time_s - lag_s, fall_mmhg, span_s, "pulses")
    return chart, follow(chart.gains(), STEP_S, fall_mmhg, beats.error_s)


def _find_lag(deflation: Deflation, pulses: Pulses, bands: Bands) -> tuple[lags.LagFound, Pulses]:
    """The lag, and the beats at that lag; no lag is clear where the clocks are apart."""
    lag, apart = _lag_of(deflation, pulses, bands)
    if apart:
        lag = replace(lag, clear=False)
    plain = keep_in_step(bands, pulses, 0.0)
    if lag.seconds == 0.0:
        return lag, plain.pulses
    moved = keep_in_step(bands, pulses, lag.seconds)
    # What every beat brings keeps step with the log's pulses at the true lag only; at others it
    # bends with the rhythm, and a bend passes for the track of sounds.
    if plain.kept and plain.fits_better(moved, LAG_TIMES):
        return replace(lags.NO_LAG, clear=not apart), plain.pulses
    return lag, moved.pulses


def _lag_of(deflation: Deflation, beats: Pulses, bands: Bands) -> tuple[lags.LagFound, bool]:
    """The lag by a map of all delays that one can cause, and whether no one lag can be right.

    That is so where the clocks are apart, or the sound is torn.  The costly map is read only where
    it is needed.
    """
    beats_s, error_s = beats.time_s, beats.error_s
    fall_mmhg = falls(deflation, beats_s)
    onsets = find_onsets(bands)
    cheap, marks = _marked(onsets, beats_s, fall_mmhg, error_s)
    apart = clocks_apart(onsets, beats_s, fall_mmhg, error_s, cheap, marks)
    apart = apart or _torn(bands, beats_s, fall_mmhg, error_s, marks)
    if lags.needs_no_lag(cheap, marks, bands, deflation):
        return lags.NO_LAG, apart
    wide = delay_map(bands, beats_s, fall_mmhg, ANY_LAG_S, "pulses")
    everywhere, plain = (
        follow(one.gains(), STEP_S, fall_mmhg, error_s)
        for one in (wide, wide.between(lags.EARLIEST_S, lags.LATEST_S))
    )
    return lags.find_lag(wide, everywhere, plain, bands, deflation), apart


def _marked(
    onsets: Onsets, beats_s: FloatArray, fall_mmhg: FloatArray, error_s: float
) -> tuple[DelayMap, Paths]:
    """The marks at all delays that a lag can cause, and paths through them."""
    chart = plain_map(onsets, beats_s, ANY_LAG_S)
    return chart, follow(chart.gains(), STEP_S, fall_mmhg, error_s)


def _torn(
    bands: Bands,
    beats_s: FloatArray,
    fall_mmhg: FloatArray,
    error_s: float,
    marks: Paths,
) -> bool:
    """Whether sound is missing between the beats: by the marks, or by the costly map if unsure."""
    nats = torn_nats(marks, beats_s, fall_mmhg, error_s)
    if not MAYBE_TORN_NATS <= nats <= TORN_NATS:
        return nats > TORN_NATS
    wide = delay_map(bands, beats_s, fall_mmhg, ANY_LAG_S, "pulses")
    seen = follow(wide.gains(), STEP_S, fall_mmhg, error_s)
    return torn_nats(seen, beats_s, fall_mmhg, error_s) > SEEN_TORN_NATS


def _scan_sounds(
    record: Record,
    deflation: Deflation,
    bands: Bands,
    lag_s: float | None,
) -> Guess | None:
    """First guess where only the sounds tell the beats."""
    error_s = lags.UNSEEN_ERROR_S if lag_s is None else lags.GIVEN_ERROR_S
    lag = lags.LagFound(seconds=lag_s or 0.0, error_s=error_s, clear=True, seen=lag_s is not None)
    first_s, last_s = deflation.start_s - lag.seconds, deflation.end_s - lag.seconds
    around = find_onsets(bands, "onsets_around")
    found = clock_from_sounds(around, first_s, last_s)
    if found is None:
        return None
    chart = chart_sounds(bands, deflation, found.time_s, lag.seconds)
    path_s = chart.delay_s[follow(chart.gains(), STEP_S, None).best()]
    clock = _Clock(
        reference_s=found.time_s,
        real=found.real,
        error_s=0.0,
        marks=Marks(around=around, chained_s=found.time_s[found.away == 0.0]),
    )
    return _guess(record, deflation, clock, chart, path_s, lag)


def chart_sounds(
    bands: Bands, deflation: Deflation, reference_s: FloatArray, lag_s: float
) -> DelayMap:
    """Map of delays around a clock made of sounds."""
    fall_mmhg = falls(deflation, reference_s + lag_s)
    return delay_map(bands, reference_s, fall_mmhg, SOUNDS_SPAN_S, "sounds")


def _guess(
    record: Record,
    deflation: Deflation,
    clock: _Clock,
    chart: DelayMap,
    path_s: FloatArray,
    lag: lags.LagFound,
) -> Guess | None:
    """Beats on the deflation, on the path through the map."""
    reference_s, error_s = clock.reference_s, clock.error_s
    odds, delay_s = chart.near(path_s, PATH_REACH_S + error_s)
    heard = special.expit(odds)
    onset_s = reference_s + np.where(heard > 0.5, delay_s, path_s)
    first_s, last_s = deflation.start_s - lag.seconds, deflation.end_s - lag.seconds
    inside = (onset_s >= max(first_s, record.start_s)) & (
        onset_s <= min(last_s, record.end_s) - 0.02
    )
    if inside.sum() < LEAST_BEATS:
        return None
    reference_s, onset_s, heard = reference_s[inside], onset_s[inside], heard[inside]
    expected = Expectation(
        reference_s=reference_s,
        delay_s=onset_s - reference_s,
        spread_s=np.full(reference_s.size, FIRST_SPREAD_S + error_s),
        slope_s_per_mmhg=0.0,
        error_s=error_s,
    )
    guess = Guess(
        expected=expected,
        real=clock.real[inside],
        onset_s=onset_s,
        heard=heard,
        chart=chart.rows(inside),
        lag=lag,
        marks=clock.marks,
    )
    if guess.anchored:
        cuff_mmhg = deflation.pressure_mmhg(onset_s + lag.seconds)
        expected = follow_track(expected, expected.delay_s, cuff_mmhg, heard)
        guess = replace(guess, expected=expected)
    return guess


def scan(
    record: Record,
    deflation: Deflation,
    pulses: Pulses,
    bands: Bands,
    lag_s: float | None,
) -> Guess | None:
    """Guess where each beat may sound.

    Parameters
    ----------
    record, deflation, pulses
        The measurement, its fall, its beats on the log.
    bands
        Levels over audio time.
    lag_s
        Given lag in seconds, or ``None`` to estimate it.

    Returns
    -------
    Guess or None
        ``None`` where no beats can be expected.
    """
    # Sounds that do not keep step with pulses that are seen are no Korotkoff sounds: a
    # clock made of them would find them wherever they come from.
    if pulses.usable:
        return _scan_pulses(record, deflation, pulses, bands, lag_s)
    return _scan_sounds(record, deflation, bands, lag_s)
