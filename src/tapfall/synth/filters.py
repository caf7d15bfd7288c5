"""Causal filters, each designed once."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
from scipy import signal

from tapfall.model import FloatArray


@lru_cache(maxsize=256)
def _band_sos(low_hz: float, high_hz: float, rate_hz: float, order: int) -> FloatArray:
    high = min(high_hz, 0.45 * rate_hz)
    low = min(low_hz, 0.7 * high)
    return np.asarray(signal.butter(order, [low, high], "bandpass", fs=rate_hz, output="sos"))


@lru_cache(maxsize=64)
def _edge_sos(corner_hz: float, kind: Literal["highpass", "lowpass"], rate_hz: float) -> FloatArray:
    return np.asarray(signal.butter(1, corner_hz, kind, fs=rate_hz, output="sos"))


def band(
    raw: FloatArray, low_hz: float, high_hz: float, rate_hz: float, order: int = 2
) -> FloatArray:
    """Band-pass along the last axis (Butterworth, causal); edges above 0.45 of the rate move."""
    out: FloatArray = signal.sosfilt(_band_sos(low_hz, high_hz, rate_hz, order), raw)
    return out


def edges(
    raw: FloatArray, highpass_hz: float, lowpass_hz: float | None, rate_hz: float
) -> FloatArray:
    """First-order high-pass and low-pass along the last axis (causal)."""
    parts = [_edge_sos(highpass_hz, "highpass", rate_hz)]
    if lowpass_hz is not None and lowpass_hz < 0.45 * rate_hz:
        parts.append(_edge_sos(lowpass_hz, "lowpass", rate_hz))
    out: FloatArray = signal.sosfilt(np.concatenate(parts), raw)
    return out
