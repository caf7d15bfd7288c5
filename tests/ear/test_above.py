"""Whether the top of the deflation lies above systolic, as the cuff's pulse tells it.

Source of the bell's shape: Liu 2014 (widths of 57 and 89 mmHg at 50 % and 30 %
of its height); of the pulse's size at systolic: Geddes 1982 (about half of the
largest; from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear.above import ABOVE, MOST_SILENCE_MMHG, UNIT_MMHG, above_measures, sounds_above
from tapfall.ear.bell import draw_bell
from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.pulses import Pulses
from tapfall.synth.log import bell
from tapfall.synth.scenario import Cuff
from tests.ear.made import line


def cuff_of(
    top_mmhg: float, largest_mmhg: float = 105.0, size_mmhg: float = 2.0
) -> tuple[Pulses, Deflation]:
    """Pulses on a bell around their largest, on a fall of 3 mmHg/s from a top."""
    end_s = 11.0 + (top_mmhg - 50.0) / 3.0
    corners = ((0, 0), (4, 0), (9, top_mmhg), (11, top_mmhg), (end_s, 50), (end_s + 0.7, 0))
    time_s, pressure_mmhg = line((*corners, (end_s + 6, 0)), 50.0)
    deflation = find_deflation(time_s, pressure_mmhg)
    assert deflation is not None
    beat_s = np.arange(deflation.start_s + 0.3, deflation.end_s, 0.8)
    size = size_mmhg * bell(Cuff(), deflation.pressure_mmhg(beat_s) - largest_mmhg)
    seen = np.ones(beat_s.size, bool)
    return Pulses(
        time_s=beat_s, size_mmhg=size, seen=seen, real=np.ones(seen.size), usable=True, error_s=0.0
    ), deflation


def measured(top_mmhg: float, systolic_mmhg: float, **others: float) -> np.ndarray:
    found = above_measures(draw_bell(*cuff_of(top_mmhg, **others)), systolic_mmhg, 85.0, -2.0)
    assert found is not None
    return found


def test_the_bell_is_measured_where_it_lies() -> None:
    found = dict(zip(ABOVE, measured(175.0, 134.0).tolist(), strict=True))
    assert found["size_at_systolic"] == pytest.approx(0.5, abs=0.06)
    assert found["size_at_top"] < 0.25
    assert found["systolic_over_largest"] == pytest.approx(29 / 20, abs=0.2)
    assert found["largest_over_diastolic"] == pytest.approx(1.0, abs=0.2)


def test_the_manometers_scale_of_pulses_does_not_matter() -> None:
    assert measured(175.0, 134.0) == pytest.approx(measured(175.0, 134.0, size_mmhg=3.5), abs=0.02)


def test_silence_above_tells_no_more_from_some_pressure_on() -> None:
    at = ABOVE.index("top_over_systolic")
    assert measured(174.0, 134.0)[at] == pytest.approx(40.0 / UNIT_MMHG, abs=0.1)
    assert measured(250.0, 134.0)[at] == MOST_SILENCE_MMHG / UNIT_MMHG


def test_a_top_far_above_the_bell_is_above_systolic() -> None:
    assert sounds_above(measured(175.0, 134.0)) < 0.2


def test_a_top_on_the_bell_may_lie_in_a_gap() -> None:
    assert sounds_above(measured(122.0, 106.0)) > 0.8


def test_no_pulse_tells_nothing() -> None:
    pulses, deflation = cuff_of(175.0)
    hidden = replace(pulses, usable=False)
    assert above_measures(draw_bell(hidden, deflation), 134.0, 85.0, -2.0) is None
