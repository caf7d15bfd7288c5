"""From provisional readings of one measurement to what can be told already.

Every provisional reading is the full judgement of the sound and log so far, so what is
told live is what the final reading will say, as far as it can be known.  The state is
plain numbers; each reading returns the next state and the new events.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tapfall.ear.hand import Hand, Move
from tapfall.ear.late import diastolic_promise, late_measures
from tapfall.ear.reader import Judged
from tapfall.ear.rules import GAP_BEATS, GAP_MMHG
from tapfall.ear.swing import Swing, swing_of
from tapfall.ear.verdict import TOLERANCE_MMHG
from tapfall.events import Event, EventKind
from tapfall.model import Beat, Reading, State, Threshold

#: Confidence from which a value is told as likely.
LIKELY = 0.5
#: Probability that a value holds from which it is settled: with weights fitted on a part of the
#: calibration recordings, these broke a promise of systolic in 6, of diastolic in 2 in 1,000 of the
#: others.  Of 648 further ones of 27 kinds five promises of systolic broke at 0.99 and at 0.9925,
#: ten at 0.98, two at 0.997.
SETTLE = {"systolic": 0.9925, "diastolic": 0.9925}
#: A beat told before is not told again (the shortest interval between beats).
SAME_BEAT_S = 0.3
#: Silence that settles the diastolic (the project's definition), and the pressure from
#: which no gap is expected where the log shows no pulse.
SETTLING_BEATS, SETTLING_MMHG, BELOW_GAPS_MMHG = 5, 10.0, 40.0
#: Listening on for 10 to 20 mmHg below the last sound is taught (``standards.LISTEN_ON``): the far
#: end of that.
FAR_MMHG = 20.0
#: Sounds that make a start from the top certain.
FROM_TOP_SOUNDS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Announced:
    """What has been told of one measurement; ``None`` where nothing was yet."""

    last_sound_s: float | None = None
    systolic_likely_mmhg: float | None = None
    systolic_settled_mmhg: float | None = None
    pause_upper_mmhg: float | None = None
    lowest_pause_mmhg: float | None = None
    muffled: bool = False
    diastolic_likely_mmhg: float | None = None
    diastolic_before_mmhg: float | None = None
    diastolic_settled_mmhg: float | None = None
    far_enough: bool = False
    from_top: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """What one look found, ready to be told from; ``promise`` is that of its systolic."""

    reading: Reading
    promise: float
    sounds: tuple[Beat, ...]
    silent: tuple[Beat, ...]
    swing: Swing | None
    hand: Hand
    at_s: float

    @property
    def past(self) -> bool | None:
        """Whether the cuff's pulse is past its maximum, ``None`` where that is unknown."""
        return None if self.swing is None else self.swing.past

    def event(
        self,
        kind: EventKind,
        time_s: float | None,
        cuff_mmhg: float | None,
        probability: float | None,
        value: Threshold | None = None,
    ) -> Event:
        """An event told now; what is not known is of now."""
        return Event(
            kind=kind,
            time_s=round(self.at_s if time_s is None else time_s, 3),
            told_s=round(self.at_s, 3),
            cuff_mmhg=round(self.hand.level_mmhg if cuff_mmhg is None else cuff_mmhg, 2),
            probability=probability or 0.0,
            mmhg=value.mmhg if value else None,
            low_mmhg=value.low_mmhg if value else None,
            high_mmhg=value.high_mmhg if value else None,
        )

    def of(self, kind: EventKind, value: Threshold, sure: float | None = None) -> Event:
        """The event of a threshold, at its own confidence or another probability."""
        probability = value.confidence if sure is None else sure
        return self.event(kind, value.time_s, value.mmhg, probability, value)


