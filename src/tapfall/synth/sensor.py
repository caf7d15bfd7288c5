"""The stethoscope: frequency response, automatic gain, clipping, resolution."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapfall.model import FloatArray
from tapfall.synth.filters import edges
from tapfall.synth.scenario import Sensor

#: Corner frequencies in Hz of each response (our choice, after common practice: the bell
#: keeps low frequencies, the diaphragm favours higher ones).
CORNERS_HZ = {
    "flat": (5.0, None),
    "bell": (20.0, 250.0),
    "diaphragm": (80.0, 700.0),
    "electronic": (20.0, 1000.0),
}


def respond(sensor: Sensor, raw: FloatArray) -> FloatArray:
    """Apply the frequency response along the last axis (first order each side, causal)."""
    low_hz, high_hz = CORNERS_HZ[sensor.response]
    return edges(raw, low_hz, high_hz, float(sensor.rate_hz))


def _gain(sensor: Sensor, samples: FloatArray) -> FloatArray:
    """Slow automatic gain: quiet stretches are boosted by up to its swing."""
    hop = max(int(sensor.rate_hz / 100), 1)
    blocks = -(-samples.size // hop)
    padded = np.zeros(blocks * hop)
    padded[: samples.size] = samples
    power = np.mean(padded.reshape(blocks, hop) ** 2, axis=1)
    keep = np.exp(-hop / sensor.rate_hz / sensor.gain_s)
    start = np.array([keep * power.mean()])
    smooth, _ = signal.lfilter([1 - keep], [1, -keep], power, zi=start)
    below_db = 10 * np.log10(smooth.max() / np.maximum(smooth, 1e-30))
    boost_db = np.minimum(0.7 * below_db, sensor.gain_swing_db)
    centre = (np.arange(blocks) + 0.5) * hop
    gain: FloatArray = 10 ** (np.interp(np.arange(samples.size), centre, boost_db) / 20)
    return gain


def record(sensor: Sensor, heard: FloatArray) -> NDArray[np.float32]:
    """Turn what arrives, response applied, into samples: gain, clipping, resolution.

    Returns
    -------
    ndarray
        float32, full scale 1.0, shape as given.
    """
    samples = heard
    if sensor.gain_swing_db > 0:
        samples = samples * _gain(sensor, samples)
    samples = np.clip(samples, -sensor.clip_share, sensor.clip_share)
    if sensor.bits > 0:
        steps = 2.0 ** (sensor.bits - 1)
        samples = np.clip(np.round(samples * steps), -steps, steps - 1) / steps
    return samples.astype(np.float32)
