"""From a record to what was heard at each beat: listen, learn, listen again.

The first round finds the loud beats and learns their waveform, noise and
delay; the later ones listen with them.  Where the sounds make the clock, one
more round listens closer, to either side of each beat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tapfall.ear import lag as lags
from tapfall.ear.bands import Bands, band_levels
from tapfall.ear.closer import listen_closer
from tapfall.ear.cuff import Deflation
from tapfall.ear.delaymap import always_there, plain_map
from tapfall.ear.evidence import (
    CHART_OFFSETS_S,
    Charted,
    Evidence,
    Expectation,
    Learned,
    learn_noise,
    split_energy,
    weigh_beats,
)
from tapfall.ear.onsets import contrast
from tapfall.ear.phases import Story, decode
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.scan import SOUNDS_SPAN_S, Guess, chart_sounds, falls, scan
from tapfall.ear.starting import LEAST_HEARD, MOST_SOUNDS, weigh_start
from tapfall.ear.steady import steady_sound
from tapfall.ear.template import FOLDS, LEAD_S, RANK, Template, cut, learn_template
from tapfall.ear.track import follow_track, let_beats_move, steady_clock
from tapfall.ear.whiten import WINDOW_S, White, whiten
from tapfall.model import FloatArray

#: What weighs the beats: whole deflations, their starts, or a closer listening.
Kind = Literal["whole", "start", "closer"]
#: Rounds of decoding and learning, before a closer listening where the sounds are the clock.
ROUNDS = 2
#: Sound around the deflation that is listened to as well.
MARGIN_S = 0.4
#: Least reach around the track in which the map is asked.
CHART_REACH_S = 0.016
#: Beats less likely than this to sound are silent, and tell what every beat brings.
SILENT_BELOW, LEAST_SILENT = 0.15, 4
#: Beats that are the last ones: a first sound and the one that may follow it (our choice).
LAST_BEATS = 3
#: Marks nearer than this to a beat that is heard are the same sound (two beats are further apart).
MARKS_APART_S = 0.2
#: Subspace energy of the loudest sounds is at least this many times white noise.
LEAST_LOUD = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listening:
    """What one listening found, beat by beat; arrays have shape ``(n,)``.

    ``onset_s`` is audio time of the (possible) sound, ``cuff_mmhg`` the trend
    there, ``real`` how likely there was a beat, ``moved_s`` how much later than on the
    track it was looked for; ``contrast_nats`` how much the sounds stand out where only they
    make the clock; ``before`` is what a closer listening began from.  ``anchored`` tells
    whether the log's pulses make the clock, ``nothing`` is what is told instead where these
    prove to be no Korotkoff sounds.
    """

    expected: Expectation
    real: FloatArray
    moved_s: FloatArray
    onset_s: FloatArray
    cuff_mmhg: FloatArray
    evidence: Evidence
    story: Story
    template: Template
    white: White
    lag: lags.LagFound
    anchored: bool
    nothing: Nothing
    contrast_nats: float | None = None
    before: Listening | None = None

    @property
    def stirring(self) -> bool:
        """Whether one of the last beats sounds."""
        return _any_of_last(self.story.heard)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nothing:
    """Nothing was heard in ``bands`` between the audio times of ``span_s``.

    ``few_beats`` tells whether the log shows fewer of them there than can be judged,
    ``stirring`` whether one of the last beats may sound all the same.
    """

    bands: Bands | None
    span_s: tuple[float, float]
    few_beats: bool = False
    stirring: bool = False

    @property
    def unchanged(self) -> bool:
        """Whether something was, but with every beat whatever the cuff did."""
        return self.bands is not None and steady_sound(self.bands, *self.span_s)


def _any_of_last(heard: FloatArray) -> bool:
    """Whether one of the last beats is more likely to sound than not."""
    return bool((heard[-LAST_BEATS:] > 0.5).any())


def listen(
    record: Record,
    deflation: Deflation,
    pulses: Pulses,
    lag_s: float | None,
    *,
    under_way: bool = False,
) -> Listening | Nothing:
    """Listen to one deflation.

    Parameters
    ----------
    record
        Sound and log of the measurement.
    deflation, pulses
        What the log showed, log time.
    lag_s
        Given lag in seconds, or ``None`` to estimate it.
    under_way
        Whether the deflation goes on: then its first sounds are weighed as a start.

    Returns
    -------
    Listening or Nothing
        ``Nothing`` where no beats can be expected or none of them sounds.
    """
    search_s = lags.LARGEST_LAG_S + 0.6 if lag_s is None and pulses.usable else 0.0
    given_s = lag_s or 0.0
    sound, start_s = record.between(
        deflation.start_s - given_s - search_s - MARGIN_S,
        deflation.end_s - given_s + search_s + MARGIN_S,
    )
    bands = band_levels(sound, record.rate_hz, start_s)
    inner_s = (deflation.start_s - given_s + 0.5, deflation.end_s - given_s - 0.5)
    nothing = Nothing(bands=bands, span_s=inner_s)
    if bands is None:
        return nothing
    guess = scan(record, deflation, pulses, bands, lag_s)
    if guess is None:
        return replace(nothing, few_beats=pulses.usable)
    nothing = replace(nothing, stirring=_any_of_last(guess.heard))
    white = _white(record, deflation, guess.lag.seconds, guess.onset_s, guess.heard)
    if white is None:
        return nothing
    found: Listening | None = None
    for _ in range(ROUNDS):
        template = _teach(white, guess)
        if template is None and found is None and under_way:
            template = _teach(white, guess, LEAST_HEARD)
        if template is None:
            return found or nothing
        kind: Kind = "start" if under_way and _starts(guess) else "whole"
        found = _hear(deflation, white, template, guess, found, nothing, kind)
        guess = _relearn(found, guess, bands, deflation)
    if found is None or guess.marks is None:
        return found or nothing
    sounds = found.story.heard > 0.5
    found = replace(found, contrast_nats=contrast(guess.marks.around, found.onset_s, sounds))
    template = _teach(white, guess)
    if template is None:
        return found
    closer = _hear(deflation, white, template, guess, found, nothing, "closer")
    return replace(closer, contrast_nats=found.contrast_nats, before=found)


def _starts(guess: Guess) -> bool:
    """Whether the sounds have only begun, and go on."""
    few = (guess.heard > 0.5).sum() <= MOST_SOUNDS
    return bool(guess.anchored and few and _any_of_last(guess.heard))


def _teach(white: White, guess: Guess, least: float = 0.5) -> Template | None:
    """The waveforms of the beats that are likely to sound, ``None`` where too few are."""
    weight = guess.heard * (guess.heard > least) * _loudness(white, guess.onset_s)
    return learn_template(white, guess.onset_s, weight)


def _white(
    record: Record,
    deflation: Deflation,
    lag_s: float,
    onset_s: FloatArray,
    heard: FloatArray,
) -> White | None:
    """Whiten the deflation by the noise between the beats."""
    first_s, last_s = deflation.start_s - lag_s, deflation.end_s - lag_s
    sound, start_s = record.between(first_s - MARGIN_S, last_s + MARGIN_S)
    onset_s = np.sort(onset_s)
    edges = np.stack([onset_s[:-1] + WINDOW_S + 0.02, onset_s[1:] - 0.03], axis=1)
    edges = edges[edges[:, 1] > edges[:, 0]]
    loud_s = onset_s[heard > 0.5] - LEAD_S
    return whiten(sound, record.rate_hz, start_s, (first_s + 0.2, last_s - 0.2), edges, loud_s)


def _loudness(white: White, onset_s: FloatArray) -> FloatArray:
    """Weight of a beat as a teacher by its energy, capped at its loud quarter."""
    energy = white.energy
    index = np.clip(white.index(onset_s - LEAD_S), 0, energy.size - 1)
    level = np.log(energy[index] + 0.3)
    level = np.maximum(level - np.median(level), 0.0) + 0.1
    return np.asarray(np.minimum(level, float(np.quantile(level, 0.85))))


def _hear(
    deflation: Deflation,
    white: White,
    template: Template,
    guess: Guess,
    before: Listening | None,
    nothing: Nothing,
    kind: Kind,
) -> Listening:
    """One round: noise, levels, evidence of each beat, decoding."""
    expected, lag = guess.expected, guess.lag
    moved_s = np.zeros(expected.reference_s.size)
    if guess.anchored or kind == "closer":
        expected, moved_s = let_beats_move(expected, guess.chart, guess.seen)
    span_s = (
        max(deflation.start_s - lag.seconds, white.start_s),
        min(deflation.end_s - lag.seconds, white.start_s + white.samples.size / white.rate_hz),
    )
    noise = learn_noise(white, expected.reference_s + expected.delay_s - LEAD_S, span_s)
    learned = Learned(white=white, noise=noise, template=template)
    taught = cut(white, template.onset_s - LEAD_S, white.window)
    basis = template.basis[template.fold[template.teachers]]
    own = np.sum(np.einsum("nw,nrw->nr", taught, basis) ** 2, axis=1)
    loud_power = max(float(np.quantile(own, 0.8)), LEAST_LOUD * RANK)
    fixed = _every_beat(learned, before, expected)
    near, elsewhere = guess.chart.near_and_elsewhere(
        expected.delay_s, np.maximum(2 * expected.spread_s, CHART_REACH_S)
    )
    along = guess.chart.along(expected.delay_s, CHART_OFFSETS_S)
    charted = Charted(near=near, elsewhere=elsewhere, along=along)
    fall_mmhg = falls(deflation, expected.reference_s + lag.seconds)
    evidence = weigh_beats(learned, expected, loud_power, fixed, charted, fall_mmhg, moved_s)
    if kind == "start":
        evidence = weigh_start(evidence)
    elif kind == "closer" and guess.marks is not None:
        marked = plain_map(guess.marks.around, expected.reference_s, SOUNDS_SPAN_S)
        evidence = listen_closer(evidence, learned, expected, (guess.chart, marked))
    story = decode(evidence.log_odds)
    delay_s = np.where(story.heard > 0.3, evidence.delay_s, expected.delay_s)
    onset_s = expected.reference_s + delay_s
    return Listening(
        expected=guess.expected,
        real=guess.real,
        moved_s=moved_s,
        onset_s=onset_s,
        cuff_mmhg=deflation.pressure_mmhg(onset_s + lag.seconds),
        evidence=evidence,
        story=story,
        template=template,
        white=white,
        lag=lag,
        anchored=guess.anchored,
        nothing=nothing,
    )


def _every_beat(
    learned: Learned, before: Listening | None, expected: Expectation
) -> tuple[FloatArray, FloatArray]:
    """Energy that comes with every beat (heart sounds), at each delay searched.

    Per value, inside and outside the template's subspace, over the noise floor.
    """
    white = learned.white
    delays, _ = expected.delays()
    axis = np.arange(float(delays.min()), float(delays.max()) + 0.008, 0.008)
    windows = cut(white, expected.reference_s[:, None] + axis[None, :] - LEAD_S, white.window)
    own, rest = split_energy(windows, learned.template.basis[FOLDS])
    silent = np.zeros(0, bool)
    if before is not None and before.onset_s.size == delays.shape[0]:
        silent = before.story.heard < SILENT_BELOW
    enough = silent.sum() >= LEAST_SILENT
    steady = float(np.median(learned.noise.floor))
    profiles = []
    for level in (own / RANK, rest / max(white.dof - RANK, 4.0)):
        profile = np.median(level[silent], axis=0) if enough else always_there(level)
        profiles.append(np.interp(delays, axis, np.maximum(profile - steady, 0.0)))
    return profiles[0], profiles[1]


def _with_marked(
    onset_s: FloatArray, heard: FloatArray, marked_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Beats and how likely they sound, with the sounds among them that were marked, in order."""
    sure_s = onset_s[heard > 0.5]
    apart_s = np.abs(marked_s[:, None] - sure_s[None, :]).min(axis=1, initial=np.inf)
    new_s = marked_s[apart_s > MARKS_APART_S]
    every_s = np.concatenate([onset_s, new_s])
    order = np.argsort(every_s, kind="stable")
    return every_s[order], np.concatenate([heard, np.ones(new_s.size)])[order]


def _relearn(found: Listening, guess: Guess, bands: Bands, deflation: Deflation) -> Guess:
    """What the next round expects."""
    heard = found.story.heard
    evidence, before = found.evidence, found.expected
    onset_s = before.reference_s + evidence.delay_s
    if found.anchored:
        on_track = np.where(found.moved_s != 0, 0.0, heard)
        expected = follow_track(before, evidence.delay_s, found.cuff_mmhg, on_track)
        chart, real = guess.chart, guess.real
    else:
        if guess.marks is not None:
            onset_s, heard = _with_marked(onset_s, heard, guess.marks.clear_s())
        expected, real = steady_clock(onset_s, heard, before)
        nearest = np.abs(expected.reference_s[:, None] - onset_s[None, :])
        old = nearest.argmin(axis=1)
        same = nearest[np.arange(old.size), old] < 0.03
        heard = np.where(same, heard[old], 0.0)
        onset_s = np.where(same, onset_s[old], expected.reference_s)
        chart = chart_sounds(bands, deflation, expected.reference_s, found.lag.seconds)
    return Guess(
        expected=expected,
        real=real,
        onset_s=onset_s,
        heard=heard,
        chart=chart,
        lag=found.lag,
        marks=guess.marks,
    )
