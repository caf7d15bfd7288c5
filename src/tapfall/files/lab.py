"""Recordings in the forms of a laboratory: WFDB, EDF and MATLAB, chosen by suffix."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from tapfall.bounds import KPA_LIKE_MMHG
from tapfall.errors import AudioError, CuffLogError, InputError, SettingError, shown
from tapfall.files.audio import PRESSURE_RATE_HZ, Sound
from tapfall.files.cuffrules import (
    Column,
    check_length,
    check_rows,
    check_spacing,
)
from tapfall.files.labedf import open_edf
from tapfall.files.labfile import LabFile, index_of, only_channel, refusing, sound_of
from tapfall.files.labmat import open_mat
from tapfall.files.labwfdb import open_wfdb
from tapfall.files.names import PathLike
from tapfall.files.units import PRESSURE_UNITS, mmhg_per, volts_per
from tapfall.model import CuffLog, FloatArray

Opener = Callable[[PathLike, type[InputError]], LabFile]

_BY_SUFFIX: dict[str, Opener] = {".hea": open_wfdb, ".edf": open_edf, ".mat": open_mat}


def opener_of(path: PathLike) -> Opener | None:
    """Return what opens a file of a laboratory form, None for any other file.

    A ``.dat`` file is a signal file of a WFDB record where its header stands beside it.

    Examples
    --------
    >>> opener_of("arm.EDF").__name__, opener_of("arm.wav")
    ('open_edf', None)
    """
    suffix = Path(path).suffix.lower()
    try:
        if suffix == ".dat" and Path(path).with_suffix(".hea").is_file():
            return open_wfdb
    except (OSError, ValueError):
        return None
    return _BY_SUFFIX.get(suffix)


def lab_sound(
    opener: Opener,
    path: PathLike,
    channel: int | str | None,
    cuff_channel: int | str | None,
    to_log: Callable[[LabFile, int], CuffLog],
) -> tuple[Sound, CuffLog | None]:
    """Read the sound of a laboratory file, and the cuff pressure where it is in there too.

    Raises
    ------
    AudioError, CuffLogError
        The file, or the channel, cannot be used.
    SettingError
        A channel that the file does not have, or one channel for both.
    """
    lab = opener(path, AudioError)
    cuff = None if cuff_channel is None else index_of(lab, cuff_channel, "cuff_channel")
    if channel is not None:
        index = index_of(lab, channel, "channel")
    else:
        index = only_channel(lab, "channel", besides=cuff)
    if index == cuff:
        raise SettingError(
            f"{lab.label}: found sound and cuff pressure on channel {index + 1}; "
            "allowed two different channels"
        )
    samples, rate_hz = sound_of(lab, index)
    sound = Sound(samples=samples, rate_hz=rate_hz, sha256=lab.sha256, channels=len(lab.channels))
    return sound, None if cuff is None else to_log(lab, cuff)


def lab_log(
    opener: Opener,
    path: PathLike,
    cuff_channel: int | str | None,
    to_log: Callable[[LabFile, int], CuffLog],
) -> tuple[CuffLog, str]:
    """Read the cuff pressure of a laboratory file, with the file's SHA-256."""
    lab = opener(path, CuffLogError)
    if cuff_channel is None:
        index = only_channel(lab, "cuff_channel")
    else:
        index = index_of(lab, cuff_channel, "cuff_channel")
    return to_log(lab, index), lab.sha256


def log_of(lab: LabFile, index: int, scale: float | None, offset: float | None) -> CuffLog:
    """Turn a channel into a cuff log in mmHg.

    Parameters
    ----------
    lab, index
        The file, and the channel from 0.
    scale, offset
        Of a channel that is in no unit of pressure: mmHg per volt where it is in volts,
        else per unit of its values, and mmHg at 0.

    Returns
    -------
    CuffLog
        Averaged to 200 rows a second or less, unless the file lists times.

    Raises
    ------
    CuffLogError
        Pressures, or times, that cannot be those of a cuff.
    SettingError
        A scale is missing, or given for a channel that says its unit.
    """
    channel = lab.channels[index]
    where = f"{lab.label}: channel {shown(channel.name, 30)}"
    factor = _factor(where, channel.unit, scale, offset)
    with refusing(lab.label, lab.form, CuffLogError):
        values = channel.values()
        times = None if channel.time_s is None else channel.time_s()
    if times is None:
        if channel.rate_hz is None:
            raise CuffLogError(f"{where}: found no rate and no times; allowed one of them")
        times, values = _averaged(values, channel.rate_hz)
    elif not np.isfinite(times).all():
        raise CuffLogError(f"{where}: found a time that is no number; allowed finite times")
    known = ~np.isnan(values)
    with np.errstate(over="ignore", invalid="ignore"):
        mmhg = values[known] * factor + (offset or 0.0)
    rows = np.flatnonzero(known) + 1
    column = Column(name="pressure in mmHg", unit="mmHg", mmhg_per_unit=1.0)
    kept, faults, _ = check_rows(times[known], mmhg, rows, column)
    if faults:
        row, text = min(faults)
        raise CuffLogError(f"{where}: row {row}: {text}")
    if np.count_nonzero(kept) < 2:
        raise CuffLogError(f"{where}: found fewer than 2 pressures; allowed 2 or more")
    log = CuffLog(
        time_s=times[known][kept],
        pressure_mmhg=mmhg[kept],
        rows_repeated=len(kept) - int(np.count_nonzero(kept)),
    )
    check_length(where, log)
    check_spacing(where, log)
    low, high = KPA_LIKE_MMHG
    peak = float(log.pressure_mmhg.max())
    if scale is None and factor == 1.0 and low <= peak < high:
        raise CuffLogError(
            f"{where}: found a highest pressure of {peak:g} mmHg; allowed a cuff at "
            f"rest, below {low:g} mmHg, or one that rises to {high:g} or more (is the unit right?)"
        )
    return log


def _factor(where: str, unit: str, scale: float | None, offset: float | None) -> float:
    """Return mmHg per unit of a channel's values."""
    factor = mmhg_per(unit)
    if factor is not None:
        if scale is not None or offset is not None:
            raise SettingError(
                f"{where}: found a cuff scale or offset for a channel in {unit.strip()}; allowed "
                "only where a channel is in no unit of pressure"
            )
        return factor
    volts = volts_per(unit)
    if scale is None:
        per = "volt" if volts is not None else "unit of its values"
        found = f"the unit {shown(unit, 12)}" if unit else "no unit"
        raise SettingError(
            f"{where}: found {found} and no cuff scale; allowed {PRESSURE_UNITS}, or a scale in "
            f"mmHg per {per}"
        )
    return scale * (1.0 if volts is None else volts)


def _averaged(values: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Means of blocks, at 200 Hz or less, with the middle of each block; NaN stays NaN."""
    block = max(1, int(np.ceil(rate_hz / PRESSURE_RATE_HZ)))
    edges = np.arange(0, len(values), block)
    counts = np.diff(np.append(edges, len(values)))
    means = np.add.reduceat(values, edges) / counts
    return (edges + (counts - 1) / 2.0) / rate_hz, means
