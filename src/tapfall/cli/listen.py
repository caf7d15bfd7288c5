"""``tapfall listen``: streams in, events and readings out, a JSON line each."""

from __future__ import annotations

import argparse
import contextlib
from dataclasses import dataclass

from tapfall.cli.chosen import loaded, settings_of
from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.output import complain, put
from tapfall.cli.parser import Usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    from tapfall.cli.feeds import Interleaved, Replay, Separate
    from tapfall.cli.streams import Stopping
    from tapfall.ear import Listener
    from tapfall.errors import TapfallError
    from tapfall.events import Event
    from tapfall.model import Reading, Source

    Feed = Interleaved | Separate | Replay
    Told = tuple[tuple[Event, ...], tuple[Reading, ...]]


class _ReaderLeft(Exception):  # noqa: N818 - no fault, and it never leaves this module
    """Nobody reads standard output any more."""


class _Hearing:
    """A feed, pushed into a listener until it is over or faulty; the fault is kept."""

    def __init__(self, feed: Feed, listener: Listener) -> None:
        self._feed, self._listener = feed, listener
        self.fault: TapfallError | None = None

    def told(self, stopping: Stopping) -> Iterator[Told]:
        """Yield what each push tells."""
        from tapfall.errors import TapfallError

        ear = self._listener
        try:
            for piece in self._feed.pieces(stopping):
                yield ear.push_cuff(piece.time_s, piece.pressure_mmhg), ear.readings()
                yield ear.push_audio(piece.samples), ear.readings()
        except TapfallError as fault:
            self.fault = fault


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """What is heard, and for a recording its files and what is known of them."""

    feed: Feed
    rate_hz: float
    source: Source | None = None
    rows_repeated: bool = False
    simulated: bool = False


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    _check(args)
    from tapfall.cli.streams import Stopping

    with Stopping() as stopping:
        try:
            return _listen(args, stopping)
        except _ReaderLeft:
            return DONE


def _check(args: argparse.Namespace) -> None:
    """Raise where options contradict each other."""
    scale, offset = args.cuff_scale, args.cuff_offset
    if args.replay is None and args.rest:
        left = " ".join(args.rest)
        raise Usage(f"unrecognized arguments: {left} (see tapfall listen --help)")
    if args.replay is not None:
        args.replay += args.rest
        for name in ("rate", "format", "cuff"):
            if getattr(args, name) is not None:
                raise Usage(f"found --{name} with --replay; allowed one of them")
        if len(args.replay) > 2:
            raise Usage(f"found {len(args.replay)} files to replay; allowed a sound and its log")
        return
    for name in ("speed", "channel"):
        if getattr(args, name) is not None:
            raise Usage(f"found --{name} without --replay; allowed only with it")
    for name in ("rate", "format"):
        if getattr(args, name) is None:
            raise Usage(f"found no --{name}; allowed --rate and --format, or --replay")
    if (args.cuff is None) == (args.cuff_channel is None):
        found = "neither" if args.cuff is None else "both"
        raise Usage(f"found {found} of --cuff and --cuff-channel; allowed one of them")
    if args.cuff_channel is None:
        if scale is not None or offset is not None:
            raise Usage("found --cuff-scale or --cuff-offset; allowed only with --cuff-channel")
        return
    if args.cuff_channel > 2:
        raise Usage(f"found --cuff-channel {args.cuff_channel}; allowed 1 or 2")
    if not scale:
        found = "no --cuff-scale" if scale is None else "--cuff-scale 0"
        raise Usage(f"found {found}; allowed --cuff-channel with mmHg per full scale, not 0")


def _listen(args: argparse.Namespace, stopping: Stopping) -> int:
    from tapfall.ear import Listener
    from tapfall.ear.flags import with_flag
    from tapfall.files.eventlines import (
        End,
        Ending,
        Start,
        end_line,
        event_line,
        reading_line,
        start_line,
    )
    from tapfall.model import REASON_SENTENCES, SIMULATED, Flag, Status

    settings = settings_of(args)
    heard = _heard(args)
    source = heard.source
    listener = Listener(rate_hz=heard.rate_hz, settings=settings)
    say_line(start_line(Start(rate_hz=heard.rate_hz, source=source, settings=settings)))
    if heard.simulated:
        complain(SIMULATED)
    last: Reading | None = None

    def tell(events: tuple[Event, ...], readings: tuple[Reading, ...]) -> Reading | None:
        for event in events:
            say_line(event_line(event))
        told = last
        for reading in readings:
            told = reading
            if heard.rows_repeated:
                told = with_flag(reading, Flag.CUFF_LOG_ROWS_REPEATED)
            say_line(reading_line(told, source, settings))
        return told

    hearing = _Hearing(heard.feed, listener)
    for told in hearing.told(stopping):
        last = tell(*told)
    final = listener.finish()
    events, readings = listener.events(), listener.readings()
    if hearing.fault is not None:
        # What was measured before the fault is told before it.
        if readings or last:
            with contextlib.suppress(_ReaderLeft):
                tell(events, readings)
                say_line(end_line(End(why=Ending.FAULT, audio_s=listener.audio_s)))
        raise hearing.fault
    # Where nothing was measured that is told as a reading is, with its reason.
    last = tell(events, readings or (() if last else (final,)))
    why = Ending.STOPPED if stopping.asked else Ending.INPUT_OVER
    say_line(end_line(End(why=why, audio_s=listener.audio_s)))
    for note in heard.feed.notes():
        complain(note)
    if last is not None and last.status is not Status.UNREADABLE:
        return DONE
    how = "stopped; " if stopping.asked else ""
    reasons = "; ".join(REASON_SENTENCES[one] for one in (last or final).reasons)
    complain(f"{how}the last reading is unreadable: {reasons}")
    return UNREADABLE


def _heard(args: argparse.Namespace) -> _Heard:
    from tapfall.cli.feeds import Interleaved, Replay, Separate
    from tapfall.cli.streams import cuff_place, standard_input
    from tapfall.errors import printable
    from tapfall.files.pcm import CuffScale, Frames

    lag_s = args.lag or 0.0
    if args.replay is not None:
        audio, *cuff = args.replay
        recording = loaded(args, audio, cuff[0] if cuff else None)
        return _Heard(
            feed=Replay(recording, lag_s=lag_s, speed=args.speed),
            rate_hz=recording.rate_hz,
            source=recording.source,
            rows_repeated=recording.cuff.rows_repeated > 0,
            simulated=recording.simulated,
        )
    if args.cuff is None:
        scale = CuffScale(
            channel=args.cuff_channel,
            scale_mmhg=args.cuff_scale,
            offset_mmhg=args.cuff_offset or 0.0,
        )
        frames = Frames(args.format, args.rate, scale)
        sound = standard_input()
        return _Heard(feed=Interleaved(lambda: sound, frames, args.rate), rate_hz=args.rate)
    place, sound = cuff_place(args.cuff), standard_input()
    separate = Separate(
        lambda: sound,
        Frames(args.format, args.rate),
        args.rate,
        cuff_label=printable(args.cuff),
        cuff_opened=place,
        lag_s=lag_s,
    )
    return _Heard(feed=separate, rate_hz=args.rate)


def say_line(line: dict[str, Any]) -> None:
    """Write a line at once; the write waits for a slow reader, and nothing is dropped.

    Raises
    ------
    _ReaderLeft
        Nobody reads any more.
    InputError
        It cannot be written.
    """
    from tapfall.files.eventlines import line_text

    if not put(line_text(line)):
        raise _ReaderLeft
