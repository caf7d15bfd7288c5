"""What the hand does to the cuff: inflation, deflation, release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.model import FloatArray
from tapfall.synth.scenario import Cuff
from tapfall.synth.streams import stream

_STEP_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Cuff pressure without pulses: corners of a line, and when things happen.

    ``time_s`` and ``pressure_mmhg`` have shape ``(n,)``, audio time.
    ``strokes_s`` has shape ``(m, 2)``: start and end of each stroke of the bulb
    or run of the pump.  ``hold_s`` is when the last deflation's top was
    reached, ``fall_s`` when that deflation began, ``release_s`` when the quick release began.
    """

    time_s: FloatArray
    pressure_mmhg: FloatArray
    strokes_s: FloatArray
    hold_s: float
    fall_s: float
    release_s: float
    end_s: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the cuff pressure at audio times, mmHg, shape of ``time_s``."""
        pressure: FloatArray = np.interp(time_s, self.time_s, self.pressure_mmhg)
        return pressure


class _Line:
    """Corners of a line, growing."""

    def __init__(self) -> None:
        self.times: list[float] = [0.0]
        self.pressures: list[float] = [0.0]

    @property
    def now_s(self) -> float:
        return self.times[-1]

    @property
    def mmhg(self) -> float:
        return self.pressures[-1]

    def go(self, for_s: float, to_mmhg: float) -> None:
        self.times.append(self.now_s + max(for_s, 1e-3))
        self.pressures.append(to_mmhg)

    def follow(self, after_s: FloatArray, mmhg: FloatArray) -> None:
        start_s = self.now_s
        self.times.extend((start_s + after_s).tolist())
        self.pressures.extend(mmhg.tolist())


def _inflate(
    line: _Line, cuff: Cuff, top_mmhg: float, rng: np.random.Generator
) -> list[list[float]]:
    """Inflate to the top; return start and end of each stroke."""
    if cuff.inflation == "pump":
        begun_s = line.now_s
        line.go((top_mmhg - line.mmhg) / cuff.inflation_mmhg_per_s, top_mmhg)
        return [[begun_s, line.now_s]]
    strokes = []
    while line.mmhg < top_mmhg - 0.1:
        rise = cuff.stroke_mmhg * float(rng.uniform(0.75, 1.25))
        target = min(line.mmhg + rise, top_mmhg)
        if top_mmhg - target < 0.3 * cuff.stroke_mmhg:
            target = top_mmhg
        stroke_s = (target - line.mmhg) / cuff.inflation_mmhg_per_s
        begun_s = line.now_s
        line.go(0.55 * stroke_s, target)
        strokes.append([begun_s, line.now_s])
        line.go(0.45 * stroke_s, target)
    return strokes


def _deflate(line: _Line, cuff: Cuff, end_mmhg: float, rng: np.random.Generator) -> None:
    """Let the pressure fall to its end with the valve's wobble, steps and pause."""
    start = line.mmhg
    drop = start - end_mmhg
    n = int(3 * drop / cuff.deflation_mmhg_per_s / _STEP_S) + 40
    wobble = np.repeat(rng.standard_normal(n // 20 + 2), 20)[:n]
    kernel = np.hanning(41)
    wobble = np.convolve(wobble, kernel / np.sqrt((kernel**2).sum() * 20), mode="same")
    rate = cuff.deflation_mmhg_per_s * np.maximum(1 + cuff.wobble_share * wobble, 0.15)
    curve = cuff.deflation_curve
    mean = max((start + end_mmhg) / 2, 10.0)
    fallen = np.cumsum(rate) * _STEP_S
    if curve > 0:
        slope = curve / mean
        level = (1 - curve + slope * start) / slope
        fallen = level * (1 - np.exp(-slope * fallen))
    after_s = np.arange(1, n + 1, dtype=np.float64) * _STEP_S
    keep = fallen < drop
    fallen, after_s = fallen[keep], after_s[keep]
    if cuff.step_mmhg > 0:
        whole = np.floor(fallen / cuff.step_mmhg)
        part = fallen / cuff.step_mmhg - whole
        fallen = cuff.step_mmhg * (whole + np.clip(part / 0.2, 0, 1))
    mmhg = start - fallen
    if cuff.pause_at_mmhg > 0:
        after_s = after_s + cuff.pause_s * (mmhg < cuff.pause_at_mmhg)
    line.follow(after_s, np.maximum(mmhg, end_mmhg))
    line.go(_STEP_S, end_mmhg)


def trend_of(cuff: Cuff, seed: int) -> Trend:
    """Return the cuff's pressure over a whole measurement.

    Parameters
    ----------
    cuff
        What the hand does.
    seed
        The scenario's seed.

    Returns
    -------
    Trend
        In audio time, starting at 0 with the cuff at rest.

    Examples
    --------
    >>> trend = trend_of(Cuff(top_mmhg=150.0, end_mmhg=50.0, deflation_mmhg_per_s=2.0), 1)
    >>> bool(45 < trend.release_s - trend.fall_s < 55)
    True
    """
    rng = stream(seed, "hand")
    line = _Line()
    line.go(cuff.rest_before_s, 0.0)
    strokes: list[list[float]] = []
    if cuff.run_up_mmhg > 0:
        strokes += _inflate(line, cuff, cuff.run_up_mmhg, rng)
        line.go(0.5, line.mmhg)
        line.go(line.mmhg / cuff.release_mmhg_per_s, 0.0)
        line.go(cuff.run_up_rest_s, 0.0)
    strokes += _inflate(line, cuff, cuff.top_mmhg, rng)
    hold_s = line.now_s
    line.go(cuff.hold_s, cuff.top_mmhg)
    fall_s = line.now_s
    if cuff.end_mmhg < cuff.reinflate_at_mmhg < cuff.top_mmhg:
        _deflate(line, cuff, cuff.reinflate_at_mmhg, rng)
        strokes += _inflate(line, cuff, line.mmhg + cuff.reinflate_by_mmhg, rng)
        hold_s = fall_s = line.now_s
    _deflate(line, cuff, cuff.end_mmhg, rng)
    release_s = line.now_s
    line.go(line.mmhg / cuff.release_mmhg_per_s, 0.0)
    line.go(cuff.rest_after_s, 0.0)
    return Trend(
        time_s=np.array(line.times),
        pressure_mmhg=np.array(line.pressures),
        strokes_s=np.array(strokes),
        hold_s=hold_s,
        fall_s=fall_s,
        release_s=release_s,
        end_s=line.now_s,
    )
