"""Published figures, checked against what their sources define."""

from __future__ import annotations

import pytest

from tapfall import standards

FIGURES = {
    name: value for name, value in vars(standards).items() if isinstance(value, standards.Figure)
}


def test_kilopascal() -> None:
    # 1 mmHg is the pressure of 1 mm of mercury of 13.5951 g/cm3 at 9.80665 m/s2.
    mmhg_in_pascal = 13595.1 * 9.80665 * 0.001
    assert standards.KILOPASCAL.value == pytest.approx(1000.0 / mmhg_in_pascal, abs=5e-6)


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_has_unit_and_source(name: str) -> None:
    assert FIGURES[name].unit
    assert len(FIGURES[name].source) > 20
