"""``python -m tests.benchmarks``: print speed and memory as a table in Markdown."""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import librosa
import soundfile
import soxr

import tapfall
from tests.benchmarks.many import agreement_row, lesson_row
from tests.benchmarks.measure import RUNS, Row, command, medians_s, peak_mb, program
from tests.benchmarks.recording import RATE_HZ, SECONDS, STREAM_RATE_HZ, Files, make
from tests.benchmarks.streaming import import_row, night_rows, streaming_rows

_IMPORTS = "import numpy, scipy.signal, soundfile"


def reading_rows(files: Files, runs: int = RUNS) -> list[Row]:
    """File to reading, against reading and resampling, and against finding onsets."""

    def read() -> object:
        return tapfall.take_reading(tapfall.load(files.audio, files.cuff))

    def resample() -> object:
        samples, rate_hz = soundfile.read(files.audio, dtype="float32")
        return soxr.resample(samples, rate_hz, 2000)

    def onsets() -> object:
        samples, rate_hz = soundfile.read(files.audio, dtype="float32")
        return librosa.onset.onset_detect(y=samples, sr=rate_hz)

    took = medians_s({"read": read, "resample": resample, "onsets": onsets}, runs=runs)
    ours = f"file to reading, {took['read']:.3f} s"
    return [
        Row(
            what=ours,
            against=f"soundfile.read and soxr to 2 kHz, {took['resample']:.3f} s",
            ratio=took["read"] / took["resample"],
            target=4.0,
        ),
        Row(
            what=ours,
            against=f"soundfile.read and librosa.onset.onset_detect, {took['onsets']:.3f} s",
            ratio=took["read"] / took["onsets"],
            target=1.0,
        ),
    ]


def start_rows(files: Files, runs: int = RUNS) -> list[Row]:
    """Commands from a cold start, against bare Python and against the imports they need."""
    took = medians_s(
        {
            "help": command([program("tapfall"), "--help"]),
            "pass": command([sys.executable, "-c", "pass"]),
            "read": command([program("tapfall"), "read", str(files.audio), str(files.cuff)]),
            "imports": command([sys.executable, "-c", _IMPORTS]),
        },
        runs=runs,
    )
    return [
        Row(
            what=f"tapfall --help, {took['help']:.3f} s",
            against=f"python -c pass, {took['pass']:.3f} s",
            ratio=took["help"] / took["pass"],
            target=3.0,
        ),
        Row(
            what=f"tapfall read, cold, {took['read']:.3f} s",
            against=f'python -c "{_IMPORTS}", {took["imports"]:.3f} s',
            ratio=took["read"] / took["imports"],
            target=1.6,
        ),
    ]


def memory_row(files: Files) -> Row:
    """Peak memory of file to reading, against the sound as float32."""
    info = soundfile.info(files.audio)
    sound_mb = info.frames * 4 / 1e6
    peak = peak_mb(files.audio, files.cuff)
    return Row(
        what=f"peak memory of file to reading, {peak:.1f} MB",
        against=f"the sound as float32, {sound_mb:.1f} MB",
        ratio=peak / sound_mb,
        target=3.0 + 10.0 / sound_mb,
    )


def machine() -> str:
    """Cores and versions, in one line."""
    named = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "librosa", "soxr"))
    return (
        f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, "
        f"{named}, tapfall {tapfall.__version__}"
    )


def markdown(rows: Sequence[Row]) -> str:
    """The table; targets with one decimal, ratios with two or three."""
    lines = ["| measured | against | ratio | at most |", "|---|---|---|---|"]
    lines += [
        f"| {row.what} | {row.against} | {_figure(row.ratio)} | {row.target:.3g} |" for row in rows
    ]
    return "\n".join(lines)


def _figure(ratio: float) -> str:
    return f"{ratio:.2f}" if ratio >= 0.1 else f"{ratio:.3f}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print; the exit code is 0 whatever the ratios are."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description="Measure speed and memory as ratios within one run; print a table.",
        epilog="Let nothing else run meanwhile. It takes about two minutes, a day about five more.",
    )
    parser.add_argument("--day", action="store_true", help="also 24 hours in one process")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="tapfall-") as folder:
        files = make(Path(folder))
        rows = [*reading_rows(files), *start_rows(files), import_row(), memory_row(files)]
        slow = make(Path(folder), rate_hz=STREAM_RATE_HZ)
        rows += streaming_rows(slow)
        rows += [agreement_row(Path(folder)), *(lesson_row(Path(folder), one) for one in "36")]
        if options.day:
            rows += night_rows(slow)
    print(f"Recording of {SECONDS:.0f} s at {RATE_HZ / 1000:.1f} kHz; medians of {RUNS}")
    print(f"interleaved runs; {machine()}.\n")
    print(markdown(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
