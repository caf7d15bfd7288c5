"""How a reading was taken, from log, reading and what is stated; numpy and scipy only."""

from tapfall.technique.check import check_technique, with_technique
from tapfall.technique.log import CuffWork, measure_cuff
from tapfall.technique.obliteration import Obliteration, find_obliteration
from tapfall.technique.on_stated import arm_stated
from tapfall.technique.person import is_simulated
from tapfall.technique.stated import Stated

__all__ = [
    "CuffWork",
    "Obliteration",
    "Stated",
    "arm_stated",
    "check_technique",
    "find_obliteration",
    "is_simulated",
    "measure_cuff",
    "with_technique",
]
