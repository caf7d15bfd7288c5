"""What the panels are made from: envelope, levels, runs of phases, places of labels, words."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapfall.model import Beat, Flag, Phase, Recording
from tapfall.show.cuff_panel import phase_runs, spread
from tapfall.show.look import PHASE_FILLS
from tapfall.show.sound_panels import (
    cut,
    envelope,
    levels_db,
    scaled,
    usual,
    without_thumps,
    worked,
)
from tapfall.show.words import headline, remarks
from tests.show import made


@pytest.mark.parametrize("rate_hz", [1000.0, 4000.0, 11_025.0, 44_100.0])
def test_a_tone_shows_at_its_frequency(rate_hz) -> None:
    time_s = np.arange(int(3 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * 120.0 * time_s).astype(np.float32)
    levels, top_hz = levels_db(*worked(tone, rate_hz))
    loudest = int(np.argmax(levels[:, levels.shape[1] // 2]))
    bin_hz = top_hz / (levels.shape[0] - 0.5)
    assert loudest * bin_hz == pytest.approx(120.0, abs=bin_hz)
    assert 450.0 <= top_hz <= 515.0
    assert levels.max() == pytest.approx(0.0, abs=1.5)  # a full-scale tone, between two bins


def test_levels_are_columns_the_figure_can_show() -> None:
    levels, _ = levels_db(np.zeros(600_000, dtype=np.float32), 2000.0)
    assert levels.shape[1] <= 1602


def test_a_single_loud_sample_survives_the_envelope() -> None:
    sound = np.zeros(100_000, dtype=np.float32)
    sound[54_321] = -0.9
    found = envelope(sound, 1000.0, 2.0)
    column = int(np.argmin(found.low))
    assert found.low[column] == np.float32(-0.9)
    assert found.time_s[column] == pytest.approx(2.0 + 54.321, abs=0.07)
    assert found.time_s.size == 1600


def test_thumps_are_left_out_of_the_waveform_and_taps_are_not() -> None:
    time_s = np.arange(8000) / 2000.0
    for tone_hz, kept in ((8.0, False), (60.0, True)):
        tone = np.sin(2 * np.pi * tone_hz * time_s).astype(np.float32)
        peak = float(np.abs(without_thumps(tone, 2000.0)[4000:]).max())
        assert (peak > 0.9) is kept
        assert (peak < 0.03) is not kept


def test_the_scale_is_set_by_the_span_that_counts() -> None:
    values = np.array([[9.0, 1.0, 2.0, 9.0], [9.0, 1.0, 2.0, 9.0]])
    assert usual(values, 0.0, 4.0, (1.0, 3.0)) == 2.0
    assert usual(values, 0.0, 4.0, (1.0, 3.0), 0.0) == 1.0
    assert usual(values, 0.0, 4.0, (7.0, 8.0)) == 9.0


@pytest.mark.parametrize(
    ("samples", "wanted"),
    [
        (np.array([-32768, 32767], dtype=np.int16), [-1.0, 32767 / 32768]),
        (np.array([-(2**31), 2**30], dtype=np.int32), [-1.0, 0.5]),
        (np.array([0.25, -0.5]), [0.25, -0.5]),
    ],
    ids=["int16", "int32", "float64"],
)
def test_full_scale_is_one(samples, wanted) -> None:
    np.testing.assert_allclose(scaled(samples), np.asarray(wanted, dtype=np.float32))


def test_cut_keeps_the_clock() -> None:
    sound = Recording(
        samples=np.arange(100, dtype=np.float32), rate_hz=10.0, cuff=made.cuff_log(seconds=4.0)
    )
    samples, first_s = cut(sound, 2.05, 3.0)
    assert first_s == 2.0
    assert samples.tolist() == list(range(20, 30))
    assert cut(sound, -5.0, 50.0)[0].size == 100


def test_runs_leave_no_hole() -> None:
    runs = phase_runs(made.with_gap().beats)
    assert [run.phase for run in runs] == [
        Phase.SILENT,
        Phase.K1,
        Phase.K2,
        Phase.GAP,
        Phase.K3,
        Phase.K4,
        Phase.SILENT,
    ]
    assert all(one.end_s == other.start_s for one, other in itertools.pairwise(runs))


def test_runs_of_few_beats() -> None:
    beat = Beat(time_s=5.0, cuff_mmhg=100.0, heard=1.0, phase=Phase.K1)
    (run,) = phase_runs([beat])
    assert run.start_s < 5.0 < run.end_s
    assert phase_runs([]) == ()


def test_every_phase_has_a_look() -> None:
    assert set(PHASE_FILLS) == set(Phase)
    assert len(set(PHASE_FILLS.values())) == len(PHASE_FILLS)


@given(st.lists(st.tuples(st.floats(-0.2, 1.2), st.floats(0.02, 0.2)), min_size=1, max_size=5))
def test_spread_labels_keep_their_order_and_never_overlap(pairs) -> None:
    pairs = sorted(pairs, reverse=True)
    heights = [height for _, height in pairs]
    centres = spread([centre for centre, _ in pairs], heights)
    edges = [(c + h / 2, c - h / 2) for c, h in zip(centres, heights, strict=True)]
    assert all(upper[1] >= lower[0] - 1e-9 for upper, lower in itertools.pairwise(edges))
    assert edges[0][0] <= 1.0 + 1e-9
    assert edges[-1][1] >= -1e-9


def test_labels_far_apart_stay_where_they_belong() -> None:
    assert spread([0.8, 0.3], [0.1, 0.1]) == [0.8, 0.3]


@pytest.mark.parametrize(
    ("reading", "wanted"),
    [
        (made.ordinary(), "127/83 mmHg"),
        (made.bounded(), "at least 167 / at most 72 mmHg (review)"),
        (made.to_zero(), "127/91/0 mmHg (review)"),
        (made.unreadable(), "unreadable"),
    ],
)
def test_headline(reading, wanted) -> None:
    assert headline(reading) == wanted


def test_remarks_give_status_reasons_and_flags() -> None:
    first, *flags = remarks(made.bounded())
    assert first == "Status: review."  # the flags say why
    assert len(flags) == 3


def test_remarks_give_the_reasons_that_no_flag_tells() -> None:
    first, *flags = remarks(replace(made.bounded(), flags=(Flag.DEFLATION_FAST,)))
    assert first == (
        "Status: review (systolic: sounds were present from the top of the deflation; "
        "diastolic: sounds were still present when the deflation ended)."
    )
    assert len(flags) == 1
