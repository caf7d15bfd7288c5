"""A person, a cuff and a room: recordings whose truth is known."""

from tapfall.synth.scenario import Cuff, Noise, Person, Room, Scenario, Sensor, Sound
from tapfall.synth.simulate import Simulation, simulate
from tapfall.synth.truth import (
    TrueBeat,
    TrueGap,
    TrueReading,
    TrueThreshold,
    Truth,
)

__all__ = [
    "Cuff",
    "Noise",
    "Person",
    "Room",
    "Scenario",
    "Sensor",
    "Simulation",
    "Sound",
    "TrueBeat",
    "TrueGap",
    "TrueReading",
    "TrueThreshold",
    "Truth",
    "simulate",
]
