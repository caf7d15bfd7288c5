"""Numbers fitted on simulated recordings of the calibration seeds.

Made by ``python -m tests.calibrate``; not to be edited by hand.
"""

from __future__ import annotations

#: Raw posterior within 4 mmHg to confidence: knots of a monotone map.
CONFIDENCE: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "systolic": ((0.0, 1.0), (0.0, 1.0)),
    "diastolic": ((0.0, 1.0), (0.0, 1.0)),
}
