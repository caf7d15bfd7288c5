"""Ways of pushing a recording into a listener, and other forms of one recording."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from tapfall.ear import Listener
from tapfall.events import Event
from tapfall.model import CuffLog, Reading, Recording, Settings

Push = tuple[str, int]

#: A stream is pushed in these ways: sizes of the pushes of each kind, in turn.
ODD_CUTTINGS: dict[str, tuple[Push, ...]] = {
    "all sound first": (("audio", 10**9), ("cuff", 10**9)),
    "all rows first": (("cuff", 10**9), ("audio", 10**9)),
    "primes": (("audio", 997), ("cuff", 13)),
    "a row at a time": (("cuff", 1), ("audio", 331)),
    "sound late": (("cuff", 401), ("cuff", 7), ("audio", 8111)),
    "rows late": (("audio", 12007), ("audio", 1), ("cuff", 50)),
}


def pushes(recording: Recording, ways: Iterator[Push]) -> Iterator[tuple[str, slice]]:
    """What to push next until both streams are used up."""
    left = {"audio": recording.samples.size, "cuff": recording.cuff.time_s.size}
    at = dict.fromkeys(left, 0)
    for kind, size in itertools.chain(ways, [("cuff", 10**9), ("audio", 10**9)]):
        size = min(size, left[kind] - at[kind])
        yield kind, slice(at[kind], at[kind] + size)
        at[kind] += size
        if at == left:
            return


def push(listener: Listener, recording: Recording, kind: str, part: slice) -> tuple[Event, ...]:
    """Push a part of one of the streams."""
    if kind == "audio":
        return listener.push_audio(recording.samples[part])
    return listener.push_cuff(recording.cuff.time_s[part], recording.cuff.pressure_mmhg[part])


def streamed(
    recording: Recording, ways: Iterator[Push], chosen: Settings | None = None
) -> tuple[Reading, ...]:
    """Readings of a stream, with its last one from ``finish``."""
    listener = Listener(rate_hz=recording.rate_hz, settings=chosen, announce=False)
    for kind, part in pushes(recording, ways):
        push(listener, recording, kind, part)
    last = listener.finish()
    readings = listener.readings()
    assert not readings or readings[-1] == last
    return readings or (last,)


def with_samples(recording: Recording, samples: np.ndarray) -> Recording:
    """The same recording with other samples."""
    return Recording(samples=samples, rate_hz=recording.rate_hz, cuff=recording.cuff)


def with_repeated_rows(recording: Recording, at_s: float) -> Recording:
    """The same recording with ten rows of its log standing twice."""
    log = recording.cuff
    first = int(np.searchsorted(log.time_s, at_s))
    rows = np.sort(np.concatenate([np.arange(log.time_s.size), np.arange(first, first + 10)]))
    return Recording(
        samples=recording.samples,
        rate_hz=recording.rate_hz,
        cuff=CuffLog(time_s=log.time_s[rows], pressure_mmhg=log.pressure_mmhg[rows]),
    )


def longer_rest(recording: Recording, seconds: int) -> Recording:
    """The same recording with more rest at its end, its log going on as before."""
    log = recording.cuff
    step_s = float(np.median(np.diff(log.time_s)))
    more_s = float(log.time_s[-1]) + step_s * np.arange(1, round(seconds / step_s) + 1)
    quiet = np.zeros(round(seconds * recording.rate_hz), recording.samples.dtype)
    return Recording(
        samples=np.concatenate([recording.samples, quiet]),
        rate_hz=recording.rate_hz,
        cuff=CuffLog(
            time_s=np.concatenate([log.time_s, more_s]),
            pressure_mmhg=np.concatenate([log.pressure_mmhg, np.zeros(more_s.size)]),
        ),
    )
