"""What a stored vector is, how it is kept, and when two of them agree."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tapfall.files import write_bytes, write_json

FOLDER = Path(__file__).resolve().parent

#: How far off a port may be.  A front end and a log in float32 move the log odds by up to
#: 0.0001, times by 2 us, pressures by 0.00002 mmHg; the 20-bit steps in which the sound is
#: stored move them by less (steps of 16 bits turned a beat over).  The tolerances leave room
#: for a port whose later stages are float32 as well (our choice).  What has none has to be
#: equal.
TOLERANCES = {
    "low_pass_sos": 1e-9,
    "high_pass_sos": 1e-9,
    "sound.start_s": 1e-6,
    "rows.first_row_s": 1e-6,
    "trend_s": 1e-4,
    "trend_mmhg": 0.01,
    "deflation.falls_from_s": 1e-4,
    "deflation.holes_s": 1e-4,
    "deflation.rate_mmhg_per_s": 0.01,
    "deflation.log_rate_hz": 0.001,
    "deflation.trend_error_mmhg": 0.01,
    "pulse_s": 0.001,
    "pulse_mmhg": 0.01,
    "pulses.error_s": 1e-4,
    "beat_reference_s": 0.001,
    "beat_moved_s": 0.001,
    "beat_onset_s": 0.001,
    "beat_mmhg": 0.01,
    "beat_measures": 0.1,
    "beat_log_odds": 0.05,
    "beat_heard": 0.025,
    "listening.lag_s": 0.001,
    "listening.gain_nats": 0.05,
    "listening.contrast_nats": 0.05,
    "reading.mmHg": 0.05,
    "reading.k5_mmHg": 0.05,
    "reading.cuff_mmHg": 0.02,
    "reading.time_s": 0.002,
    "reading.heard": 0.025,
    "reading.confidence": 0.015,
    "reading.pulse_per_min": 0.2,
    "reading.seconds": 0.002,
    "reading.low_s": 0.002,
    "reading.high_s": 0.002,
    "reading.signal_to_noise_db": 0.15,
    "reading.peak_dbfs": 0.15,
    "reading.clipped_share": 2e-5,
    "reading.deflation_mmhg_per_s": 0.02,
    "reading.deflation_mmhg_per_beat": 0.02,
    "reading.log_rate_hz": 0.02,
    # Ends of intervals are quantiles of 1000 draws, some of which fall otherwise where the
    # log odds are off within their tolerance: by up to 1.1 mmHg (measured).
    "reading.low_mmHg": 1.5,
    "reading.high_mmHg": 1.5,
    "reading.upper_mmHg": 0.05,
    "reading.lower_mmHg": 0.05,
    "reading.upper_low_mmHg": 1.5,
    "reading.upper_high_mmHg": 1.5,
    "reading.lower_low_mmHg": 1.5,
    "reading.lower_high_mmHg": 1.5,
}
#: The stored sound is off by half a step; a port's own rounding and filters add to it.
SOUND_STEPS = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Vector:
    """One vector: what the front end takes and gives, what follows from it, and its page.

    ``page["expected"]`` holds single values by stage, and the reading.
    """

    sound: dict[str, np.ndarray]
    beats: dict[str, np.ndarray]
    page: dict[str, Any]


def files_of(name: str, folder: Path = FOLDER) -> tuple[Path, Path, Path]:
    """Where the three files of a vector are: sound, beats, page."""
    return folder / f"{name}.sound.npz", folder / f"{name}.beats.npz", folder / f"{name}.json"


def load(name: str, folder: Path = FOLDER) -> Vector:
    """Read a stored vector."""
    sound, beats, page = files_of(name, folder)
    return Vector(
        sound=_read_arrays(sound),
        beats=_read_arrays(beats),
        page=json.loads(page.read_text(encoding="ascii")),
    )


def save(name: str, vector: Vector, folder: Path = FOLDER) -> None:
    """Write a vector, each file complete or not at all."""
    sound, beats, page = files_of(name, folder)
    write_bytes(sound, _packed(vector.sound))
    write_bytes(beats, _packed(vector.beats))
    write_json(page, vector.page)


def _read_arrays(path: Path) -> dict[str, np.ndarray]:
    with np.load(path, allow_pickle=False) as stored:
        return {key: stored[key] for key in stored.files}


def _packed(arrays: dict[str, np.ndarray]) -> bytes:
    file = io.BytesIO()
    np.savez_compressed(file, **arrays)
    return file.getvalue()


def differences(stored: Vector, found: Vector) -> list[str]:
    """What of a vector differs by more than the stored tolerances, a line each."""
    tolerances = stored.page["tolerances"]
    before, now = _arrays(stored), _arrays(found)
    lines = [f"{key}: found in one only" for key in sorted(before.keys() ^ now.keys())]
    for key in before.keys() & now.keys():
        lines += _array_differences(key, before[key], now[key], tolerances.get(key, 0.0))
    lines += _value_differences("", _settled(stored), _settled(found), {})
    expected = (stored.page["expected"], found.page["expected"])
    return sorted(lines) + _value_differences("", *expected, tolerances)


def _settled(vector: Vector) -> dict[str, Any]:
    """What of a page is not computed by the ear."""
    return {key: value for key, value in vector.page.items() if key != "expected"}


def _arrays(vector: Vector) -> dict[str, np.ndarray]:
    """All arrays, the sound in full scale."""
    arrays = {**vector.sound, **vector.beats}
    arrays["sound"] = arrays.pop("sound_steps") * float(arrays.pop("sound_step"))
    return arrays


def _array_differences(
    key: str, stored: np.ndarray, found: np.ndarray, within: float
) -> Iterator[str]:
    if (stored.dtype, stored.shape) != (found.dtype, found.shape):
        yield f"{key}: {found.dtype} {found.shape} instead of {stored.dtype} {stored.shape}"
        return
    if stored.size == 0:
        return
    off = np.abs(found.astype(np.float64) - stored.astype(np.float64)).ravel()
    # Written so that what is not a number differs.
    bad = np.flatnonzero(~(off <= within))
    if bad.size:
        at = int(bad[0])
        yield (
            f"{key}: {found.ravel()[at]} instead of {stored.ravel()[at]} at {at}, and "
            f"{bad.size - 1} more; allowed {within:g}"
        )


def _value_differences(
    path: str, stored: Any, found: Any, tolerances: dict[str, float]
) -> list[str]:
    """Differences of two JSON values; numbers of ``stage.key`` within their tolerance."""
    if isinstance(stored, dict) and isinstance(found, dict):
        above = f"{path}." if path else ""
        lines = [f"{above}{key}: found in one only" for key in sorted(stored.keys() ^ found.keys())]
        for key in [key for key in stored if key in found]:
            lines += _value_differences(f"{above}{key}", stored[key], found[key], tolerances)
        return lines
    if isinstance(stored, list) and isinstance(found, list):
        if len(stored) != len(found):
            return [f"{path}: {len(found)} items instead of {len(stored)}"]
        lines = []
        for number, (one, other) in enumerate(zip(stored, found, strict=True)):
            lines += _value_differences(f"{path}[{number}]", one, other, tolerances)
        return lines
    within = tolerances.get(tolerance_key(path), 0.0)
    numbers = all(
        isinstance(value, int | float) and not isinstance(value, bool) for value in (stored, found)
    )
    if (numbers and abs(found - stored) <= within) or (not numbers and found == stored):
        return []
    return [f"{path}: {found!r} instead of {stored!r}; allowed {within:g}"]


def tolerance_key(path: str) -> str:
    """Name of a value's tolerance: its stage and its last key.

    Examples
    --------
    >>> tolerance_key("reading.gaps[0].upper_mmHg"), tolerance_key("deflation.holes_s[0][1]")
    ('reading.upper_mmHg', 'deflation.holes_s')
    """
    keys = [part.partition("[")[0] for part in path.split(".")]
    return f"{keys[0]}.{keys[-1]}"
