"""One measurement under way, as the listener follows it: hand, events told, next judgement.

Everything happens at looks, steps of time that both streams have reached, and depends on
times alone: however the streams are cut, the same is told at the same look.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tapfall.ear.announcer import FAR_MMHG, Announced, close, hear
from tapfall.ear.hand import LOOK_S, Hand, Move, watch
from tapfall.ear.reader import Judged
from tapfall.ear.record import Record
from tapfall.ear.taps import TAPS_ARE_SOUNDS, tapping
from tapfall.events import Event, EventKind
from tapfall.model import Reading
from tapfall.standards import HIGHEST_CUFF, INFLATE_ABOVE

#: Time between provisional judgements: while the first sounds are waited for or the last ones may
#: have come, and otherwise: between them, and once the diastolic is settled or, on a log without a
#: pulse, settles only at the release.  A beat lasts 0.33-1.9 s, so the first is at most two beats
#: (our choice, for the processor).
SOON_S, LATER_S = 0.75, 1.5
#: While the first sounds come and no systolic is settled every look is judged, so often in one
#: measurement (our choice: some five seconds, for the processor).
QUICK_JUDGEMENTS = 20
#: So long after a sound every look is still judged: a beat, in which a faint one may be missed.
STIRS_FOR_S = 1.0
#: Sound of the hold that is listened to: three taps of a quick heart, and of a slow one.
HOLD_HEARD_S, HOLD_LONGEST_S = 2.0, 6.0
#: The cuff goes so far above the systolic at least, and never beyond this.
MARGIN_MMHG, HIGHEST_TOP_MMHG = INFLATE_ABOVE.value, HIGHEST_CUFF.value
#: After the release one more judgement, when its sound is in.
RELEASE_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """What is known of a measurement under way; log time.

    ``told`` is what was told of it, ``due_s`` when it is judged next, ``stirred_s`` when one of
    the last beats last seemed to sound, ``quick`` how many judgements may still follow each
    other at every look.  ``further`` says that this hold was
    told to be too low, ``released`` that the release was judged.
    """

    hand: Hand
    told: Announced = field(default_factory=Announced)
    due_s: float = 0.0
    stirred_s: float | None = None
    quick: int = QUICK_JUDGEMENTS
    further: bool = False
    released: bool = False


def look(
    live: Live, at_s: float, level_mmhg: float, earlier_mmhg: float | None
) -> tuple[Live, tuple[Event, ...]]:
    """Take in the pressure of one more look.

    Parameters
    ----------
    live
        The state so far.
    at_s
        Log time.
    level_mmhg
        Mean pressure of the rows of this look, or the last one known.
    earlier_mmhg
        Systolic of the measurement before, ``None`` without one.

    Returns
    -------
    Live
        The next state.
    tuple of Event
        What the log shows, in log time.
    """
    hand, events = watch(live.hand, at_s, level_mmhg)
    live = replace(live, hand=hand)
    wanted = None if earlier_mmhg is None else earlier_mmhg + MARGIN_MMHG
    if hand.move is not Move.HOLDING:
        live = replace(live, further=live.further and hand.move is not Move.INFLATING)
    elif wanted is not None and hand.top_mmhg < min(wanted, HIGHEST_TOP_MMHG) and not live.further:
        live = replace(live, further=True)
        events = (*events, _further(live, at_s, 1.0))
    return live, events


def in_audio_time(event: Event, shift_s: float) -> Event:
    """An event of the log's clock on the sound's."""
    return replace(
        event,
        time_s=round(event.time_s - shift_s, 3),
        told_s=round(event.told_s - shift_s, 3),
        cuff_mmhg=round(event.cuff_mmhg, 2),
    )


def seen(
    kind: EventKind, time_s: float, at_s: float, cuff_mmhg: float, probability: float = 1.0
) -> Event:
    """An event that the log shows, in its own time."""
    return Event(
        kind=kind, time_s=time_s, told_s=at_s, cuff_mmhg=cuff_mmhg, probability=probability
    )


def _further(live: Live, at_s: float, probability: float) -> Event:
    return seen(EventKind.INFLATE_FURTHER, at_s, at_s, live.hand.level_mmhg, probability)


def hold_is_due(live: Live, at_s: float) -> bool:
    """Whether the sound of the hold is to be heard at this look."""
    hand = live.hand
    return (
        hand.move is Move.HOLDING
        and not live.further
        and at_s - hand.since_s >= HOLD_HEARD_S
        and hand.top_mmhg < HIGHEST_TOP_MMHG
    )


def hear_hold(live: Live, record: Record, at_s: float) -> tuple[Live, tuple[Event, ...]]:
    """Tell to inflate further where taps are heard while the cuff is held."""
    held_s = min(at_s - live.hand.since_s, HOLD_LONGEST_S)
    sound, _ = record.between(record.end_s - held_s, record.end_s)
    if not tapping(sound, record.rate_hz):
        return live, ()
    live = replace(live, further=True)
    return live, (_further(live, at_s, TAPS_ARE_SOUNDS),)


def judgement_is_due(live: Live, at_s: float) -> bool:
    """Whether the measurement is to be judged at this look."""
    hand = live.hand
    if hand.move is Move.RELEASED:
        return not live.released and live.due_s > 0 and at_s - hand.since_s >= RELEASE_S
    if hand.move is not Move.FALLING or live.told.far_enough:
        return False
    settled_mmhg = live.told.diastolic_settled_mmhg
    far = settled_mmhg is not None and hand.passed(settled_mmhg - FAR_MMHG)
    return far or at_s >= live.due_s


def hear_judged(
    live: Live, judged: Judged, at_s: float, shift_s: float
) -> tuple[Live, tuple[Event, ...]]:
    """Tell what a provisional judgement adds.

    Parameters
    ----------
    live
        The state so far.
    judged
        The judgement of what both streams hold up to now.
    at_s, shift_s
        Log time, and log time minus audio time.

    Returns
    -------
    Live
        The next state.
    tuple of Event
        New events, in audio time.
    """
    told, events = hear(live.told, judged, live.hand, at_s - shift_s)
    settled = told.systolic_settled_mmhg is not None
    stirred_s = at_s if judged.stirring else live.stirred_s
    stirs = stirred_s is not None and at_s - stirred_s < STIRS_FOR_S
    quick = stirs and not settled and live.quick > 0
    coming = not settled and live.quick > 0
    step_s = LOOK_S if quick else SOON_S if coming or _ending(told, judged) else LATER_S
    released = live.hand.move is Move.RELEASED
    due_s, left = at_s + step_s, live.quick - quick
    live = replace(live, told=told, due_s=due_s, stirred_s=stirred_s, quick=left)
    return replace(live, released=released), events


def _ending(told: Announced, judged: Judged) -> bool:
    """Whether the last beats are silent, and what is told of the diastolic may hang on the next."""
    beats = judged.reading.beats
    if not beats or min(beat.heard for beat in beats[-2:]) >= 0.5:
        return False
    if told.diastolic_likely_mmhg is None:
        return True
    shown = judged.pulses is not None and judged.pulses.usable
    return shown and told.diastolic_settled_mmhg is None


def end(
    live: Live, reading: Reading, at_s: float, shift_s: float
) -> tuple[bool, tuple[Event, ...]]:
    """Close a measurement: whether a promise was broken, and the last events."""
    return close(live.told, reading, live.hand, at_s - shift_s)