def hear(
    told: Announced, judged: Judged, hand: Hand, at_s: float
) -> tuple[Announced, tuple[Event, ...]]:
    """Tell what a provisional reading adds to what was told.

    Parameters
    ----------
    told
        What has been told of this measurement.
    judged
        The judgement of sound and log up to now.
    hand
        What the log says about the hand.
    at_s
        Audio time of now.

    Returns
    -------
    Announced
        The next state.
    tuple of Event
        The new events, each after those that it builds on.
    """
    beats = judged.reading.beats
    sounding = [i for i, beat in enumerate(beats) if beat.heard >= 0.5]
    if not sounding:
        return told, ()
    look = _Look(
        reading=judged.reading,
        promise=judged.promise,
        sounds=tuple(beats[i] for i in sounding),
        silent=beats[sounding[-1] + 1 :],
        swing=swing_of(judged.pulses),
        hand=hand,
        at_s=at_s,
    )
    events: list[Event] = []
    for step in (_sounds, _systolic, _pause, _muffling, _diastolic, _far_enough):
        told, more = step(told, look)
        events += more
    return told, tuple(events)


_Told = tuple[Announced, list[Event]]


def _sounds(told: Announced, look: _Look) -> _Told:
    """Beats that sounded since the last one told."""
    last_s = told.last_sound_s
    events: list[Event] = []
    for beat in look.sounds:
        if last_s is None or beat.time_s > last_s + SAME_BEAT_S:
            last_s = beat.time_s
            event = look.event(EventKind.SOUND_HEARD, beat.time_s, beat.cuff_mmhg, beat.heard)
            events.append(event)
    return replace(told, last_sound_s=last_s), events


def _systolic(told: Announced, look: _Look) -> _Told:
    systolic = look.reading.systolic
    events: list[Event] = []
    if systolic.state is State.NOT_REACHED and not told.from_top:
        if len(look.sounds) >= FROM_TOP_SOUNDS:
            first = look.sounds[0]
            sure = min(beat.heard for beat in look.sounds[:FROM_TOP_SOUNDS])
            events.append(look.event(EventKind.START_AGAIN, first.time_s, first.cuff_mmhg, sure))
            told = replace(told, from_top=True)
        return told, events
    sure = systolic.confidence or 0.0
    if told.systolic_likely_mmhg is None and sure >= LIKELY:
        events.append(look.of(EventKind.SYSTOLIC_LIKELY, systolic))
        told = replace(told, systolic_likely_mmhg=systolic.mmhg)
    holds = look.promise >= SETTLE["systolic"] and sure >= LIKELY
    if told.systolic_settled_mmhg is None and holds and not look.hand.again:
        events.append(look.of(EventKind.SYSTOLIC_SETTLED, systolic, look.promise))
        told = replace(told, systolic_settled_mmhg=systolic.mmhg)
    return told, events


def _pause(told: Announced, look: _Look) -> _Told:
    """Silences that may be a gap, and their ends."""
    last = look.sounds[-1]
    events: list[Event] = []
    upper = told.pause_upper_mmhg
    if upper is not None:
        below = [beat for beat in look.sounds if beat.cuff_mmhg < upper - GAP_MMHG]
        if len(below) >= GAP_BEATS:
            first = below[0]
            events.append(
                look.event(EventKind.GAP_ENDED, first.time_s, first.cuff_mmhg, last.heard)
            )
            told = replace(
                told,
                pause_upper_mmhg=None,
                lowest_pause_mmhg=first.cuff_mmhg,
                diastolic_likely_mmhg=None,
            )
    for gap in look.reading.gaps:
        if told.lowest_pause_mmhg is None or gap.lower_mmhg < told.lowest_pause_mmhg - GAP_MMHG:
            # Over before it was suspected.
            for kind, edge in (
                (EventKind.GAP_SUSPECTED, gap.upper_mmhg),
                (EventKind.GAP_ENDED, gap.lower_mmhg),
            ):
                events.append(look.event(kind, _time_at(look, edge), edge, gap.confidence))
            told = replace(told, lowest_pause_mmhg=gap.lower_mmhg, pause_upper_mmhg=None)
    silent_mmhg = last.cuff_mmhg - look.silent[-1].cuff_mmhg if look.silent else 0.0
    if (
        told.pause_upper_mmhg is None
        and look.past is False
        and len(look.silent) >= GAP_BEATS
        and silent_mmhg >= GAP_MMHG
    ):
        quiet = 1.0 - max(beat.heard for beat in look.silent[:GAP_BEATS])
        events.append(look.event(EventKind.GAP_SUSPECTED, last.time_s, last.cuff_mmhg, quiet))
        told = replace(told, pause_upper_mmhg=last.cuff_mmhg)
    return told, events


