"""Two inputs that run side by side: from which to take next.

Sources that deliver as time goes by are taken as they come.  Files deliver faster: then
the input that is behind goes first, so that neither looks lost.  All of it is one pure
function, :func:`choose`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

#: So far one input may run ahead of the other whatever the clock on the wall says: the
#: widest lag that is looked for (our choice; beyond 5 s the listener tells a loss).
LEAD_S = 2.0
#: A clock that is fast by so much is not held back (our choice; crystals: 0.0001).
FASTEST_CLOCK = 1.001
#: Sound that is heard after the last row: what a reading needs (2.6 s) and a second for a
#: lag that is being found, below the 5 s of a loss.
TAIL_S = 3.8
#: Half of what the listener can hold.  One input this far ahead of the other ends it.
FURTHEST_S = 150.0
#: So long is waited for more of one input when the other is over (our choice).
PATIENCE_S = 10.0


class Supply(StrEnum):
    """What an input has."""

    HELD = "held"
    AWAITED = "awaited"
    OVER = "over"


class Step(StrEnum):
    """What to do next."""

    SOUND = "sound"
    ROWS = "rows"
    WAIT = "wait"
    END = "end"
    NO_SOUND = "no_sound"
    NO_ROWS = "no_rows"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How far both inputs have got, in log time.

    ``sound_s`` and ``log_s`` are what was taken so far, ``row_s`` the next row held, if
    any, ``wall_s`` how long it has been listened, and ``waited_s`` how much of that was
    waiting for the second input since the first was over.
    """

    sound: Supply
    cuff: Supply
    sound_s: float
    log_s: float
    row_s: float | None
    wall_s: float
    waited_s: float = 0.0


def choose(now: Standing) -> Step:
    """Return what to do next.

    Examples
    --------
    >>> choose(Standing(sound=Supply.HELD, cuff=Supply.HELD, sound_s=3.0, log_s=3.0,
    ...     row_s=9.0, wall_s=0.1)).value
    'sound'
    """
    if now.row_s is not None:
        return _with_a_row(now, now.row_s)
    lead_s = now.sound_s - now.log_s
    if now.cuff is Supply.OVER:
        if now.sound is Supply.OVER or lead_s > TAIL_S:
            return Step.END
        return Step.SOUND if now.sound is Supply.HELD else _patience(now)
    if now.sound is Supply.OVER:
        return Step.END if -lead_s > FURTHEST_S else _patience(now)
    if now.sound is Supply.AWAITED or not _in_time(lead_s, now.sound_s, now.wall_s):
        return Step.WAIT
    return Step.SOUND if lead_s <= FURTHEST_S else Step.NO_ROWS


def _with_a_row(now: Standing, row_s: float) -> Step:
    lead_s = row_s - now.sound_s
    # A row that comes after a hole in the log is taken before the sound runs too far.
    if lead_s <= LEAD_S or now.sound_s - now.log_s > FURTHEST_S:
        return Step.ROWS
    if now.sound is Supply.HELD:
        return Step.SOUND
    if now.sound is Supply.OVER:
        # A recording is read with what its log says beyond the sound; a sensor that goes
        # on for ever is not waited for.
        kept = lead_s <= FURTHEST_S and now.waited_s <= PATIENCE_S
        return Step.ROWS if kept else Step.END
    if not _in_time(lead_s, row_s, now.wall_s):
        return Step.WAIT
    return Step.ROWS if lead_s <= FURTHEST_S else Step.NO_SOUND


def _in_time(lead_s: float, at_s: float, wall_s: float) -> bool:
    """Whether an input is not too far ahead of the other, or no faster than time goes by."""
    return lead_s <= LEAD_S or at_s <= FASTEST_CLOCK * wall_s + LEAD_S


def _patience(now: Standing) -> Step:
    return Step.WAIT if now.waited_s <= PATIENCE_S else Step.END
