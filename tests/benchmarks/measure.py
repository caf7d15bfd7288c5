"""Measure: times side by side, commands from a cold start, memory of one call."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

#: Interleaved runs of each candidate, of which the median counts.
RUNS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One ratio, and what it should not exceed."""

    what: str
    against: str
    ratio: float
    target: float


def medians_s(
    candidates: Mapping[str, Callable[[], object]], *, runs: int = RUNS, warm: bool = True
) -> dict[str, float]:
    """Run candidates in turn, there and back; return the median time of each in seconds.

    Parameters
    ----------
    candidates
        Calls by name.
    runs
        How often each is run.
    warm
        Whether each is run once before, uncounted.
    """
    times: dict[str, list[float]] = {name: [] for name in candidates}
    order = list(candidates.items())
    for index in range(-1 if warm else 0, runs):
        order.reverse()  # what ran before leaves its traces: nobody always follows the same
        for name, call in order:
            start_s = time.perf_counter()
            call()
            if index >= 0:
                times[name].append(time.perf_counter() - start_s)
    return {name: statistics.median(taken) for name, taken in times.items()}


def command(arguments: Sequence[str]) -> Callable[[], object]:
    """A call that runs a program to its end, silently, and fails where it fails."""

    def call() -> object:
        return subprocess.run(arguments, check=True, capture_output=True)

    return call


def program(name: str) -> str:
    """The path of a program installed beside this Python."""
    return str(Path(sys.executable).with_name(name))


_MEMORY = """
import resource, sys
import soundfile, scipy.signal
import tapfall, tapfall.ear, tapfall.files
tapfall.load, tapfall.take_reading

def peak_kb():
    try:
        lines = open("/proc/self/status").read().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

try:
    open("/proc/self/clear_refs", "w").write("5")  # the peak starts again from here
except OSError:
    pass
before = peak_kb()
reading = tapfall.take_reading(tapfall.load(sys.argv[1], sys.argv[2]))
assert reading.systolic.mmhg is not None
print(peak_kb() - before)
"""


def peak_mb(audio: Path, cuff: Path) -> float:
    """Peak memory of file to reading, above the same process after its imports, in MB."""
    done = subprocess.run(
        [sys.executable, "-c", _MEMORY, os.fspath(audio), os.fspath(cuff)],
        check=True,
        capture_output=True,
        text=True,
    )
    return int(done.stdout) * 1024 / 1e6
