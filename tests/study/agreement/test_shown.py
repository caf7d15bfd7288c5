"""What pages and terminal show of an agreement is what was found, not what it rounds to."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from tapfall.errors import InputError
from tapfall.show.agreement_page import _shares, part_of_group, share_curve
from tapfall.study.agreement import Group, agreement, table_of
from tapfall.study.agreement.text import agreement_text
from tapfall.study.agreement.words import counts_text, numbers_text, percent_text


def group_of(differences: list[float]) -> Group:
    """The group of pairs with such differences."""
    lines = ["reference,estimate", *(f"120,{120.0 + one:.4f}" for one in differences)]
    return agreement(table_of("t", "\n".join(lines).encode())).groups[0]


def test_the_curve_is_that_of_the_sizes_themselves() -> None:
    sizes, shares = share_curve(group_of([-0.5, 4.4, 4.6, -31.0]))
    assert sizes == pytest.approx([0.0, 0.5, 4.4, 4.6, 31.0, 31.0])
    assert shares == [0.0, 25.0, 50.0, 75.0, 100.0, 100.0]
    # Drawn as stairs, it is the share at every size, between whole mmHg as well.
    rng = np.random.default_rng(2)
    errors = rng.normal(0.0, 6.0, 60).round(2).tolist()
    figure = Figure()
    _shares(figure.subplots(), group_of(errors))
    (axes,) = figure.axes
    x, y = (np.asarray(one, np.float64) for one in axes.lines[0].get_data())
    for at in np.arange(0.005, 30.0, 0.51):
        drawn = y[np.searchsorted(x, at, side="right") - 1]
        assert drawn == pytest.approx(100.0 * float(np.mean(np.abs(errors) <= at)))


def test_so_many_pairs_that_they_share_points() -> None:
    errors = np.random.default_rng(2).normal(0.0, 6.0, 6000).round(2).tolist()
    group = group_of(errors)
    figure = Figure()
    _shares(figure.subplots(), group)
    assert len(figure.axes[0].lines[0].get_xdata()) == len(group.shares)  # type: ignore[arg-type]
    assert figure.axes[0].lines[0].get_drawstyle() == "default"


def test_all_is_said_only_where_it_is_all() -> None:
    figure = Figure()
    _shares(figure.subplots(), group_of([1.0] * 299 + [40.0]))
    assert [text.get_text() for text in figure.axes[0].texts] == ["99.7 %"] * 3
    assert [percent_text(one, 1) for one in (99.96, 100.0, 0.04)] == ["99.96", "100.0", "0.04"]


def test_confidences_near_one_are_told_apart() -> None:
    lines = [f"120,{120 + n},{0.9990 + n / 10000}" for n in range(4)]
    table = table_of("t", "\n".join(["reference,estimate,confidence", *lines]).encode())
    rows = part_of_group(1, agreement(table).groups[0]).coverage
    assert [row[0] for row in rows] == ["0.9993", "0.9992", "0.9991", "0.9990"]


def shown(differences: list[float], name: str) -> dict[str, str]:
    """The numbers of a result, as they are shown."""
    (result,) = [one for one in group_of(differences).results if one.name == name]
    return dict(numbers_text(result))


def test_what_misses_a_bound_is_never_shown_at_it() -> None:
    just = "ISO 81060-2 criterion 1"
    assert shown([5.003, 5.005], just)["mean error"] == "5.004 mmHg"
    assert shown([-5.003, -5.005], just)["mean error"] == "-5.004 mmHg"
    assert shown([5.0, 5.0], just)["mean error"] == "5.00 mmHg"
    assert shown([-8.001, 0.0, 8.001], just)["SD"] == "8.001 mmHg"
    assert shown([4.9, 4.9], just)["mean error"] == "4.90 mmHg"
    # 1,499 of 2,500 within 5: 59.96 %, which is no grade A.
    many = shown([1.0] * 1499 + [7.0] * 1001, "BHS 1993")
    assert many["within 5 mmHg"] == "59.96 %"


def test_last_digits_rest_on_values_that_were_written_down() -> None:
    rows = [f"{120 + 2 * n},{120 + 2 * n if n else ''}" for n in range(5)]
    table = table_of("t", "\n".join(["reference,estimate", *rows]).encode())
    (digits,) = [one for one in agreement(table).groups[0].results if "digits" in one.name]
    assert counts_text(digits) == "5 values written down"


def overview(*rows: str) -> list[str]:
    """The table that the text begins with."""
    table = table_of("t", "\n".join(["reference,estimate,condition,subject", *rows]).encode())
    lines = agreement_text(agreement(table)).splitlines()
    return lines[: lines.index("")]


def test_the_text_begins_with_a_table() -> None:
    rows = [f"{ref},{ref + 5.004},{'ab'[ref % 2] * 50},{ref}" for ref in range(100, 110)]
    found = overview(*rows, "120,,c,1")
    assert max(map(len, found)) <= 80
    gaps = "     10 +5.004   0.0    +5.0 to +5.0 not met not met   D"
    assert found[1] == "Measure not told, all rows"
    assert found[2] == " " * 24 + gaps
    assert found[-3].split() == [*["Measure", "not", "told,", "c", "0"], *"------"]
    assert "validates nothing" in " ".join(found)


@pytest.mark.parametrize("cell", ["NA", "nan", "-"])
def test_a_word_for_nothing_is_told_to_be_left_out(cell: str) -> None:
    with pytest.raises(InputError, match=rf"found '{cell}'; allowed .* \(leave it empty\)$"):
        table_of("t", f"reference,estimate\n120,{cell}\n".encode())
    with pytest.raises(InputError) as caught:
        table_of("t", b"reference,estimate\n120,12O\n")
    assert "leave" not in str(caught.value)
