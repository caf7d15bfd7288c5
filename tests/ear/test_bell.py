"""The cuff's own pulse over pressure, against the published bell and the ends told by it.

Source of the bell's shape: Liu 2014 (widths of 57 and 89 mmHg at 50 % and 30 %
of its height).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear.bell import LEAST_PULSES, draw_bell
from tests.ear.test_above import cuff_of


def test_the_bell_is_as_wide_as_published() -> None:
    bell = draw_bell(*cuff_of(200.0, largest_mmhg=110.0), near_mmhg=2.0)
    assert bell is not None
    assert bell.largest_mmhg == pytest.approx(110.0, abs=2.0)
    share = bell.share_at(bell.cuff_mmhg)
    wide = [float(np.ptp(bell.cuff_mmhg[share >= least])) for least in (0.5, 0.3)]
    assert wide == pytest.approx([57.0, 89.0], abs=2.5)


def test_shares_are_of_the_largest_and_go_on_beyond_the_ends() -> None:
    bell = draw_bell(*cuff_of(175.0, size_mmhg=3.5))
    assert bell is not None
    largest, top, beyond = bell.share_at(np.array([bell.largest_mmhg, bell.top_mmhg, 260.0]))
    assert largest == pytest.approx(1.0)
    assert 0 < top == beyond < 0.3


def test_few_pulses_draw_no_bell() -> None:
    pulses, deflation = cuff_of(175.0)
    few = slice(LEAST_PULSES - 1)
    fewer = replace(pulses, time_s=pulses.time_s[few], size_mmhg=pulses.size_mmhg[few])
    assert draw_bell(fewer, deflation) is None
    assert draw_bell(replace(pulses, usable=False), deflation) is None
