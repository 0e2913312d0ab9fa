"""Shares of variance and standardised effects against R."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.common.variance_share import variance_share
from cmjlab.stats.mixed.anova import anova_fit

# by hand in R 4.2.2 with pf and pt (ncp); the script stands beside it
R = json.loads((Path(__file__).parents[2] / "reference" / "effect_sizes.json").read_text())
# Student 1908: hours of sleep gained by ten patients with two drugs (R: datasets::sleep)
SLEEP = ([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
         [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])  # fmt: skip


@pytest.mark.parametrize("expected", R["shares"])
def test_shares_equal_r(expected):
    found = variance_share(expected["f"], expected["df"], expected["df2"])
    # R's uniroot and pf(ncp) leave 1e-8
    assert found.eta == pytest.approx(expected["eta"], abs=1e-12)
    assert (found.eta_low, found.eta_high) == pytest.approx(
        (expected["eta_low"], expected["eta_high"]), abs=1e-7
    )
    assert found.omega == pytest.approx(expected["omega"], abs=1e-12)


def test_omega_from_f_is_omega_from_sums_of_squares():
    # (SS - df MSE) / (SS total + MSE) of aov(mpg ~ factor(cyl), mtcars)
    first = R["shares"][0]
    share = variance_share(first["f"], first["df"], first["df2"])
    assert share.omega == pytest.approx(R["mtcars_omega"], abs=1e-12)


def test_the_interaction_of_two_sessions_is_the_anova_of_the_changes():
    rng = np.random.default_rng(5)
    values, member = rng.normal(size=(11, 2)), np.repeat([0, 1, 2], [4, 4, 3])
    effect = anova_fit(values, member).effects["group_by_time"]
    change = values[:, 1] - values[:, 0]
    parts = [change[member == j] for j in range(3)]
    inside = sum(((p - p.mean()) ** 2).sum() for p in parts)
    between = sum(len(p) * (p.mean() - change.mean()) ** 2 for p in parts)
    share = variance_share(effect.f, effect.df, effect.error_df)
    mse = inside / 8
    assert share.eta == pytest.approx(between / (between + inside))
    omega = (between - 2 * mse) / (between + inside + mse)
    assert share.omega == pytest.approx(max(0.0, omega))


def test_effects_of_the_sleep_data_equal_r():
    import pandas as pd

    table = pd.DataFrame(
        {
            "athlete": [f"P{i}" for i in range(10)] * 2,
            "session": ["first"] * 10 + ["second"] * 10,
            "gain": [*SLEEP[0], *SLEEP[1]],
        }
    )
    result = change_within(table, ["gain"], before="first", after="second")
    expected = R["paired"]
    av, g = result.row("cohen_dav"), result.row("hedges_g_within")
    assert av["estimate"] == pytest.approx(expected["d_av"], abs=1e-10)
    assert [av["ci_low"], av["ci_high"]] == pytest.approx(expected["d_av_limits"], abs=1e-8)
    assert g["estimate"] == pytest.approx(expected["g"], abs=1e-10)
    assert [g["ci_low"], g["ci_high"]] == pytest.approx(expected["dz_limits"], abs=1e-8)


def test_effect_of_two_groups_equals_r():
    import pandas as pd

    n = 10
    table = pd.DataFrame(
        {
            "athlete": [f"P{i:02d}" for i in range(2 * n)] * 2,
            "group": (["one"] * n + ["two"] * n) * 2,
            "session": ["first"] * 2 * n + ["second"] * 2 * n,
            "gain": [0.0] * 2 * n + [*SLEEP[0], *SLEEP[1]],  # the changes are the two drugs
        }
    )
    result = change_between(
        table, ["gain"], before="first", after="second", control="one"
    ).with_details()
    row = result.row("hedges_g_between")
    assert row["estimate"] == pytest.approx(R["two"]["g"], abs=1e-10)
    assert [row["ci_low"], row["ci_high"]] == pytest.approx(R["two"]["d_limits"], abs=1e-7)