def _time_at(look: _Look, cuff_mmhg: float) -> float:
    """Time of the beat nearest to a pressure."""
    nearest = min(look.reading.beats, key=lambda beat: abs(beat.cuff_mmhg - cuff_mmhg))
    return nearest.time_s


def _muffling(told: Announced, look: _Look) -> _Told:
    muffling = look.reading.muffling
    if told.muffled or (muffling.confidence or 0.0) < LIKELY:
        return told, []
    return replace(told, muffled=True), [look.of(EventKind.MUFFLING, muffling)]


def _diastolic(told: Announced, look: _Look) -> _Told:
    diastolic = look.reading.diastolic
    events: list[Event] = []
    sure = diastolic.confidence or 0.0
    before_mmhg = told.diastolic_before_mmhg
    told = replace(told, diastolic_before_mmhg=diastolic.mmhg)
    if sure < LIKELY or look.past is False:
        return told, events
    if told.diastolic_likely_mmhg is None:
        events.append(look.of(EventKind.DIASTOLIC_LIKELY, diastolic))
        told = replace(told, diastolic_likely_mmhg=diastolic.mmhg)
    if told.diastolic_settled_mmhg is None and _silent_enough(look) and not look.hand.again:
        holds = diastolic_promise(
            late_measures(
                diastolic,
                look.reading,
                look.swing,
                level_mmhg=look.hand.level_mmhg,
                before_mmhg=before_mmhg,
            )
        )
        if holds >= SETTLE["diastolic"]:
            events.append(look.of(EventKind.DIASTOLIC_SETTLED, diastolic, holds))
            told = replace(told, diastolic_settled_mmhg=diastolic.mmhg)
    return told, events


def _silent_enough(look: _Look) -> bool:
    """Whether the silence is long and deep enough to be no gap (the project's definition)."""
    level_mmhg = look.hand.level_mmhg
    if look.past is None:
        return look.hand.move is Move.RELEASED or level_mmhg < BELOW_GAPS_MMHG
    deep = look.sounds[-1].cuff_mmhg - level_mmhg >= SETTLING_MMHG
    return look.past and len(look.silent) >= SETTLING_BEATS and deep


def _far_enough(told: Announced, look: _Look) -> _Told:
    settled = told.diastolic_settled_mmhg
    if told.far_enough or settled is None or look.hand.level_mmhg > settled - FAR_MMHG:
        return told, []
    event = look.event(EventKind.LISTENED_FAR_ENOUGH, None, None, look.reading.diastolic.confidence)
    return replace(told, far_enough=True), [event]


def kept(settled_mmhg: float, final: Threshold) -> bool:
    """Whether a final value lies within 4 mmHg of a settled one, or its bound allows that."""
    if final.mmhg is not None:
        return abs(final.mmhg - settled_mmhg) <= TOLERANCE_MMHG
    if final.low_mmhg is not None:
        return settled_mmhg >= final.low_mmhg - TOLERANCE_MMHG
    return final.high_mmhg is not None and settled_mmhg <= final.high_mmhg + TOLERANCE_MMHG


def close(
    told: Announced, reading: Reading, hand: Hand, at_s: float
) -> tuple[bool, tuple[Event, ...]]:
    """Tell which promises the final reading does not keep, and that it is there.

    Parameters
    ----------
    told
        What was told of this measurement.
    reading
        Its final reading.
    hand
        What the log says about the hand.
    at_s
        Audio time of now.

    Returns
    -------
    bool
        Whether a promise was broken.
    tuple of Event
        ``revised`` for each broken promise, then ``done``.
    """
    look = _Look(
        reading=reading, promise=0.0, sounds=(), silent=(), swing=None, hand=hand, at_s=at_s
    )
    broken = [
        look.of(EventKind.REVISED, final)
        for settled, final in (
            (told.systolic_settled_mmhg, reading.systolic),
            (told.diastolic_settled_mmhg, reading.diastolic),
        )
        if settled is not None and not kept(settled, final)
    ]
    sure = min(reading.systolic.confidence or 0.0, reading.diastolic.confidence or 0.0)
    return bool(broken), (*broken, look.event(EventKind.DONE, None, None, sure))
