"""tapfall: a second, unbiased listener for blood pressure measured by ear.

Examples
--------
Read a recording in five lines::

    import tapfall

    recording = tapfall.load("arm.wav", "arm.csv")
    reading = tapfall.take_reading(recording)
    print(reading.systolic.mmhg, reading.diastolic.mmhg, reading.status)
"""

from __future__ import annotations

__version__ = "0.1.0"

# Not `typing.TYPE_CHECKING`: importing typing would cost a sixth of `tapfall --help`.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from tapfall.ear import Listener, take_reading
    from tapfall.files import load

__all__ = ["Listener", "__version__", "load", "take_reading"]

_HOMES = {
    "load": "tapfall.files",
    "take_reading": "tapfall.ear",
    "Listener": "tapfall.ear",
}


def __getattr__(name: str) -> object:
    # Loaded on first use: `import tapfall` and `tapfall --help` stay light.
    if name in _HOMES:
        from importlib import import_module

        found: object = getattr(import_module(_HOMES[name]), name)
        return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
