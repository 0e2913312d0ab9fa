"""Differences of change scores for all contrasts at once: multivariate t, as Dunnett."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from change_kit import several_sessions
from places import TESTS

from cmjlab.stats.change.change import change_between
from cmjlab.stats.common.multiplicity import Simultaneous

#: tests/reference/change_scores.R (R 4.2.2, mvtnorm 1.1-3), anorexia data, against Cont.
R = json.loads((TESTS / "reference" / "change_scores.json").read_text("utf-8"))["against_control"]


@pytest.fixture(scope="module")
def anorexia(reference_data):
    wide = pd.read_csv(reference_data / "prepost" / "anorexia.csv")
    wide = wide.rename(columns={"Treat": "group", "Prewt": "pre", "Postwt": "post"})
    wide["athlete"] = [f"A{i:02d}" for i in range(len(wide))]
    return wide.melt(id_vars=["athlete", "group"], var_name="session", value_name="value")


def rows_of(result, kind):
    rows = result.rows(
        "simultaneous_difference", estimator="change_scores", interval_kind=f"multivariate_t_{kind}"
    )
    return rows.set_index("first").loc[["CBT", "FT"]]


@pytest.mark.parametrize("kind", ["classical", "hc2_bm"])
def test_equals_mvtnorm(anorexia, kind):
    result = change_between(anorexia, before="pre", after="post", control="Cont").with_details()
    rows, theirs = rows_of(result, kind), R[kind]
    for column in ("estimate", "se"):
        np.testing.assert_allclose(rows[column], theirs[column], rtol=1e-9)
    np.testing.assert_allclose(rows["df"], theirs["df"], rtol=1e-9)
    half = (rows["ci_high"] - rows["ci_low"]) / 2 / rows["se"]
    # qmvt takes whole degrees of freedom only (34 for our 34.36); our points carry 0.2 %
    np.testing.assert_allclose(half, theirs["multiplier"], rtol=2.5e-3)
    np.testing.assert_allclose(rows["p_adjusted"], theirs["p"], atol=1.5e-3)


def test_multiplier_equals_mvtnorm_at_the_same_degrees_of_freedom():
    """Correlation of CBT − Cont and FT − Cont from the group sizes 29, 26, 17 (pooled spread)."""
    covariance = np.array([[1 / 29 + 1 / 26, 1 / 26], [1 / 26, 1 / 17 + 1 / 26]])
    found = Simultaneous(covariance, 69.0)
    assert found.multiplier(0.95) == pytest.approx(R["classical"]["multiplier"], abs=1.5e-3)
    for t, p in zip(
        np.divide(R["classical"]["estimate"], R["classical"]["se"]),
        R["classical"]["p"],
        strict=True,
    ):
        assert found.p(float(t)) == pytest.approx(p, abs=4e-4)


def test_they_lead_where_the_change_leads_and_are_wider_than_one_alone():
    from cmjlab.plan import Selection

    table = several_sessions((8, 8, 8), 3, seed=4)
    result = change_between(
        table, "h", before="s1", after="s2", control="a", assignment=Selection(("h",), "s0")
    ).with_details()
    rows = result.rows("simultaneous_difference")
    leading = rows[rows["leads"].astype(bool)]
    assert set(leading["estimator"]) == {"change_scores"}
    assert set(leading["interval_kind"]) == {"multivariate_t_hc2_bm"}
    for _, row in leading.iterrows():
        one = result.rows("change_difference", first=row["first"], interval_kind="welch_bm").iloc[0]
        assert row["estimate"] == pytest.approx(one["estimate"], rel=1e-9)
        assert row["ci_high"] - row["ci_low"] > one["ci_high"] - one["ci_low"]
        assert row["p_adjusted"] >= one["p"] - 1e-3


def test_two_groups_have_one_contrast_and_need_none():
    result = change_between(
        several_sessions((8, 8), 2), "h", before="s0", after="s1"
    ).with_details()
    assert result.rows("simultaneous_difference").empty


def test_a_group_without_spread_gives_no_interval_for_all():
    table = several_sessions((4, 4, 4), 2)
    same = (table["group"] == "c") & (table["session"] == "s1")
    before = table[table["session"] == "s0"].set_index("athlete")["h"]
    table.loc[same, "h"] = table.loc[same, "athlete"].map(before) + 1.0
    result = change_between(table, "h", before="s0", after="s1", control="a").with_details()
    assert result.rows("simultaneous_difference", estimator="change_scores").empty
