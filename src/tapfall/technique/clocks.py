"""Whether inflation and release are heard where the lag of a reading has them."""

from __future__ import annotations

import numpy as np

from tapfall.device.heard_lag import heard_lag
from tapfall.ear.lag import LARGEST_LAG_S
from tapfall.model import CuffLog, Finding, Lag, Reading, Recording
from tapfall.technique.checks import FAULT, OK, Check
from tapfall.technique.log import CuffWork

#: Heard further off than this, the lag is wrong (our choice: as far as a lag is searched for;
#: what is heard is good to some tenths of a second, at worst to one).
FAR_S = LARGEST_LAG_S

#: What the check is called.
CLOCKS = "clocks"

_CLOCKS = Check(
    name=CLOCKS,
    expected=f"at most {FAR_S:g} off",
    unit="s",
    source="our choice: as far as a lag is searched for",
)
_WHOLE_BEATS = (
    "values may be wrong by whole beats: give the lag, or record both with one clock next time"
)


def clocks_finding(work: CuffWork | None, recording: Recording, reading: Reading) -> Finding:
    """Judge the lag of a reading by the noise of inflation and release.

    Parameters
    ----------
    work
        The measurement, ``None`` where the log holds no deflation.
    recording
        Sound and log.
    reading
        What was read, with its lag, given or found.

    Returns
    -------
    Finding
        Seconds between where both are heard and where the log and the lag have them;
        ``unknown`` where they are not clearly heard.
    """
    if work is None:
        return _CLOCKS.unknown("no deflation on the log")
    lag = reading.lag
    if lag is None:
        return _CLOCKS.unknown("no lag is known")
    log = _rows(work, recording.cuff, lag)
    off_s = heard_lag(recording.samples, recording.rate_hz, log)
    if off_s is None:
        return _CLOCKS.unknown("inflation and release are not clearly heard")
    told = f"{abs(off_s):.1f}"
    if abs(off_s) <= FAR_S:
        return _CLOCKS.says(OK, f"{told} off")
    side = "earlier" if off_s > 0 else "later"
    words = (
        f"inflation and release heard {told} s {side} than a lag of {lag.seconds:.1f} s has them"
    )
    return _CLOCKS.says(FAULT, words, _WHOLE_BEATS)


def _rows(work: CuffWork, log: CuffLog, lag: Lag) -> CuffLog:
    """The rows of the measurement and the last at rest before it, in audio time."""
    first = max(int(np.searchsorted(log.time_s, work.time_s[0])) - 1, 0)
    rows = slice(first, int(np.searchsorted(log.time_s, work.time_s[-1], side="right")))
    return CuffLog(time_s=log.time_s[rows] - lag.seconds, pressure_mmhg=log.pressure_mmhg[rows])
