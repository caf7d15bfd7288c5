"""Networks run with numpy give what scipy's correlation gives."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import signal

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.network import Layer, Weights, convolve, run_layers


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (3, 5), (5, 3)])
@pytest.mark.parametrize("dilation", [(1, 1), (2, 1), (4, 2)])
def test_a_layer_is_a_correlation(rows: int, columns: int, dilation: tuple[int, int]) -> None:
    rng = np.random.default_rng(rows * 10 + columns)
    values = rng.standard_normal((11, 13, 3)).astype(np.float32)
    kernel = rng.standard_normal((rows, columns, 3, 2)).astype(np.float32)
    bias = np.array([0.5, -1.0], np.float32)
    found = convolve(values, Layer(kernel=kernel, bias=bias, dilation=dilation))
    spread = np.zeros(((rows - 1) * dilation[0] + 1, (columns - 1) * dilation[1] + 1, 3, 2))
    spread[:: dilation[0], :: dilation[1]] = kernel
    for out in range(2):
        # Reference: scipy.signal.correlate2d, zero beyond the edges.
        whole = sum(
            signal.correlate2d(values[:, :, c], spread[:, :, c, out], "same") for c in range(3)
        )
        assert np.allclose(found[:, :, out], whole + bias[out], atol=1e-4)


def test_values_are_rectified_between_layers_and_not_after_the_last() -> None:
    one = np.ones((1, 1, 1, 1), np.float32)
    minus = Layer(kernel=-one, bias=np.zeros(1, np.float32), dilation=(1, 1))
    values = np.array([[[2.0], [-3.0]]], np.float32)
    assert run_layers(values, [minus]).tolist() == [[-2.0, 3.0]]
    assert run_layers(values, [minus, minus]).tolist() == [[0.0, -3.0]]


def test_measures_far_out_decide_no_more_than_four_deviations() -> None:
    weights = Weights(
        mean=np.zeros(1),
        spread=np.ones(1),
        hidden=np.ones((1, 1)),
        bias=np.zeros(1),
        out=np.ones(1),
        offset=0.0,
    )
    assert weights.value(np.array([[4.0]])) == weights.value(np.array([[400.0]]))


def test_every_network_is_shipped_whole() -> None:
    assert set(CALIBRATION.layers) == {
        "rises",
        "onsets",
        "onsets_around",
        "pulses",
        "sounds",
        "evidence",
        "evidence-2",
        "evidence-3",
        "starting",
        "closer",
        "closer-2",
        "muffling",
        *(f"{end}_sound{member}" for end in ("first", "last") for member in ("", "-2", "-3")),
    }
    for layers in CALIBRATION.layers.values():
        for before, after in itertools.pairwise(layers):
            assert before.kernel.shape[3] == after.kernel.shape[2] == before.bias.size
        assert layers[-1].kernel.shape[3] == 1
        assert all(np.isfinite(layer.kernel).all() for layer in layers)
