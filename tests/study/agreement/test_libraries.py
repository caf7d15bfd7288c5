"""Each statistic once more by a general library that knows nothing of ours.

The data are those of Bland & Altman 1999 (see ``test_papers.py``) and, where replicates are
unequal in number, parts of them.  Agreement is to 1e-9, or to the digits that a library prints.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pandas as pd
import pingouin
import pytest
import statsmodels.api as sm
from scipy import integrate, optimize, stats
from sklearn import metrics
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from tapfall.study.agreement import (
    constant_limits,
    icc_agreement,
    limits_of_agreement,
    pairs_needed,
    proportional_bias,
    risk_coverage,
    share_within,
    varying_limits,
    weighted_kappa,
)
from tapfall.study.agreement.digits import digits_of
from tapfall.study.agreement.limits import exponential, log_ratios
from tapfall.study.agreement.protocols import criterion_2_limit
from tests.study.agreement.test_papers import columns

SBP = columns("bland_altman_1999_sbp.csv")
J, S = (np.column_stack([SBP[f"{who}{n}"] for n in (1, 2, 3)]) for who in "JS")
TO = {"rel": 1e-9, "abs": 1e-9}


def anova_of(groups: list[list[float]]) -> pd.DataFrame:
    """One-way analysis of variance by statsmodels."""
    frame = pd.DataFrame(
        [(str(who), value) for who, values in enumerate(groups) for value in values],
        columns=["subject", "value"],
    )
    return anova_lm(sm.OLS.from_formula("value ~ C(subject)", frame).fit())


def unequal(table: np.ndarray) -> list[list[float]]:
    """One, two or three readings of each, in turn."""
    return [row[: 1 + place % 3].tolist() for place, row in enumerate(table)]


def test_limits() -> None:
    found = limits_of_agreement(J[:, 0] - S[:, 0])
    wanted = DescrStatsW(J[:, 0] - S[:, 0])
    assert (found.mean.low, found.mean.high) == pytest.approx(wanted.tconfint_mean(), **TO)
    assert found.sd == pytest.approx(math.sqrt(wanted.var_ddof(1)), **TO)
    lower, upper = (wanted.mean + sign * 1.96 * found.sd for sign in (-1, 1))
    # 1999: the variance of a limit is that of the mean, and 1.96 squared times that of the SD.
    error = math.sqrt(wanted.std_mean**2 + 1.96**2 * found.sd**2 / (2 * 84))
    for one, value in ((found.lower, lower), (found.upper, upper)):
        ends = stats.t.interval(0.95, 84, loc=value, scale=error)
        assert (one.value, one.low, one.high) == pytest.approx((value, *ends), **TO)


@pytest.mark.parametrize("groups", [(J - S).tolist(), unequal(J - S)])
def test_variances_of_replicates_are_those_of_an_analysis_of_variance(groups) -> None:
    found, wanted = varying_limits(groups), anova_of(groups)
    between, within = wanted["mean_sq"]
    assert (found.ms_between, found.ms_within) == pytest.approx((between, within), **TO)
    total = found.limits.sd**2
    assert total == pytest.approx(within + (between - within) / found.per_subject, **TO)


def test_varying_limits_are_those_of_a_mixed_model() -> None:
    # With equal numbers restricted maximum likelihood gives the same components.
    frame = pd.DataFrame({"gap": (J - S).ravel(), "subject": np.repeat(np.arange(85), 3)})
    wanted = sm.MixedLM.from_formula("gap ~ 1", frame, groups="subject").fit(reml=True)
    total = float(wanted.cov_re.iloc[0, 0]) + float(wanted.scale)
    found = varying_limits((J - S).tolist()).limits
    assert found.sd == pytest.approx(math.sqrt(total), rel=1e-4)  # where its search ends
    assert found.mean.value == pytest.approx(float(wanted.fe_params.iloc[0]), **TO)


@pytest.mark.parametrize(("first", "second"), [(J.tolist(), S.tolist()), (unequal(J), unequal(S))])
def test_constant_limits_by_analyses_of_variance(first, second) -> None:
    found = constant_limits(first, second)
    one, two = (float(anova_of(groups)["mean_sq"].iloc[1]) for groups in (first, second))
    assert found.estimate_within_variance == pytest.approx(one, **TO)
    assert found.reference_within_variance == pytest.approx(two, **TO)
    gaps = [np.mean(a) - np.mean(b) for a, b in zip(first, second, strict=True)]
    of_means = DescrStatsW(gaps)
    parts = sum(
        within * (1 - 1 / stats.hmean([len(group) for group in groups]))
        for within, groups in ((one, first), (two, second))
    )
    assert found.limits.sd == pytest.approx(math.sqrt(of_means.var_ddof(1) + parts), **TO)
    ends = found.limits.mean.low, found.limits.mean.high
    assert ends == pytest.approx(of_means.tconfint_mean(), **TO)


def test_ratios() -> None:
    logs = log_ratios(J[:, 0], S[:, 0])
    assert logs is not None
    mean, lower, _ = exponential(limits_of_agreement(logs))
    assert mean.value == pytest.approx(stats.gmean(J[:, 0] / S[:, 0]), **TO)
    assert (mean.low, mean.high) == pytest.approx(np.exp(DescrStatsW(logs).tconfint_mean()), **TO)
    spread = stats.gstd(J[:, 0] / S[:, 0])
    assert lower.value == pytest.approx(mean.value * spread**-1.96, **TO)


@pytest.mark.parametrize("bound", [5.0, 10.0, 15.0])
def test_shares(bound: float) -> None:
    gaps = J[:, 0] - S[:, 0]
    found = share_within(gaps, bound)
    hits = int((np.abs(gaps) <= bound).sum())
    ends = proportion_confint(hits, 85, method="beta")
    assert (found.value, found.low, found.high) == pytest.approx((hits / 85, *ends), **TO)


def test_the_line_of_the_difference() -> None:
    level, gap = (J[:, 0] + S[:, 0]) / 2, J[:, 0] - S[:, 0]
    found = proportional_bias(J[:, 0], S[:, 0])
    wanted = sm.OLS(gap, sm.add_constant(level)).fit()
    assert (found.intercept, found.slope.value) == pytest.approx(wanted.params, **TO)
    assert (found.slope.low, found.slope.high) == pytest.approx(wanted.conf_int()[1], **TO)
    assert found.p_value == pytest.approx(wanted.pvalues[1], **TO)
    size = sm.OLS(np.abs(wanted.resid), sm.add_constant(level)).fit()
    assert (found.spread_intercept, found.spread_slope.value) == pytest.approx(size.params, **TO)
    assert found.spread_p_value == pytest.approx(size.pvalues[1], **TO)


@pytest.mark.parametrize("raters", [("J1", "S1"), ("J1", "R1"), ("J1", "R1", "S1")])
def test_intraclass_correlation(raters: tuple[str, ...]) -> None:
    table = np.column_stack([SBP[one] for one in raters])
    frame = pd.DataFrame(table, columns=raters).reset_index().melt("index")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own, about pandas
        wanted = pingouin.intraclass_corr(frame, "index", "variable", "value")
    (row,) = (one for _, one in wanted.iterrows() if one["Type"] in ("ICC2", "ICC(A,1)"))
    found = icc_agreement(table)
    assert found is not None
    assert found.value == pytest.approx(float(row["ICC"]), **TO)
    ends = next(row[name] for name in ("CI95", "CI95%") if name in row)
    assert (found.low, found.high) == pytest.approx(list(ends), abs=0.0051)  # two digits


def test_weighted_kappa() -> None:
    one, two = (np.digitize(values[:, 0], [120, 130, 140, 180]) for values in (J, S))
    found = weighted_kappa(one, two, 5)
    assert found is not None
    assert found.value == pytest.approx(
        metrics.cohen_kappa_score(one, two, weights="quadratic"), **TO
    )
    cells = metrics.confusion_matrix(one, two, labels=range(5))
    wanted = cohens_kappa(cells, wt="quadratic")
    ends = wanted.kappa_low, wanted.kappa_upp
    assert (found.low, found.high) == pytest.approx(ends, **TO)


@pytest.mark.parametrize("mean", [0.0, -1.3, 2.5, 5.0])
def test_criterion_2_by_integration(mean: float) -> None:
    limit = criterion_2_limit(mean)
    assert limit is not None
    inside, _ = integrate.quad(stats.norm(mean, limit).pdf, -10.0, 10.0, epsabs=1e-12)
    assert inside == pytest.approx(0.85, **TO)


@pytest.mark.parametrize(("sd", "half_width"), [(8.0, 2.0), (19.61, 3.0), (5.0, 0.5)])
def test_sample_size_by_a_root(sd: float, half_width: float) -> None:
    def excess(count: float) -> float:
        error = sd * math.sqrt(1 / count + 1.96**2 / (2 * (count - 1)))
        return stats.t.ppf(0.975, count - 1) * error - half_width

    assert pairs_needed(sd, half_width) == math.ceil(optimize.brentq(excess, 3.0, 1e6))


def test_last_digits() -> None:
    values = SBP["J1"]
    found = digits_of("J", values)
    counts = np.bincount(values.astype(int) % 10, minlength=10)
    wanted = stats.chisquare(counts[::2])
    assert found.counts == tuple(counts)
    assert (found.chi_square, found.p_value) == pytest.approx(
        (wanted.statistic, wanted.pvalue), **TO
    )


def test_risk_and_coverage() -> None:
    rng = np.random.default_rng(3)
    sure = rng.integers(50, 100, 85) / 100
    for one in risk_coverage(J[:, 0] - S[:, 0], sure, 100):
        kept = sure >= one.confidence
        wanted = metrics.mean_absolute_error(S[kept, 0], J[kept, 0])
        assert one.mean_absolute_mmhg == pytest.approx(wanted, **TO)
        assert one.coverage == kept.sum() / 100
