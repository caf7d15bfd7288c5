"""A person, a cuff and a room: recordings whose truth is known.

A :class:`Scenario` says what is measured, :func:`simulate` makes the
:class:`tapfall.model.Recording` and its :class:`Truth`.  The arterial wave of
each beat really crosses the cuff's pressure; where it does, a sound starts.
"""

from tapfall.synth.exchange import truth_from_dict, truth_to_dict
from tapfall.synth.library import builtin_names, load_builtin
from tapfall.synth.population import sample
from tapfall.synth.scenario import Cuff, Noise, Person, Room, Scenario, Sensor, Sound
from tapfall.synth.simulate import Simulation, simulate
from tapfall.synth.toml import (
    load_scenario,
    save_scenario,
    scenario_from_toml,
    scenario_to_toml,
)
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
    "builtin_names",
    "load_builtin",
    "load_scenario",
    "sample",
    "save_scenario",
    "scenario_from_toml",
    "scenario_to_toml",
    "simulate",
    "truth_from_dict",
    "truth_to_dict",
]
