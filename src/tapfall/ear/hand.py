"""What the log alone tells about the hand on the valve, look by look.

A *look* is a step of :data:`LOOK_S` on the time that both streams have reached.  The
state is a few numbers and the last seconds of pressure; each look returns the next one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from tapfall.ear.cuff import (
    FAST_MMHG_PER_S,
    FASTEST_DEFLATION_MMHG_PER_S,
    HOLD_MMHG,
    LEAST_FALL_MMHG,
    REINFLATION_MMHG,
    SLOW_MMHG_PER_S,
)
from tapfall.ear.measurement import REST_MMHG
from tapfall.events import Event, EventKind

#: Step of the looks.
LOOK_S = 0.25
#: Looks averaged to even out the pulse (about a beat), and looks kept.
CALM_LOOKS, KEPT_LOOKS = 4, 24
#: A fall of this size is a deflation: a pulse reaches 4 mmHg (Liu 2014; and a margin).
STARTED_MMHG = 5.0
#: A fall of this size in half a second is a release, not a pulse's run-off (twice 4 mmHg).
SUDDEN_MMHG = 8.0
#: A cuff that stays near its top so long is held (two beats; our choice).
HOLD_S = 2.0
#: Slower than this it stands still (a sixth of the taught rate; our choice), until it falls
#: faster than this again over a breath: a cuff that creeps is told once, not with every breath.
STILL_MMHG_PER_S, GOES_ON_MMHG_PER_S = 0.5, 1.0
#: Span over which a rate is taken (a breath, which swings it), over which a stop is, and how
#: long one must last to be told (our choice; over 3 s the swing of the valve and the breath
#: called one ordinary simulated deflation in three too fast or too slow).
RATE_S, STILL_S, LASTING_LOOKS = 5.0, 2.5, 6
#: Longer above rest congests the arm (the project's bound).
LONGEST_HELD_S = 180.0


class Move(StrEnum):
    """What the hand does."""

    INFLATING = "inflating"
    HOLDING = "holding"
    FALLING = "falling"
    RELEASED = "released"


class Pace(StrEnum):
    """How fast the cuff falls."""

    FINE = "fine"
    FAST = "fast"
    SLOW = "slow"
    STILL = "still"


_PACE_EVENTS = {
    Pace.FAST: EventKind.DEFLATION_TOO_FAST,
    Pace.SLOW: EventKind.DEFLATION_TOO_SLOW,
    Pace.STILL: EventKind.DEFLATION_PAUSED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """The state: log times, the last pressures (one a look), top and bottom so far.

    ``fallen_mmhg`` is the deepest fall below a top, ``since_s`` when the move began.
    ``pace_looks`` is how many looks the pace has lasted, ``told_pace`` the last one that was
    told, ``still_s`` when the cuff last stood still; ``again`` tells that it was inflated
    anew after a deflation, ``held_told`` that it was told to have pressed too long.
    """

    begin_s: float
    move: Move = Move.INFLATING
    levels_mmhg: tuple[float, ...] = ()
    top_mmhg: float = 0.0
    top_s: float = 0.0
    bottom_mmhg: float = 0.0
    fallen_mmhg: float = 0.0
    since_s: float = 0.0
    pace: Pace = Pace.FINE
    pace_looks: int = 0
    told_pace: Pace = Pace.FINE
    still_s: float | None = None
    again: bool = False
    held_told: bool = False

    @property
    def level_mmhg(self) -> float:
        """The pressure of about the last beat."""
        last = self.levels_mmhg[-CALM_LOOKS:]
        return sum(last) / len(last)

    def passed(self, mmhg: float) -> bool:
        """Whether the pressure came down to this since the look before."""
        before = self.levels_mmhg[-CALM_LOOKS - 1 : -1]
        return bool(before) and self.level_mmhg <= mmhg < sum(before) / len(before)

    def fall_mmhg_per_s(self, span_s: float) -> float:
        """Mean fall over a span that ends now; 0 where it is not known yet."""
        count = round(span_s / LOOK_S)
        if len(self.levels_mmhg) < count + CALM_LOOKS:
            return 0.0
        before = self.levels_mmhg[-count - CALM_LOOKS : -count]
        return (sum(before) / CALM_LOOKS - self.level_mmhg) / span_s


def watch(hand: Hand, at_s: float, level_mmhg: float) -> tuple[Hand, tuple[Event, ...]]:
    """Take in the pressure of one more look.

    Parameters
    ----------
    hand
        The state so far.
    at_s
        Log time.
    level_mmhg
        Mean pressure of the rows of this look, or the last one known.

    Returns
    -------
    Hand
        The next state.
    tuple of Event
        What happened, ``time_s`` and ``told_s`` still in log time.

    Examples
    --------
    >>> hand, told = Hand(begin_s=0.0), []
    >>> for k in range(120):
    ...     at_s = 0.25 * k
    ...     level = min(30 * at_s, 180.0) if at_s < 8 else 180.0 - 3.0 * (at_s - 8)
    ...     hand, events = watch(hand, at_s, level)
    ...     told += [event.kind.value for event in events]
    >>> told, hand.move.value
    (['deflation_started'], 'falling')
    """
    levels = (*hand.levels_mmhg, level_mmhg)[-KEPT_LOOKS:]
    hand = replace(hand, levels_mmhg=levels)
    events: list[Event] = []

    def tell(kind: EventKind, time_s: float) -> None:
        events.append(
            Event(kind=kind, time_s=time_s, told_s=at_s, cuff_mmhg=level_mmhg, probability=1.0)
        )

    if at_s - hand.begin_s > LONGEST_HELD_S and not hand.held_told:
        tell(EventKind.CUFF_HELD_TOO_LONG, at_s)
        hand = replace(hand, held_told=True)
    if hand.move in (Move.INFLATING, Move.HOLDING):
        hand = _rising(hand, at_s)
        if hand.move is Move.FALLING:
            tell(EventKind.DEFLATION_STARTED, hand.since_s)
        return hand, tuple(events)
    bottom = min(hand.bottom_mmhg, hand.level_mmhg)
    hand = replace(hand, bottom_mmhg=bottom)
    if hand.level_mmhg >= bottom + REINFLATION_MMHG:
        # After an inflation and release alone (a palpatory run-up) this is the first.
        again = hand.again or hand.fallen_mmhg >= LEAST_FALL_MMHG
        if again and not hand.again:
            tell(EventKind.START_AGAIN, at_s)
        top = hand.level_mmhg
        return (
            replace(hand, move=Move.INFLATING, top_mmhg=top, top_s=at_s, again=again),
            tuple(events),
        )
    fast = hand.fall_mmhg_per_s(1.0) > FASTEST_DEFLATION_MMHG_PER_S
    if fast and hand.move is Move.FALLING:
        hand = replace(hand, move=Move.RELEASED, since_s=at_s)
    elif not fast and hand.move is Move.RELEASED and hand.level_mmhg >= REST_MMHG:
        # Let off for a moment only: what falls slowly begins here.
        top = hand.level_mmhg
        hand = replace(hand, move=Move.FALLING, since_s=at_s, top_mmhg=top)
    if hand.move is Move.FALLING:
        fallen = max(hand.fallen_mmhg, hand.top_mmhg - hand.level_mmhg)
        hand = replace(hand, fallen_mmhg=fallen)
        hand = _paced(hand, at_s)
        if hand.pace_looks == LASTING_LOOKS and hand.pace is not hand.told_pace:
            if hand.pace is not Pace.FINE:
                tell(_PACE_EVENTS[hand.pace], at_s)
            hand = replace(hand, told_pace=hand.pace)
    return hand, tuple(events)


def _rising(hand: Hand, at_s: float) -> Hand:
    """Inflation and hold, up to the start of a deflation."""
    level = hand.level_mmhg
    if level > hand.top_mmhg:
        # A hold creeps up by less than its own width.
        rises = level > hand.top_mmhg + HOLD_MMHG or hand.move is Move.INFLATING
        hand = replace(hand, top_mmhg=level, top_s=at_s if rises else hand.top_s)
        if hand.move is Move.HOLDING and rises:
            hand = replace(hand, move=Move.INFLATING)
    if level <= hand.top_mmhg - STARTED_MMHG:
        if hand.levels_mmhg[-3:][0] - hand.levels_mmhg[-1] > SUDDEN_MMHG:
            # The mean of a beat does not show yet how fast it goes.
            return hand
        slow = hand.fall_mmhg_per_s(1.0) <= FASTEST_DEFLATION_MMHG_PER_S and level >= REST_MMHG
        move = Move.FALLING if slow else Move.RELEASED
        near = [x >= hand.top_mmhg - HOLD_MMHG for x in hand.levels_mmhg]
        ago = near[::-1].index(True) if any(near) else len(near)
        since_s = max(at_s - ago * LOOK_S, hand.begin_s)
        return replace(hand, move=move, bottom_mmhg=level, since_s=since_s, pace_looks=0)
    if hand.move is Move.INFLATING and at_s - hand.top_s >= HOLD_S:
        hand = replace(hand, move=Move.HOLDING, since_s=hand.top_s)
    return hand


def _paced(hand: Hand, at_s: float) -> Hand:
    """How fast it falls, counted for as long as it lasts."""
    if at_s - hand.since_s < RATE_S + CALM_LOOKS * LOOK_S or hand.level_mmhg < REST_MMHG:
        return replace(hand, pace_looks=0)
    rate = hand.fall_mmhg_per_s(RATE_S)
    pace = Pace.FINE
    creeps = hand.pace is Pace.STILL and rate < GOES_ON_MMHG_PER_S
    if creeps or hand.fall_mmhg_per_s(STILL_S) < STILL_MMHG_PER_S:
        pace, hand = Pace.STILL, replace(hand, still_s=at_s)
    elif hand.still_s is not None and at_s - hand.still_s < RATE_S:
        # The mean still holds the stop.
        pass
    elif rate > FAST_MMHG_PER_S:
        pace = Pace.FAST
    elif rate < SLOW_MMHG_PER_S:
        pace = Pace.SLOW
    looks = hand.pace_looks + 1 if pace is hand.pace else 1
    return replace(hand, pace=pace, pace_looks=looks)
