"""A device that measures: a sound card and a sensor, a thread each, one listener.

    python examples/device.py

There is neither card nor sensor: both are played from a simulated recording,
ten times as fast as it was made; a real device would fill the same queue. The
listener belongs to one thread, which alone calls it.
"""

from __future__ import annotations

import argparse
import queue
import textwrap
import threading
import time
from pathlib import Path

import tapfall
from tapfall.events import EVENT_SENTENCES, Event, EventKind
from tapfall.model import CAUTION

SPEED = 10.0
BLOCK = 512  # samples, as sound cards hand them over

argparse.ArgumentParser(
    description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
).parse_args()

fixtures = Path(__file__).parents[1] / "synth_fixtures"
recording = tapfall.load(fixtures / "ordinary.flac", fixtures / "ordinary.csv")
rate_hz = recording.rate_hz
listener = tapfall.Listener(rate_hz=rate_hz)
# A quarter of a minute has room (8 blocks and 50 rows a second); beyond that card and sensor
# wait here: the queue does not grow without end. A real card would lose sound: see DEVICE.md.
arrived: queue.Queue[tuple[str, object]] = queue.Queue(maxsize=1024)
began_s = time.monotonic()


def wait_until(at_s: float) -> None:
    """Wait until the recording, played so fast, has got to a time."""
    time.sleep(max(0.0, began_s + at_s / SPEED - time.monotonic()))


def sound_card() -> None:
    """Hand over block after block."""
    for begin in range(0, len(recording.samples), BLOCK):
        block = recording.samples[begin : begin + BLOCK]
        wait_until((begin + len(block)) / rate_hz)
        arrived.put(("sound", block))
    arrived.put(("over", None))


def pressure_sensor() -> None:
    """Hand over row after row."""
    for row in zip(recording.cuff.time_s, recording.cuff.pressure_mmhg, strict=True):
        wait_until(row[0])
        arrived.put(("cuff", row))
    arrived.put(("over", None))


def tell(events: tuple[Event, ...]) -> None:
    """Print all but the single sounds, at which a device could blink."""
    for event in events:
        if event.kind is not EventKind.SOUND_HEARD:
            value = "" if event.mmhg is None else f"{event.mmhg:.0f} mmHg"
            print(f"{event.told_s:6.2f} s  {value:8}  {EVENT_SENTENCES[event.kind]}")


print("Simulated: card and sensor are played from files, no person was measured.\n")
threads = [threading.Thread(target=work) for work in (sound_card, pressure_sensor)]
for thread in threads:
    thread.start()

left = len(threads)
while left:
    kind, what = arrived.get()
    if kind == "sound":
        events = listener.push_audio(what)
    elif kind == "cuff":
        events = listener.push_cuff([what[0]], [what[1]])
    else:
        left -= 1
        continue
    tell(events)
for thread in threads:
    thread.join()

reading = listener.finish()
tell(listener.events())
systolic, diastolic = reading.systolic.mmhg, reading.diastolic.mmhg
if systolic is not None and diastolic is not None:
    print(f"{systolic:.0f}/{diastolic:.0f} mmHg, {reading.status}")
else:
    print(f"no value for both pressures, {reading.status}")
print(textwrap.fill(CAUTION, 80))
