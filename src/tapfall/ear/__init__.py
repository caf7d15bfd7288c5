"""From a recording to a reading; imports numpy and scipy only."""

# First: imported from deep within the modules below it takes a third longer (measured).
import scipy.signal  # noqa: F401

from tapfall.ear.listener import Listener
from tapfall.ear.taking import take_reading, take_readings

__all__ = ["Listener", "take_reading", "take_readings"]
