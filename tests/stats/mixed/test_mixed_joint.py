"""The joint test of groups × sessions: which one leads, and that its size is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import several_sessions
from harness import REJECTION_BAR, count, judge
from mixed_joint import BATCH, CELLS, PATH, SEED, STUDIES, study, why_shown
from scipy import special

from cmjlab.stats.mixed.anova import GG
from cmjlab.stats.mixed.joint import ENOUGH_FREE, ENOUGH_SLOPE, ENOUGH_WITH_GAPS
from cmjlab.stats.mixed.mixed import change_mixed

KEYS = ["data", "n", "n_control", "sessions", "missing", "icc", "response_sd"]
KR, SATTERTHWAITE = "kenward_roger", "satterthwaite"


@pytest.fixture(scope="module")
def sizes():
    return pd.read_csv(PATH)


def with_gaps(sizes, sessions):
    table = several_sessions(sizes, sessions)
    table.loc[[1, 3 * sessions + 2], "h"] = np.nan
    return table


def hotelling(table):
    """Return F, df and p of the two-sample T² of Hotelling on the steps from the first session."""
    wide = table.pivot(index="athlete", columns="session", values="h")
    steps = wide.iloc[:, 1:].to_numpy() - wide.iloc[:, :1].to_numpy()
    first = wide.index.str.startswith("a")
    one, two = steps[first], steps[~first]
    m, q = len(steps), steps.shape[1]
    spread = (np.cov(one.T, ddof=0) * len(one) + np.cov(two.T, ddof=0) * len(two)) / (m - 2)
    difference = one.mean(axis=0) - two.mean(axis=0)
    t2 = len(one) * len(two) / m * difference @ np.linalg.solve(spread, difference)
    f, df2 = t2 * (m - q - 1) / (q * (m - 2)), m - q - 1
    return f, df2, special.fdtrc(q, df2, f)


@pytest.mark.parametrize(("sizes", "sessions"), [((8, 8), 3), ((7, 10), 4), ((9, 9), 5)])
def test_the_leading_test_is_hotellings_on_complete_data(sizes, sessions):
    """Kenward & Roger 1997: the scaled F reproduces the exact T² of Hotelling (closed form)."""
    table = several_sessions(sizes, sessions, seed=3)
    row = change_mixed(table, "h").with_details().row("group_by_time")
    assert (row["estimator"], row["interval_kind"]) == ("model_unstructured", KR)
    f, df2, p = hotelling(table)
    assert row["estimate"] == pytest.approx(f, rel=1e-6)
    assert row["df2"] == pytest.approx(df2, rel=1e-6)
    assert row["p"] == pytest.approx(p, rel=1e-5)


def test_satterthwaite_is_left_out_where_its_size_does_not_hold():
    """8 per group, 5 sessions: it rejects 12.7 % of true nulls (with gaps 19.2 %)."""
    result = change_mixed(several_sessions((8, 8), 5), "h").with_details()
    joint = result.rows("group_by_time")
    assert SATTERTHWAITE not in set(joint["interval_kind"].dropna())
    texts = [n.text for n in result.notes if n.code == "satterthwaite_left_out"]
    assert len(texts) == 2
    assert "depends on which contrasts are written down" in texts[1]
    # contrasts of single sessions keep it
    assert SATTERTHWAITE in set(result.rows("change_difference")["interval_kind"])


def test_satterthwaite_stays_where_its_size_holds_and_says_that_its_basis_matters():
    result = change_mixed(several_sessions((18, 18), 3), "h").with_details()
    rows = result.rows("group_by_time", interval_kind=SATTERTHWAITE)
    assert set(rows["estimator"]) == {"model_unstructured", "model_random_slope"}
    assert not rows["leads"].astype(bool).any()
    assert set(rows["remark_code"]) == {"satterthwaite_basis"}
    assert not result.has_note("satterthwaite_left_out")


def test_few_athletes_with_gaps_are_warned_about_and_the_anova_leads():
    """8 per group, 5 sessions, gaps: Kenward–Roger itself rejects 9.0 %, the mixed ANOVA 4.6 %."""
    result = change_mixed(with_gaps((8, 8), 5), "h").with_details()
    row = result.row("group_by_time", estimator="model_unstructured")
    assert row["remark_code"] == "joint_too_often"
    assert "9 % instead of 5 %" in row["text"]
    assert result.row("group_by_time")["estimator"] == GG
    enough = change_mixed(with_gaps((15, 15), 5), "h").with_details()
    row = enough.row("group_by_time")
    assert (row["estimator"], row["interval_kind"]) == ("model_unstructured", KR)
    assert pd.isna(row["remark_code"])


@pytest.mark.parametrize("sizes", [(8, 8), (8,), (3, 3), (5, 5, 5)])
@pytest.mark.parametrize("sessions", [2, 3, 5, 7])
def test_one_joint_test_leads(sizes, sessions):
    result = change_mixed(with_gaps(sizes, sessions), "h", constrained=True).with_details()
    joint = result.rows("group_by_time" if len(sizes) > 1 else "time_main_effect")
    assert joint["leads"].astype(bool).sum() == 1


def proportions(sizes, quantity, **where):
    rows = sizes[sizes["quantity"] == quantity]
    for column, value in where.items():
        rows = rows[rows[column] == value]
    assert len(rows)
    return rows


def test_verdicts_follow_from_the_counts(sizes):
    table = sizes.assign(hits=(sizes["proportion"] * sizes["studies"]).round())
    again = judge(
        table[[*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies", "first_batch_hits"]],
        bar=REJECTION_BAR,
        shown=why_shown,
    )  # fmt: skip
    assert again["verdict"].tolist() == table["verdict"].tolist()
    assert not (table["verdict"] == "fail").any()
    assert (table["studies"] + table["not_estimable"] == STUDIES).all()
    assert len(table[KEYS].drop_duplicates()) == len(CELLS)


def test_the_rules_follow_from_the_table(sizes):
    """What is given stays below 7.5 % (Monte Carlo 95 %: ±1.5 points); what is left out does not."""
    athletes = sizes["n"] + sizes["n_control"]
    enough = athletes >= ENOUGH_WITH_GAPS * sizes["sessions"]
    free = proportions(sizes[enough | (sizes["missing"] == 0)], "unstructured, Kenward–Roger")
    assert (free["proportion"] <= 0.065).all()
    few = proportions(sizes[~enough & (sizes["missing"] > 0)], "unstructured, Kenward–Roger")
    assert few["proportion"].max() > 0.085
    kept = proportions(
        sizes[athletes >= ENOUGH_FREE * sizes["sessions"]], "unstructured, Satterthwaite"
    )
    assert (kept["proportion"] <= 0.065).all()
    gone = proportions(
        sizes[athletes < ENOUGH_FREE * sizes["sessions"]], "unstructured, Satterthwaite"
    )
    assert gone["proportion"].max() > 0.15
    slope = proportions(sizes[athletes >= ENOUGH_SLOPE], "random slope, Satterthwaite")
    assert (slope["proportion"] <= 0.065).all()
    assert (proportions(sizes, "random slope, Kenward–Roger")["proportion"] <= 0.065).all()


@pytest.mark.parametrize("number", [0, 3, 12])
def test_first_batch_repeats(sizes, number):
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = sizes
    for column, value in cell.items():
        stored = stored[stored[column] == value]
    stored = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()
