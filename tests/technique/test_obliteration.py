"""Where the artery closes: by the sounds, by the pulse, bounded by a run-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.pulses import Pulses
from tapfall.model import Flag, Reading, State, Threshold
from tapfall.technique import find_obliteration
from tapfall.technique.obliteration import by_pulse
from tests.technique.made import log_of, pulses_of, reading_of


def fall_and_pulses(centre_mmhg: float, usable: bool = True) -> tuple[Deflation, Pulses]:
    """The ordinary fall with pulses in a bell of 57 mmHg at half its height (Liu 2014)."""
    log = log_of()
    fall = find_deflation(log.time_s, log.pressure_mmhg)
    assert fall is not None
    time_s = np.arange(13.0, 51.0, 0.8)
    size = 3.0 * np.exp(np.log(0.5) * ((fall.pressure_mmhg(time_s) - centre_mmhg) / 28.5) ** 2)
    return fall, pulses_of(time_s, size, usable=usable)


def reading(systolic_mmhg: float | None, *flags: Flag) -> Reading:
    made = reading_of(systolic_mmhg, flags=flags)
    if systolic_mmhg is None:
        return made
    return replace(
        made, systolic=replace(made.systolic, low_mmhg=systolic_mmhg, high_mmhg=systolic_mmhg + 3)
    )


def test_by_the_largest_pulse() -> None:
    # 0.45 x 120 + 0.55 x 75 = 95.25 (Chandrasekhar 2019).
    found = by_pulse(*fall_and_pulses(95.25), 75.0)
    assert found is not None
    assert found.mmhg == pytest.approx(120.0, abs=4.0)
    assert found.low_mmhg < 120.0 < found.high_mmhg
    assert found.basis == "pulse"


def test_by_the_size_where_no_diastolic_is_known() -> None:
    # 0.55 of the largest (Geddes 1982, from memory) lies 28.5 x sqrt(log(0.55) / log(0.5)) up.
    found = by_pulse(*fall_and_pulses(95.0), None)
    assert found is not None
    assert found.mmhg == pytest.approx(95.0 + 28.5 * np.sqrt(np.log(0.55) / np.log(0.5)), abs=3.0)
    assert found.high_mmhg - found.low_mmhg > 40.0


def test_nothing_is_told_where_the_pulse_does_not_show_it() -> None:
    assert by_pulse(*fall_and_pulses(95.0, usable=False), 75.0) is None
    assert by_pulse(*fall_and_pulses(160.0), 75.0) is None
    assert by_pulse(*fall_and_pulses(130.0), None) is None


def test_by_the_sounds_where_nothing_speaks_against_them() -> None:
    found = find_obliteration(*fall_and_pulses(97.5), reading(125.0))
    assert found is not None
    assert (found.mmhg, found.low_mmhg, found.high_mmhg) == (125.0, 125.0, 128.0)
    assert found.basis == "sounds"
    slow = find_obliteration(*fall_and_pulses(97.5, usable=False), reading(125.0))
    assert slow is not None
    assert slow.basis == "sounds"


def test_the_pulse_doubts_a_first_sound_below_a_gap() -> None:
    # 0.45 x 145 + 0.55 x 75 = 106.5: sounds from 100 on were the lower end of a gap.
    found = find_obliteration(*fall_and_pulses(106.5), reading(100.0))
    assert found is not None
    assert found.basis == "pulse"
    assert found.mmhg == pytest.approx(145.0, abs=5.0)


def test_sounds_to_zero_tell_no_diastolic_by_their_end() -> None:
    # 0.45 x 120 + 0.55 x 75 = 95.25 by a muffling at 75; by a last sound at 5 it would be 205.
    fall, pulses = fall_and_pulses(95.25)
    heard = reading_of(120.0, diastolic_mmhg=5.0)
    last = find_obliteration(fall, pulses, heard)
    assert last is not None
    assert (last.basis, last.mmhg > 190.0) == ("pulse", True)
    zero = replace(heard, flags=(Flag.SOUNDS_TO_ZERO,))
    muffled = replace(zero, muffling=Threshold(state=State.OBSERVED, mmhg=75.0))
    for one in (muffled, zero):
        found = find_obliteration(fall, pulses, one)
        assert found is not None
        assert (found.basis, found.mmhg) == ("sounds", 120.0)
    silent = replace(muffled, systolic=Threshold(state=State.UNDETERMINED))
    assert find_obliteration(fall, pulses, silent) == by_pulse(fall, pulses, 75.0)


def test_a_flag_widens_the_range_as_far_as_the_pulse_allows() -> None:
    flag = Flag.GAP_ABOVE_NOT_EXCLUDED
    found = find_obliteration(*fall_and_pulses(97.5), reading(125.0, flag))
    assert found is not None
    assert found.mmhg == 125.0
    assert found.high_mmhg > 135.0
    assert find_obliteration(*fall_and_pulses(97.5, usable=False), reading(125.0, flag)) is None


def test_a_run_up_bounds_what_the_pulse_tells() -> None:
    fall, pulses = fall_and_pulses(106.5)
    free = find_obliteration(fall, pulses, reading(None))
    bounded = find_obliteration(fall, pulses, reading(None), run_up_mmhg=140.0)
    short = find_obliteration(fall, pulses, reading(None), run_up_mmhg=60.0)
    assert free is not None
    assert bounded is not None
    assert free.high_mmhg > 140.0
    assert (bounded.high_mmhg, bounded.basis) == (140.0, "pulse and run-up")
    assert short == free


def test_sounds_from_the_top_bound_nothing() -> None:
    made = replace(reading(125.0), systolic=Threshold(state=State.NOT_REACHED, low_mmhg=149.0))
    found = find_obliteration(*fall_and_pulses(106.5), made)
    assert found is not None
    assert found.basis == "pulse"


def even_pulses(sizes: Sequence[tuple[float, float]]) -> tuple[Deflation, Pulses]:
    """Pulses of given sizes at given pressures of a fall of exactly 1 mmHg/s."""
    fall, _ = fall_and_pulses(95.0)
    straight = replace(fall, time_s=np.array([0.0, 200.0]), trend_mmhg=np.array([200.0, 0.0]))
    at_mmhg, size_mmhg = np.array(sizes).T
    return straight, pulses_of(200.0 - at_mmhg, size_mmhg)


def bell(centre_mmhg: float, wide_mmhg: float, high_mmhg: float = 3.0) -> list[tuple[float, float]]:
    """A normal bell, a pulse at every mmHg from 150 down to 50."""
    return [
        (at, high_mmhg * float(np.exp(-0.5 * ((at - centre_mmhg) / wide_mmhg) ** 2)))
        for at in np.arange(150.0, 49.0, -1.0)
    ]


def test_sizes_are_evened_out_over_8_mmhg() -> None:
    # A normal bell of 10 mmHg evened out by one of 8 (ours) is one of sqrt(164) = 12.8; it falls
    # to 0.55 (Geddes 1982, from memory) at 12.8 x sqrt(-2 log(0.55)) = 14.0 above its middle.
    # Whole mmHg are looked at, the first one at or beyond it: half a mmHg more on average.
    above_mmhg = []
    for centre_mmhg in 90.0 + np.arange(0.05, 1.0, 0.1):
        found = by_pulse(*even_pulses(bell(centre_mmhg, 10.0)), None)
        assert found is not None
        above_mmhg.append(found.mmhg - centre_mmhg)
    wanted_mmhg = np.sqrt(10.0**2 + 8.0**2) * np.sqrt(-2.0 * np.log(0.55))
    assert np.mean(above_mmhg) == pytest.approx(wanted_mmhg + 0.5, abs=0.2)


def test_the_unit_of_the_sizes_does_not_matter_and_none_tells_nothing() -> None:
    large = by_pulse(*even_pulses(bell(95.0, 20.0, 3.0)), 75.0)
    assert by_pulse(*even_pulses(bell(95.0, 20.0, 0.3)), 75.0) == large
    assert by_pulse(*even_pulses(bell(95.0, 20.0, 0.0)), 75.0) is None
    assert by_pulse(*even_pulses(bell(95.0, 20.0, 0.0)), None) is None


def test_a_largest_pulse_at_the_last_sound_tells_no_pulse_pressure() -> None:
    fall, pulses = even_pulses(bell(95.0, 20.0))
    by_size = by_pulse(fall, pulses, None)
    assert by_size is not None
    assert by_pulse(fall, pulses, 95.0) == by_size
    by_share = by_pulse(fall, pulses, 94.0)
    assert by_share is not None
    # 1 mmHg above it: 94 + 1 / 0.45 (Chandrasekhar 2019).
    assert by_share.mmhg == pytest.approx(94.0 + 1.0 / 0.45)


def test_a_run_up_may_fall_short_of_the_range_by_just_5_mmhg() -> None:
    fall, pulses = fall_and_pulses(106.5)
    free = find_obliteration(fall, pulses, reading(None))
    assert free is not None
    short = find_obliteration(fall, pulses, reading(None), free.low_mmhg - 5.0)
    assert short is not None
    assert short.basis == "pulse and run-up"


def test_a_bell_is_seen_whose_top_lies_6_mmhg_below_the_first_pulse() -> None:
    # Evened out by a library's filter; whole mmHg from 150 down (6 mmHg are ours).
    seen = set()
    for centre_mmhg in np.arange(130.0, 150.0, 0.25):
        fall, pulses = even_pulses(bell(centre_mmhg, 20.0))
        sums = [
            ndimage.gaussian_filter1d(one, 8.0, mode="constant", truncate=15.0)
            for one in (pulses.size_mmhg, np.ones_like(pulses.size_mmhg))
        ]
        largest_mmhg = 150 - int(np.argmax(sums[0] / sums[1]))
        assert (by_pulse(fall, pulses, 75.0) is None) == (largest_mmhg > 144)
        seen.add(largest_mmhg)
    assert {143, 144, 145, 146} <= seen
