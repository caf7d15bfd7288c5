"""Numbers of Bland & Altman 1986 and 1999 (paper, from memory), from the papers' own tables.

``bland_altman_1999_sbp.csv`` holds the 765 values of table 1 of Stat Methods Med Res
1999;8:135-160: observers J and R, monitor S, three readings each, mmHg.  They are the
paper's published figures, copied by way of an R package under the GPL.
``bland_altman_1986_pefr.csv`` holds those of Lancet 1986;i:307-310: peak flow, l/min.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from tapfall.study.agreement import (
    agreement,
    constant_limits,
    limits_of_agreement,
    share_within,
    table_of,
    varying_limits,
)
from tapfall.study.agreement.limits import WIDTH_1986
from tapfall.study.agreement.replicates import repeatability, within_variance

HERE = Path(__file__).parent


def columns(name: str) -> dict[str, np.ndarray]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


@pytest.fixture(scope="module")
def sbp() -> dict[str, np.ndarray]:
    return columns("bland_altman_1999_sbp.csv")


def replicates(sbp: dict[str, np.ndarray], method: str) -> list[list[float]]:
    return np.column_stack([sbp[f"{method}{n}"] for n in (1, 2, 3)]).tolist()


@pytest.mark.parametrize(
    ("first", "second", "mean", "sd", "lower", "upper"),
    [
        ("J1", "S1", -16.29, 19.61, -54.7, 22.1),
        ("J2", "S2", -15.45, 21.48, -57.5, 26.6),
        ("J3", "S3", -15.12, 20.19, -54.7, 24.5),
        ("R1", "S1", -16.58, 19.62, -55.0, 21.9),
        ("J1", "R1", 0.28, 2.12, -3.9, 4.4),
    ],
)
def test_1999_single_readings(sbp, first, second, mean, sd, lower, upper) -> None:
    found = limits_of_agreement(sbp[first] - sbp[second])
    assert found.count == 85
    assert found.mean.value == pytest.approx(mean, abs=0.005)
    assert found.sd == pytest.approx(sd, abs=0.005)
    assert found.lower.value == pytest.approx(lower, abs=0.05)
    assert found.upper.value == pytest.approx(upper, abs=0.05)


@pytest.mark.parametrize(
    ("first", "second", "mean", "lower", "upper"),
    [
        ("J1", "S1", (-20.52, -12.06), (-62.0, -47.5), (14.9, 29.4)),
        ("J1", "R1", (-0.17, 0.74), (-4.7, -3.1), (3.7, 5.2)),
    ],
)
def test_1999_intervals(sbp, first, second, mean, lower, upper) -> None:
    found = limits_of_agreement(sbp[first] - sbp[second])
    assert (found.mean.low, found.mean.high) == pytest.approx(mean, abs=0.006)
    assert (found.lower.low, found.lower.high) == pytest.approx(lower, abs=0.05)
    assert (found.upper.low, found.upper.high) == pytest.approx(upper, abs=0.05)


def test_1999_replicates_true_value_constant(sbp) -> None:
    found = constant_limits(replicates(sbp, "J"), replicates(sbp, "S"))
    limits = found.limits
    assert limits.mean.value == pytest.approx(-15.62, abs=0.005)
    assert found.variance_of_means == pytest.approx(358.49, abs=0.01)
    assert found.estimate_within_variance == pytest.approx(37.408, abs=0.0005)
    assert found.reference_within_variance == pytest.approx(83.141, abs=0.0005)
    assert limits.sd == pytest.approx(20.95, abs=0.005)
    ends = (limits.lower.value, limits.upper.value)
    assert ends == pytest.approx((-56.68, 25.44), abs=0.005)
    assert found.estimate_repeatability == pytest.approx(16.95, abs=0.005)
    assert found.reference_repeatability == pytest.approx(25.27, abs=0.005)


def test_1999_observer_r(sbp) -> None:
    within = within_variance(replicates(sbp, "R"))
    assert within == pytest.approx(37.980, abs=0.0005)
    assert repeatability(within) == pytest.approx(17.08, abs=0.005)


def test_1999_pairs_of_replicates(sbp) -> None:
    differences = np.array(replicates(sbp, "J")) - np.array(replicates(sbp, "S"))
    found = varying_limits(differences.tolist())
    assert found.per_subject == pytest.approx(3.0)
    assert (found.ms_between, found.ms_within) == pytest.approx((1075.48, 88.42), abs=0.005)
    assert found.limits.sd == pytest.approx(20.43, abs=0.005)
    ends = found.limits.lower.value, found.limits.upper.value
    assert ends == pytest.approx((-55.67, 24.43), abs=0.005)


def test_1999_means_of_three_are_too_narrow(sbp) -> None:
    means = [np.mean(replicates(sbp, method), axis=1) for method in "JS"]
    found = limits_of_agreement(means[0] - means[1])
    assert (found.mean.value, found.sd) == pytest.approx((-15.62, 18.93), abs=0.005)
    assert (found.lower.value, found.upper.value) == pytest.approx((-52.7, 21.5), abs=0.05)


def test_1999_shares(sbp) -> None:
    shares = [100 * share_within(sbp["J1"] - sbp["S1"], bound).value for bound in (5, 10, 15)]
    assert shares == pytest.approx([16.5, 36.5, 49.4], abs=0.05)


def test_1999_by_way_of_a_table(sbp) -> None:
    lines = ["subject,estimate,reference"]
    for subject, rows in enumerate(zip(*(replicates(sbp, m) for m in "JS"), strict=True)):
        lines += [f"{subject},{est:g},{ref:g}" for est, ref in zip(*rows, strict=True)]
    (group,) = agreement(table_of("t", "\n".join(lines).encode())).groups
    assert (group.counts.paired, group.counts.subjects) == (255, 85)
    assert group.drawn is not None
    ends = group.drawn.lower.value, group.drawn.upper.value
    assert ends == pytest.approx((-55.67, 24.43), abs=0.005)
    constant = {n.name: n.value for n in group.results[1].numbers}
    assert constant["SD"] == pytest.approx(20.95, abs=0.005)
    first = {n.name: n.value for n in group.results[2].numbers}
    assert first["mean difference"] == pytest.approx(-16.29, abs=0.005)


def test_1986_first_readings() -> None:
    pefr = columns("bland_altman_1986_pefr.csv")
    found = limits_of_agreement(pefr["wright1"] - pefr["mini1"], WIDTH_1986)
    assert found.count == 17
    assert found.mean.value == pytest.approx(-2.12, abs=0.005)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.lower.value, found.upper.value) == pytest.approx((-79.6, 75.4), abs=0.08)
    assert (found.mean.low, found.mean.high) == pytest.approx((-22.0, 17.8), abs=0.1)
    assert (found.lower.low, found.lower.high) == pytest.approx((-114.2, -45.1), abs=0.1)
    assert (found.upper.low, found.upper.high) == pytest.approx((40.9, 109.9), abs=0.1)


def test_1986_replicates() -> None:
    # Paper, from memory: SD of the means' differences 33.2, of each meter's own 21.6 and 28.2,
    # corrected 37.7; coefficients of repeatability twice the latter, 43.2 and 56.4.
    pefr = columns("bland_altman_1986_pefr.csv")
    wright, mini = (
        np.column_stack([pefr[f"{meter}{n}"] for n in (1, 2)]).tolist()
        for meter in ("wright", "mini")
    )
    found = constant_limits(wright, mini)
    assert found.variance_of_means**0.5 == pytest.approx(33.2, abs=0.05)
    own = [(2.0 * within_variance(one)) ** 0.5 for one in (wright, mini)]
    assert own == pytest.approx([21.6, 28.2], abs=0.05)
    assert found.limits.sd == pytest.approx(37.7, abs=0.05)
    assert found.estimate_repeatability == pytest.approx(43.2 * 1.96 / 2.0, abs=0.1)
    assert found.reference_repeatability == pytest.approx(56.4 * 1.96 / 2.0, abs=0.1)
