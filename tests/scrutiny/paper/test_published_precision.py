"""The intervals of printed numbers against closed forms, published tables and simulation."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from harness import count
from places import CALIBRATION
from replication import BATCH, CELLS, SEED, study
from scipy import stats

from cmjlab.scrutiny.paper import published
from cmjlab.scrutiny.paper.rule import (
    CANNOT_TELL,
    NOT_REPLICATED,
    REPLICATED,
    compared,
    verdicts,
)


def test_a_mean_and_its_p_are_those_of_scipy():
    rng = np.random.default_rng(1)
    x = rng.normal(0.4, 1.0, 17)
    low, high = published.limits_of_mean(x.mean(), x.std(ddof=1), 17, 0.95)
    theirs = stats.ttest_1samp(x, 0.0)
    expected = theirs.confidence_interval(0.95)
    np.testing.assert_allclose([low, high], [expected.low, expected.high], rtol=1e-12)
    se = published.se_of_p(x.mean(), theirs.pvalue, 16)
    assert se == pytest.approx(stats.sem(x), rel=1e-9)


def test_a_difference_of_groups_is_students_pooled_one():
    rng = np.random.default_rng(2)
    a, b = rng.normal(1, 1, 9), rng.normal(0, 1, 14)
    sd = math.sqrt((8 * a.var(ddof=1) + 13 * b.var(ddof=1)) / 21)
    low, high = published.limits_of_difference(a.mean() - b.mean(), sd, (9, 14), 0.9)
    expected = stats.ttest_ind(a, b).confidence_interval(0.9)
    np.testing.assert_allclose([low, high], [expected.low, expected.high], rtol=1e-12)


def test_a_spread_is_exact_by_chi_square():
    low, high = published.limits_of_sd(2.0, 19, 0.95)
    assert low == pytest.approx(2 * math.sqrt(19 / stats.chi2.ppf(0.975, 19)), rel=1e-12)
    assert high == pytest.approx(2 * math.sqrt(19 / stats.chi2.ppf(0.025, 19)), rel=1e-12)


def test_an_icc_has_the_published_interval_from_n_and_k_alone():
    """Shrout & Fleiss 1979, table 2: ICC(3,1) of 6 targets and 4 judges; limits from R's psych::ICC."""
    low, high = published.limits_of_icc(0.714840714841, 6, 4, 0.95)
    assert low == pytest.approx(0.3424647650339, abs=1e-11)
    assert high == pytest.approx(0.945858259955, abs=1e-11)
    # ICC(3,4) of the same table, stepped down to one judge
    assert published.single_of_average(0.909315542377, 4) == pytest.approx(
        0.714840714841, abs=1e-11
    )


def test_a_printed_interval_is_turned_into_another_level():
    for level in (0.8, 0.9, 0.99):
        wanted = published.limits_of_mean(3.0, 2.0, 12, level)
        stated = published.limits_of_mean(3.0, 2.0, 12, 0.95)
        found = published.rescaled(3.0, stated, (0.95, level), 11, "plain")
        np.testing.assert_allclose(found, wanted, rtol=1e-12)
    np.testing.assert_allclose(  # nobody knows the df: normal, and symmetric on logarithms
        published.rescaled(2.0, (1.0, 4.0), (0.95, 0.95), math.inf, "ratio"), (1.0, 4.0), rtol=1e-12
    )
    half = stats.norm.ppf(0.95) / stats.norm.ppf(0.975)
    np.testing.assert_allclose(
        published.rescaled(2.0, (1.0, 4.0), (0.95, 0.90), math.inf, "ratio"),
        (2.0**(1 - half), 2.0**(1 + half)), rtol=1e-12,
    )  # fmt: skip


@pytest.mark.parametrize("k", [2, 3, 5])
def test_the_interval_of_a_mean_of_cvs_covers(k):
    """Simulated: the mean of n athletes' own SDs, known truth c4·σ."""
    rng = np.random.default_rng(k)
    n, size = 20, 8000
    means = rng.standard_normal((size, n, k)).std(axis=2, ddof=1).mean(axis=1)
    truth = math.sqrt(2 / (k - 1)) * math.gamma(k / 2) / math.gamma((k - 1) / 2)
    low, high = published.limits_of_sd(means, published.df_of_mean_cv(n, k), 0.95)
    share = np.mean((low <= truth) & (truth <= high))
    assert 0.94 <= share <= 0.96


def test_rounding_makes_the_interval_wider_by_just_its_half():
    def nothing(v):
        return v, v

    low, high = compared((1.0, 0.8, 1.2), (0.9, 0.05), nothing)
    assert (low, high) == (pytest.approx(1.0 - 0.95 - 0.2), pytest.approx(1.0 - 0.85 + 0.2))


@pytest.mark.parametrize(
    ("wide", "narrow", "said"),
    [
        ((-0.8, 0.8), (-0.6, 0.6), REPLICATED),
        ((0.1, 0.9), (0.2, 0.8), REPLICATED),  # differs, but by less than matters
        ((0.1, 1.4), (0.2, 1.3), NOT_REPLICATED),
        ((1.1, 2.0), (1.2, 1.9), NOT_REPLICATED),
        ((-0.2, 1.4), (-0.1, 1.3), CANNOT_TELL),
        ((math.nan, math.nan), (math.nan, math.nan), CANNOT_TELL),
    ],
)
def test_the_rule_as_stated(wide, narrow, said):
    assert verdicts(wide, narrow, (-1.0, 1.0)) == said
    assert verdicts(wide, narrow, (math.nan, math.nan)) != REPLICATED


# ---- how often the rule errs ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def rates() -> pd.DataFrame:
    return pd.read_csv(CALIBRATION / "replication.csv", keep_default_na=False)


def test_no_bar_is_missed_and_every_cell_is_there(rates):
    assert (rates["verdict"] != "fail").all()
    judged = rates[rates["verdict"] == "pass"]
    wrong = judged[(judged["quantity"] == NOT_REPLICATED) & (judged["apart"] == 0.0)]
    assert len(wrong) == sum(c["apart"] == 0.0 for c in CELLS)
    assert (wrong["studies"] == 20_000).all()
    assert wrong["proportion"].max() < 0.054


def test_the_rule_can_say_all_three(rates):
    said = rates.groupby("quantity")["proportion"].max()
    assert said[REPLICATED] > 0.8
    assert said[NOT_REPLICATED] > 0.95
    assert said[CANNOT_TELL] > 0.9


@pytest.mark.parametrize("cell", [CELLS[0], CELLS[-1]], ids=["first", "last"])
def test_a_slice_gives_the_committed_numbers_again(rates, cell):
    mine = rates[np.logical_and.reduce([rates[k] == v for k, v in cell.items()])]
    kept = mine.set_index("quantity")["first_batch_hits"]
    made = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    assert {row["quantity"]: row["hits"] for row in made} == kept.to_dict()
