"""The listener as in a device: pushes of 10 ms, and a day and a night in one process."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tapfall.ear import Listener, course
from tapfall.files import load
from tapfall.model import Recording
from tests.benchmarks.measure import Row, command, medians_s
from tests.benchmarks.recording import Files

PUSH_S = 0.01
#: Of a day: one measurement in so long, in pushes of so long.
EVERY_S, NIGHT_PUSH_S = 1200.0, 0.1
_NUMPY = "import numpy, scipy.signal"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pushes:
    """Time of each push of sound, and whether a provisional reading was made in it."""

    seconds: np.ndarray
    judged: np.ndarray
    audio_s: float


def parts(
    recording: Recording, push_s: float
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Sound, row times and pressures of each push."""
    log, size = recording.cuff, round(push_s * recording.rate_hz)
    row = 0
    for first in range(0, recording.samples.size - size + 1, size):
        until = int(np.searchsorted(log.time_s, (first + size) / recording.rate_hz, side="right"))
        rows = slice(row, until)
        yield recording.samples[first : first + size], log.time_s[rows], log.pressure_mmhg[rows]
        row = until


def time_pushes(recording: Recording, push_s: float = PUSH_S) -> Pushes:
    """Feed a recording as a device does and time every push."""
    look_into, made = course.look_into, [0]

    def counted(*arguments: object, **named: object) -> object:
        made[0] += 1
        return look_into(*arguments, **named)  # type: ignore[arg-type]

    listener = Listener(rate_hz=recording.rate_hz)
    seconds, judged = [], []
    course.look_into = counted  # type: ignore[assignment]
    try:
        for sound, times, pressures in parts(recording, push_s):
            before, start_s = made[0], time.perf_counter()
            if times.size:
                listener.push_cuff(times, pressures)
            listener.push_audio(sound)
            seconds.append(time.perf_counter() - start_s)
            judged.append(made[0] > before)
    finally:
        course.look_into = look_into
    return Pushes(
        seconds=np.array(seconds),
        judged=np.array(judged),
        audio_s=recording.samples.size / recording.rate_hz,
    )


def streaming_rows(files: Files, runs: int = 3) -> list[Row]:
    """Time of processing against time of sound, and the slow pushes against their length."""
    recording = load(files.audio, files.cuff)
    taken = [time_pushes(recording) for _ in range(runs)]
    spent = sorted(one.seconds.sum() / one.audio_s for one in taken)[runs // 2]
    plain = np.concatenate([one.seconds[~one.judged] for one in taken])
    slow_s = float(np.quantile(plain, 0.999))
    return [
        Row(
            what=f"pushes of 10 ms at {recording.rate_hz / 1000:g} kHz with all events",
            against="time of the sound",
            ratio=float(spent),
            target=0.03,
        ),
        Row(
            what=f"slowest push in 1,000 without a provisional reading, {slow_s * 1e3:.2f} ms",
            against="10 ms",
            ratio=slow_s / PUSH_S,
            target=0.5,
        ),
    ]


def import_row(runs: int = 9) -> Row:
    """Import of the ear alone against that of what it needs."""
    took = medians_s(
        {
            "ear": command([sys.executable, "-c", "import tapfall.ear"]),
            "needed": command([sys.executable, "-c", _NUMPY]),
        },
        runs=runs,
    )
    return Row(
        what=f"import tapfall.ear, {took['ear']:.3f} s",
        against=f'python -c "{_NUMPY}", {took["needed"]:.3f} s',
        ratio=took["ear"] / took["needed"],
        target=1.2,
    )


def resident_mb() -> float:
    """Memory of this process now."""
    gc.collect()
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    except OSError:
        shown = subprocess.run(
            ["ps", "-o", "rss=", "-p", str(os.getpid())],
            check=True,
            capture_output=True,
            text=True,
        )
        return int(shown.stdout) * 1024 / 1e6


def night_rows(files: Files, hours: int = 24) -> list[Row]:
    """A listener fed for so many hours: memory and time per push after the first hour."""
    recording = load(files.audio, files.cuff)
    rate_hz = recording.rate_hz
    idle = np.zeros(round(NIGHT_PUSH_S * rate_hz), recording.samples.dtype)
    rng = np.random.default_rng(1)
    idle += (1e-3 * rng.normal(size=idle.size)).astype(idle.dtype)
    listener = Listener(rate_hz=rate_hz)
    first_s, last_s, readings = 0.0, 0.0, 0
    # One look at a process's memory is off by 2 MB, as the system gives pages and takes them.
    used_mb: list[list[float]] = []
    at_s = 0.0
    for hour in range(hours):
        spent_s = 0.0
        used_mb.append([])
        while at_s < (hour + 1) * 3600.0:
            for sound, times, pressures in parts(recording, NIGHT_PUSH_S):
                start_s = time.perf_counter()
                listener.push_cuff(times + at_s, pressures)
                listener.push_audio(sound)
                spent_s += time.perf_counter() - start_s
            at_s = listener.audio_s
            end_s = at_s + EVERY_S - recording.samples.size / rate_hz
            while at_s < end_s:
                start_s = time.perf_counter()
                listener.push_cuff([at_s + 0.001], [0.0])
                listener.push_audio(idle)
                spent_s += time.perf_counter() - start_s
                at_s = listener.audio_s
            readings += len(listener.readings())
            used_mb[-1].append(resident_mb())
        last_s = spent_s
        if hour == 0:
            first_s = spent_s
    grown_mb = float(np.median(used_mb[-1]) - np.median(used_mb[0]))
    assert readings > hours
    return [
        Row(
            what=f"memory grown from the 1st to the {hours}th hour, {readings} readings",
            against="1 MB",
            ratio=max(grown_mb, 0.0),
            target=1.0,
        ),
        Row(
            what=f"pushes of the {hours}th hour, {last_s:.1f} s",
            against=f"pushes of the 1st hour, {first_s:.1f} s",
            ratio=last_s / first_s,
            target=1.1,
        ),
    ]
