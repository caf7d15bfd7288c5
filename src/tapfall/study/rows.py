"""The columns of a study's results, and one row from one outcome."""

from __future__ import annotations

from typing import Any

from tapfall.files.tables import Cell
from tapfall.study.manifest import Entry

READ, FAILED = "read", "failed"

_THRESHOLD = ("mmHg", "low_mmHg", "high_mmHg", "confidence", "state")

#: What follows the manifest's own columns.
COLUMNS = (
    "outcome",
    "reason",
    "status",
    "reasons",
    *(f"systolic_{part}" for part in _THRESHOLD),
    *(f"diastolic_{part}" for part in _THRESHOLD),
    "diastolic_rule",
    "k5_mmHg",
    "first_silence_mmHg",
    "muffling_mmHg",
    "gap_upper_mmHg",
    "gap_lower_mmHg",
    "pulse_per_min",
    "rhythm",
    "flags",
    "technique_faults",
    "lag_s",
    "signal_to_noise_db",
    "deflation_mmHg_per_s",
    "deflation_mmHg_per_beat",
    "measurements",
    "simulated",
    "reading_file",
    "reading_sha256",
    "audio_sha256",
    "cuff_sha256",
    "tapfall_version",
    "key",
)


def row_of(
    entry: Entry,
    *,
    key: str,
    record: dict[str, Any] | None,
    reading_sha256: str = "",
    measurements: int = 0,
    simulated: bool = False,
    reason: str | None = None,
) -> tuple[Cell, ...]:
    """Return the row of a recording.

    Parameters
    ----------
    entry
        Its row in the manifest, whose cells come first.
    key
        Hash of all that the outcome depends on.
    record
        The reading as JSON values; ``None`` where it failed.
    reading_sha256
        Hash of its file.
    measurements
        How many the recording holds.
    simulated
        Whether the recording is known to be: no person was measured.
    reason
        Why it failed.

    Returns
    -------
    tuple
        As many cells as the manifest has columns and :data:`COLUMNS` has names.
    """
    found: dict[str, Cell] = {"key": key}
    if record is None:
        found |= {"outcome": FAILED, "reason": reason}
    else:
        found |= _reading_cells(record) | {
            "outcome": READ,
            "measurements": measurements,
            "simulated": simulated,
            "reading_file": f"readings/{entry.file_name}.json",
            "reading_sha256": reading_sha256,
        }
    return (*entry.cells, *(found.get(name) for name in COLUMNS))


def _reading_cells(record: dict[str, Any]) -> dict[str, Cell]:
    found: dict[str, Cell] = {
        f"{name}_{part}": record[name][part]
        for name in ("systolic", "diastolic")
        for part in _THRESHOLD
    }
    gap = record["gaps"][0] if record["gaps"] else {}
    faults = [one["check"] for one in record["technique"] if one["state"] == "fault"]
    source, lag = record["source"] or {}, record["lag"] or {}
    return found | {
        "status": record["status"],
        "reasons": " ".join(record["reasons"]),
        "diastolic_rule": record["diastolic"]["rule"],
        "k5_mmHg": record["diastolic"]["k5_mmHg"],
        "first_silence_mmHg": record["first_silence"]["mmHg"],
        "muffling_mmHg": record["muffling"]["mmHg"],
        "gap_upper_mmHg": gap.get("upper_mmHg"),
        "gap_lower_mmHg": gap.get("lower_mmHg"),
        "pulse_per_min": record["pulse_per_min"],
        "rhythm": record["rhythm"],
        "flags": " ".join(record["flags"]),
        "technique_faults": "; ".join(faults),
        "lag_s": lag.get("seconds"),
        "signal_to_noise_db": record["quality"]["signal_to_noise_db"],
        "deflation_mmHg_per_s": record["quality"]["deflation_mmHg_per_s"],
        "deflation_mmHg_per_beat": record["quality"]["deflation_mmHg_per_beat"],
        "audio_sha256": source.get("audio_sha256"),
        "cuff_sha256": source.get("cuff_sha256"),
        "tapfall_version": record["version"],
    }
