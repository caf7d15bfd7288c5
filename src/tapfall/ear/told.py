"""The stories of a listening, put to the rules: what all that a reading tells is read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear import verdict
from tapfall.ear.bell import Bell, draw_bell
from tapfall.ear.clocks import PULSE_ERROR_S, SOUND_ERROR_S, apply_to_clocks, clocks
from tapfall.ear.confidence import AtBeats, OfWhole, confidence_measures
from tapfall.ear.cuff import Deflation
from tapfall.ear.ends import drawn_anew, end_measures, end_shares
from tapfall.ear.holes import Holes
from tapfall.ear.judge import Listening
from tapfall.ear.pulses import Pulses
from tapfall.ear.rhythm import IRREGULAR_VARIATION, unevenness
from tapfall.ear.rules import Ruled, without_far_sounds
from tapfall.model import FloatArray

#: Signal-to-noise ratio below which noise hides the weak first and last sounds, so that whoever
#: hears the loud ones reads too low and too high: a person has to listen (tuned: recordings
#: simulated at 0 dB come out at -1 to 3.1, 99 in 100 of those at 4 to 6 dB above).
HIDDEN_DB = 3.2
#: The same up to this ratio where the loud sounds stand out by no more than so much (tuned: one
#: recording of 400 at 0 dB came out at 3.6 dB and 2.2 nats, read wrong and sure; of 250 at 6 dB
#: 7 lie below both).
FAINT_DB, FAINT_NATS = 4.0, 2.5
#: Level of the loud sounds over the noise, once hum and steady noise are taken out, from which that
#: noise hides nothing (tuned: pink noise at 0 dB 3.1 nats at most, mains hum at 6 dB 7.3 at least).
STANDS_OUT_NATS = 4.0
#: Error of the trend that no log gets below (movement, wobble; tuned).
LEAST_TREND_ERROR_MMHG = 0.35
#: So near a hole in the sound no beat is judged as it should be: levels and noise around it are
#: half those of the hole (our choice).
AROUND_HOLE_S = 0.3
#: From so many sounds on, in a silent beat, that keep no step with the pulse any sound may be one
#: of them (tuned on development recordings: of 1,160 of 29 kinds nine have as many, of 30 with
#: fingers that tap at a pace of their own all, of 30 with another heart as loud 24).
MANY_STRAYS = 0.2


def _usual(beats: np.ndarray) -> int | None:
    """The median of the beats that stories name; -1 names none."""
    named = beats[beats >= 0]
    return int(np.median(named)) if named.size else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """The stories of a listening, put to the rules, on beats that some clock expects.

    ``uneven`` is the unevenness of the rhythm, ``None`` where too few intervals tell it;
    ``sounds_far`` how likely two beats in a row sound too far away to belong to them;
    ``strays`` how many sounds come in a silent beat that keep no step with the pulse;
    ``lost_s`` are stretches of audio time without sound; ``ear_moved`` tells whether the
    stethoscope seems to have been put on, or lifted, at the first sound and at the last.
    """

    beats: np.ndarray
    cuff_mmhg: FloatArray
    onset_s: FloatArray
    heard: FloatArray
    paths: np.ndarray
    ruled: Ruled
    error_mmhg: float
    uneven: float | None
    listening: Listening
    deflation: Deflation
    bell: Bell | None
    signal_to_noise_db: float | None = None
    clipped_share: float = 0.0
    sounds_above: float = 0.0
    sounds_far: float = 0.0
    strays: float = 0.0
    lost_s: Holes = ()
    ear_moved: tuple[bool, bool] = (False, False)

    @property
    def first_sound(self) -> int | None:
        """The usual first beat of the stories, ``None`` where none of them has one."""
        return _usual(self.ruled.first)

    @property
    def last_sound(self) -> int | None:
        """Their usual last beat."""
        return _usual(self.ruled.last)

    def pressure_of(self, beat: int | None) -> float:
        """Cuff pressure at a beat, 0 where there is none."""
        return 0.0 if beat is None else float(self.cuff_mmhg[beat])

    def pulse_at(self, cuff_mmhg: float) -> float:
        """Size of the cuff's pulse there over its largest, 1 where it is not seen."""
        return 1.0 if self.bell is None else float(self.bell.share_at(np.array([cuff_mmhg]))[0])

    def hidden(self, least_db: float, stands_out_nats: float = STANDS_OUT_NATS) -> bool:
        """Whether noise hides the weak sounds: the loud ones stand out by less than this."""
        ratio_db = self.signal_to_noise_db
        if ratio_db is None or ratio_db >= least_db:
            return False
        loud_nats = float(self.listening.evidence.measure("loud_over_floor")[0])
        return loud_nats < stands_out_nats

    @property
    def strayed(self) -> bool:
        """Whether so many sounds keep no step with the pulse that any may be one of them."""
        return self.strays >= MANY_STRAYS

    @property
    def may_be_hidden(self) -> bool:
        """Whether noise may hide them, so that a person has to listen."""
        return self.hidden(HIDDEN_DB) or self.hidden(FAINT_DB, FAINT_NATS)

    @property
    def alternating(self) -> bool:
        """Whether most stories begin or end with every second beat."""
        ruled = self.ruled
        return bool((ruled.alternating_first | ruled.alternating_last).mean() >= 0.5)

    @property
    def uneven_by_sounds(self) -> bool:
        """Whether an irregular rhythm is known by its sounds alone."""
        return not self.listening.anchored and (self.uneven or 0.0) > IRREGULAR_VARIATION

    def hole_at(self, index: int, beyond: int) -> tuple[float, float] | None:
        """Pressures at the edges of a hole in log or sound between two neighbouring beats."""
        lag_s = self.listening.lag.seconds
        first_s, last_s = sorted((self.onset_s[index] + lag_s, self.onset_s[beyond] + lag_s))
        near_s = (lag_s - AROUND_HOLE_S, lag_s + AROUND_HOLE_S)
        lost = [(begin_s + near_s[0], end_s + near_s[1]) for begin_s, end_s in self.lost_s]
        holes = [h for h in (*self.deflation.holes_s, *lost) if h[0] < last_s and h[1] > first_s]
        if not holes:
            return None
        edges_s = np.array([min(h[0] for h in holes), max(h[1] for h in holes)])
        within_s = np.clip(edges_s, self.deflation.start_s, self.deflation.end_s)
        high, low = self.deflation.pressure_mmhg(within_s).tolist()
        return low, high

    def measures(self, found: verdict.Edge, kind: str, present: float) -> FloatArray:
        """What the confidence in a threshold rests on."""
        listening, ruled = self.listening, self.ruled
        alternate = ruled.alternating_first if kind == "systolic" else ruled.alternating_last
        interval_s = np.diff(listening.expected.reference_s)
        evidence = listening.evidence
        beats = AtBeats(
            log_odds=evidence.log_odds[self.beats],
            heard=self.heard,
            level=evidence.measure("own_over_floor")[self.beats],
            cuff_mmhg=self.cuff_mmhg,
        )
        whole = OfWhole(
            present=present,
            likeness=listening.template.likeness,
            loud_over_floor=float(evidence.measure("loud_over_floor")[0]),
            anchored=listening.anchored,
            lag_moved=listening.lag.seconds != 0.0,
            signal_to_noise_db=self.signal_to_noise_db,
            interval_spread=float(np.std(np.log(np.maximum(interval_s, 0.05)))),
            uneven=self.uneven or 0.0,
            sounds_above=self.sounds_above,
        )
        inward = 1 if kind == "systolic" else -1
        return confidence_measures(
            found, beats, whole, inward=inward, alternating=float(alternate.mean())
        )


