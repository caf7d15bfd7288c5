"""Build the conformance vectors of this folder from the recordings of ``synth_fixtures``.

``python synth_fixtures/vectors/build.py`` writes the vectors anew;
``python synth_fixtures/vectors/build.py --check`` compares them with the ear as it is
now, says what differs, and exits 1 if anything does.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tapfall import take_reading
from tapfall.ear import calibration
from tapfall.ear.closer import CLOSER
from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.evidence import MEASURES
from tapfall.ear.frontend import FrontEnd
from tapfall.ear.judge import Listening, Nothing, listen
from tapfall.ear.measurement import measurement_bounds
from tapfall.ear.pulses import Pulses, find_pulses
from tapfall.ear.record import Record
from tapfall.files import read_cuff_log, to_json, write_json
from tapfall.model import CAUTION, CuffLog, Recording

# As a script it finds its neighbour by name alone.
if __package__:
    from synth_fixtures.vectors.comparing import (
        FOLDER,
        SOUND_STEPS,
        TOLERANCES,
        Vector,
        differences,
        files_of,
        load,
        save,
    )
else:
    from comparing import (
        FOLDER,
        SOUND_STEPS,
        TOLERANCES,
        Vector,
        differences,
        files_of,
        load,
        save,
    )

#: Where the fitted numbers are.
EAR = Path(calibration.__file__).parent
FITTED_NAME = "fitted.json"

#: Vector: the fixture it is made from, by how much it is amplified (whole numbers; what
#: goes beyond 16 bits is clipped), and what it is for.
VECTORS = {
    "ordinary": ("ordinary", 1, "nothing special; 4 kHz, so the rate is halved"),
    "silent_gap": ("silent_gap", 1, "a silent gap below systolic"),
    "noisy": ("noisy", 1, "noise close to the level of the sounds"),
    "weak": ("weak", 1, "a peak at 1 % of full scale; 4 kHz"),
    "no_sounds": ("no_sounds", 1, "no Korotkoff sounds: unreadable"),
    "heart_sounds": (
        "heart_sounds_conducted",
        1,
        "conducted heart sounds: they keep the beats in step with the sound",
    ),
    "slow_log_clipped": (
        "slow_rounded_log",
        6,
        "one row a second, rounded to 2 mmHg, shows no pulse: the sounds make the clock; "
        "played too loud, so that samples are clipped",
    ),
}


def read_input(name: str) -> Recording:
    """The recording of a vector, in int16."""
    fixture, gain, _ = VECTORS[name]
    place = FOLDER.parent / fixture
    samples, rate_hz = soundfile.read(place.with_suffix(".flac"), dtype="int16")
    loud = np.clip(samples.astype(np.int64) * gain, -32768, 32767).astype(np.int16)
    log = read_cuff_log(place.with_suffix(".csv"))
    return Recording(samples=loud, rate_hz=float(rate_hz), cuff=log)


def make(name: str, sound: np.ndarray | None = None) -> Vector:
    """Run the ear over a recording, stage by stage, and keep what comes out.

    Parameters
    ----------
    name
        One of :data:`VECTORS`.
    sound
        Band-limited sound to listen to instead of the front end's own, shape ``(m,)``.
        The reading is that of the whole recording all the same.
    """
    recording = read_input(name)
    arrays, facts, own = _front_end(recording)
    first_row, end_row, first_s = _rows(recording.cuff)
    # Its clocks start at the measurement's first row, as the ear's do.
    record = Record(
        sound=own if sound is None else sound,
        clipped=arrays["clipped"],
        rate_hz=facts["rate_hz"],
        start_s=facts["start_s"] - first_s,
        log_s=recording.cuff.time_s[first_row:end_row] - first_s,
        log_mmhg=recording.cuff.pressure_mmhg[first_row:end_row],
    )
    deflation = find_deflation(record.log_s, record.log_mmhg)
    if deflation is None:
        raise ValueError(f"{name}: found no deflation; allowed recordings that have one")
    pulses = find_pulses(record.log_s, record.log_mmhg, deflation)
    found = listen(record, deflation, pulses, None)
    fixture, gain, purpose = VECTORS[name]
    step = float(arrays["sound_step"])
    return Vector(
        sound=arrays,
        beats=_log_arrays(deflation, pulses, first_s) | _beat_arrays(found, first_s),
        page={
            "name": name,
            "purpose": purpose,
            "made_from": {"fixture": fixture, "gain": gain},
            "audio_rate_hz": recording.rate_hz,
            "tolerances": {"sound": SOUND_STEPS * step, **TOLERANCES},
            "expected": {
                "sound": facts,
                "rows": {"first_row": first_row, "end_row": end_row, "first_row_s": first_s},
                "deflation": _deflation_page(deflation, first_s),
                "pulses": {"usable": pulses.usable, "error_s": pulses.error_s},
                "listening": _listening_page(found),
                "reading": to_json(take_reading(recording)),
            },
            "caution": CAUTION,
        },
    )


def _front_end(recording: Recording) -> tuple[dict[str, np.ndarray], dict[str, Any], np.ndarray]:
    """Input and output of the front end, single values of it, and the sound unrounded."""
    front = FrontEnd(recording.rate_hz)
    design = front.design
    sound, clipped = front.push(recording.samples)
    # A power of two: every value is exact in float32.
    step = 2.0 ** math.ceil(math.log2(float(np.abs(sound).max()) / 524287))
    arrays = {
        "audio": recording.samples,
        "log_s": recording.cuff.time_s,
        "log_mmhg": recording.cuff.pressure_mmhg,
        "low_pass_sos": design.low_pass,
        "high_pass_sos": design.high_pass,
        "sound_steps": np.round(sound / step).astype(np.int32),
        "sound_step": np.array(step),
        "clipped": clipped,
    }
    facts = {
        "factor": design.factor,
        "rate_hz": design.sound_rate_hz,
        "start_s": -design.delay_s,
    }
    return arrays, facts, sound


def _rows(log: CuffLog) -> tuple[int, int, float]:
    """First row of the last measurement, the row after its last, time of the first."""
    first_row, end_row = measurement_bounds(log.time_s, log.pressure_mmhg)[-1]
    return first_row, end_row, float(log.time_s[first_row])


def _deflation_page(deflation: Deflation, first_s: float) -> dict[str, Any]:
    return {
        "falls_from_s": deflation.falls_from_s + first_s,
        "rate_mmhg_per_s": deflation.rate_mmhg_per_s,
        "log_rate_hz": deflation.log_rate_hz,
        "trend_error_mmhg": deflation.trend_error_mmhg,
        "released": deflation.released,
        "holes_s": [[a + first_s, b + first_s] for a, b in deflation.holes_s],
        "flags": to_json(deflation.flags),
    }


def _log_arrays(deflation: Deflation, pulses: Pulses, first_s: float) -> dict[str, np.ndarray]:
    return {
        "trend_s": deflation.time_s + first_s,
        "trend_mmhg": deflation.trend_mmhg,
        "pulse_s": pulses.time_s + first_s,
        "pulse_mmhg": pulses.size_mmhg,
        "pulse_seen": pulses.seen,
    }


def _beat_arrays(found: Listening | Nothing, first_s: float) -> dict[str, np.ndarray]:
    """What was heard at each beat; no beats where nothing was."""
    if isinstance(found, Nothing):
        empty = np.zeros(0)
        return {
            "beat_seen": np.zeros(0, np.bool_),
            "beat_reference_s": empty,
            "beat_moved_s": empty,
            "beat_onset_s": empty,
            "beat_mmhg": empty,
            "beat_measures": np.zeros((0, len(MEASURES))),
            "beat_log_odds": empty,
            "beat_heard": empty,
        }
    return {
        "beat_seen": found.real >= 1.0,
        "beat_reference_s": found.expected.reference_s + first_s,
        "beat_moved_s": found.moved_s,
        "beat_onset_s": found.onset_s + first_s,
        "beat_mmhg": found.cuff_mmhg,
        "beat_measures": found.evidence.measures,
        "beat_log_odds": found.evidence.log_odds,
        "beat_heard": found.story.heard,
    }


def _listening_page(found: Listening | Nothing) -> dict[str, Any] | None:
    if isinstance(found, Nothing):
        return None
    return {
        "lag_s": float(found.lag.seconds),
        "anchored": bool(found.anchored),
        "gain_nats": float(found.story.gain_nats),
        "contrast_nats": found.contrast_nats,
        "measures": list(MEASURES if found.before is None else CLOSER),
    }


def fitted_page() -> dict[str, Any]:
    """Which fitted numbers the vectors belong to: hashes, keys, types and shapes."""
    with np.load(EAR / "layers.npz", allow_pickle=False) as stored:
        layers = {key: [str(stored[key].dtype), list(stored[key].shape)] for key in stored.files}
    numbers = json.loads((EAR / "calibration.json").read_text(encoding="ascii"))
    return {
        "sha256": {
            name: hashlib.sha256((EAR / name).read_bytes()).hexdigest()
            for name in ("calibration.json", "layers.npz")
        },
        "layers.npz": layers,
        "calibration.json": dict(_shapes(numbers, "")),
    }


def _shapes(value: Any, key: str) -> Iterator[tuple[str, list[int]]]:
    """Dotted keys of nested numbers with the shape of each."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from _shapes(item, f"{key}.{name}" if key else name)
    else:
        yield key, list(np.shape(value))


def check(folder: Path = FOLDER) -> list[str]:
    """What of the stored vectors differs from the ear as it is now, a line each."""
    lines = []
    fitted = folder / FITTED_NAME
    if not fitted.exists():
        lines.append(f"{FITTED_NAME}: found none")
    elif json.loads(fitted.read_text(encoding="ascii")) != fitted_page():
        lines.append(f"{FITTED_NAME}: the ear was fitted anew since; build the vectors again")
    for name in VECTORS:
        missing = [path.name for path in files_of(name, folder) if not path.exists()]
        if missing:
            lines += [f"{one}: found none" for one in missing]
        else:
            lines += [f"{name}: {line}" for line in differences(load(name, folder), make(name))]
    return lines


def build(folder: Path = FOLDER) -> None:
    """Write all vectors."""
    for name in VECTORS:
        save(name, make(name), folder)
    write_json(folder / FITTED_NAME, fitted_page())


def main(arguments: Sequence[str] | None = None) -> int:
    """Build or check; 1 where a check finds a difference."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--check", action="store_true", help="compare instead of writing")
    if not parser.parse_args(arguments).check:
        build()
        return 0
    lines = check()
    for line in lines:
        print(line, file=sys.stderr)
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
