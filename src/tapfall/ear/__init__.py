"""From a recording to a reading; imports numpy and scipy only."""

from tapfall.ear.listener import Listener
from tapfall.ear.taking import take_reading, take_readings

__all__ = ["Listener", "take_reading", "take_readings"]
