"""What a listener tells while it listens: events, each with time, pressure and probability.

``time_s`` is when the thing happened, ``told_s`` what both streams had reached when it
was told; both are audio time.  A *settled* event is a promise: the final value lies
within 4 mmHg of it, or the reading is ``review`` and an event ``revised`` says so.
Nothing here is ever called safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class EventKind(StrEnum):
    """Everything that can be told; see :data:`EVENT_SENTENCES`."""

    INFLATION_STARTED = "inflation_started"
    INFLATE_FURTHER = "inflate_further"
    START_AGAIN = "start_again"
    DEFLATION_STARTED = "deflation_started"
    DEFLATION_TOO_FAST = "deflation_too_fast"
    DEFLATION_TOO_SLOW = "deflation_too_slow"
    DEFLATION_PAUSED = "deflation_paused"
    CUFF_HELD_TOO_LONG = "cuff_held_too_long"
    SOUND_HEARD = "sound_heard"
    SYSTOLIC_LIKELY = "systolic_likely"
    SYSTOLIC_SETTLED = "systolic_settled"
    GAP_SUSPECTED = "gap_suspected"
    GAP_ENDED = "gap_ended"
    MUFFLING = "muffling"
    DIASTOLIC_LIKELY = "diastolic_likely"
    DIASTOLIC_SETTLED = "diastolic_settled"
    LISTENED_FAR_ENOUGH = "listened_far_enough"
    SIGNAL_LOST = "signal_lost"
    REVISED = "revised"
    DONE = "done"


#: One plain sentence for each event.
EVENT_SENTENCES: dict[EventKind, str] = {
    EventKind.INFLATION_STARTED: "The cuff left rest.",
    EventKind.INFLATE_FURTHER: (
        "The cuff is held while taps are heard, or less than 20 mmHg above the systolic "
        "before: inflate further."
    ),
    EventKind.START_AGAIN: (
        "Sounds were there when the deflation began, or the cuff was inflated again midway: "
        "deflate fully, wait 60 s, start again."
    ),
    EventKind.DEFLATION_STARTED: "The cuff pressure falls.",
    EventKind.DEFLATION_TOO_FAST: "The cuff falls faster than 4 mmHg/s.",
    EventKind.DEFLATION_TOO_SLOW: "The cuff falls slower than 1.5 mmHg/s.",
    EventKind.DEFLATION_PAUSED: "The cuff pressure stands still.",
    EventKind.CUFF_HELD_TOO_LONG: "The cuff has pressed for more than 180 s: release it.",
    EventKind.SOUND_HEARD: "A beat sounded.",
    EventKind.SYSTOLIC_LIKELY: "The sounds have probably begun here.",
    EventKind.SYSTOLIC_SETTLED: "The systolic is settled.",
    EventKind.GAP_SUSPECTED: "The sounds paused, but the pulse does not say that this is the end.",
    EventKind.GAP_ENDED: "The sounds are back: that was a silent gap.",
    EventKind.MUFFLING: "The sounds became muffled.",
    EventKind.DIASTOLIC_LIKELY: "The sounds have probably ended here.",
    EventKind.DIASTOLIC_SETTLED: "The diastolic is settled.",
    EventKind.LISTENED_FAR_ENOUGH: "The cuff is 20 mmHg below the last sound.",
    EventKind.SIGNAL_LOST: "Sound or cuff log is missing.",
    EventKind.REVISED: "A settled value does not hold in the final reading.",
    EventKind.DONE: "The measurement is over; its reading is ready.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing told while listening.

    ``time_s``, ``told_s`` and ``cuff_mmhg`` are when it happened, when it was told, and
    the cuff pressure then; ``probability`` that it is so (1 for what the log itself
    shows).  ``mmhg`` with its 95 % interval is the value of a threshold or of the upper
    edge of a gap, ``None`` elsewhere.

    Examples
    --------
    >>> Event(kind=EventKind.SOUND_HEARD, time_s=20.1, told_s=20.9, cuff_mmhg=121.0,
    ...       probability=0.97).kind.value
    'sound_heard'
    """

    kind: EventKind
    time_s: float
    told_s: float
    cuff_mmhg: float
    probability: float
    mmhg: float | None = None
    low_mmhg: float | None = None
    high_mmhg: float | None = None