def tell(listening: Listening, deflation: Deflation, pulses: Pulses) -> Told:
    """Put every story to the rules, ectopic beats left out."""
    known = PULSE_ERROR_S if listening.anchored else SOUND_ERROR_S
    error_s = float(np.hypot(known, listening.expected.error_s))
    sounds = listening.story.heard >= 0.5
    real = np.where(sounds, 1.0, listening.real)
    if sounds.any():
        # Below the sounds an empty cuff shows no pulse, but silence that lasts is silence.
        real[np.flatnonzero(sounds)[-1] :] = 1.0
    expected = clocks(listening.expected.reference_s, error_s, real)
    keep = np.flatnonzero(expected.any(axis=0))
    cuff = listening.cuff_mmhg[keep]
    drawn, heard = listening.story.paths()[:, keep], listening.story.heard[keep]
    onset_s = listening.onset_s[keep]
    odds, real = listening.evidence.log_odds[keep], listening.real[keep]
    paths = without_far_sounds(drawn, cuff, odds)
    far = drawn & ~paths
    ruled = apply_to_clocks(paths, cuff, expected[:, keep])
    shares = end_shares(ruled, keep.size)
    bell = draw_bell(pulses, deflation)
    measures = end_measures(shares, odds, heard, cuff, onset_s, real, listening.anchored, bell)
    order = drawn_anew(ruled, shares, measures)
    rate = deflation.rate_mmhg_per_s
    error = float(
        np.hypot(
            max(LEAST_TREND_ERROR_MMHG, deflation.trend_error_mmhg),
            rate * 0.6 * listening.lag.doubt_s,
        )
    )
    return Told(
        beats=keep,
        cuff_mmhg=cuff,
        onset_s=onset_s,
        # What the new draws move, and nothing of the draws' own scatter.
        heard=np.clip(heard + paths[order].mean(axis=0) - drawn.mean(axis=0), 0.0, 1.0),
        paths=paths[order],
        ruled=ruled.some(order),
        error_mmhg=error,
        uneven=unevenness(listening),
        listening=listening,
        deflation=deflation,
        bell=bell,
        sounds_far=float((far[:, :-1] & far[:, 1:]).any(axis=1)[order].mean()),
    )
