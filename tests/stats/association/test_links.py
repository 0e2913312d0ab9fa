"""Links of ratings with jumps: correlations against published numbers, and the cautions."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import StatsError

# Anscombe 1973, Am Stat 27:17, first data set; correlation and interval are R's cor.test, from memory.
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def table(n=11, *, later=None, seed=2):
    """Before: the published pair. After: both moved by ``later`` (x) and by noise (y)."""
    rng = np.random.default_rng(seed)
    before = pd.DataFrame({
        "athlete": [f"A{i:02d}" for i in range(n)], "session": "base1", "group": "usual",
        "coach_rating": np.array(X[:n], float), "jump_height_m": np.array(Y[:n]),
        "body_mass_kg": 60.0 + np.arange(n),
    })  # fmt: skip
    step = rng.normal(0, 1, n)
    after = before.assign(session="post", jump_height_m=before["jump_height_m"] + step)
    after["coach_rating"] += step if later == "together" else 0.0
    return pd.concat([before, after], ignore_index=True)


def test_levels_are_those_of_the_published_data_set():
    result = cj.link_measures(table(), "coach_rating", "jump_height_m")
    row = result.rows("correlation").iloc[0]
    assert row["session"] == "base1"
    assert row["estimate"] == pytest.approx(0.81642, abs=5e-6)
    assert (row["ci_low"], row["ci_high"]) == pytest.approx((0.4243912, 0.9506933), abs=5e-6)
    assert row["p_adjusted"] == pytest.approx(0.00217, abs=5e-6)  # one pair only


def test_changes_that_go_together_are_found_and_copied_values_are_not():
    together = cj.link_measures(
        table(later="together"), "coach_rating", "jump_height_m", pair=("base1", "post")
    )
    assert together.rows("correlation_change")["estimate"].iloc[0] == pytest.approx(1.0)
    copied = cj.link_measures(table(), "coach_rating", "jump_height_m", pair=("base1", "post"))
    row = copied.rows("correlation_change").iloc[0]
    assert np.isnan(row["estimate"])
    assert row["reason_code"] == "never_changes"


def test_a_value_of_the_whole_block_is_linked_with_the_change():
    data = table()
    data["attendance_percent"] = np.where(data["session"] == "post", 100.0, np.nan)
    change = data.pivot(index="athlete", columns="session", values="jump_height_m")
    change = change["post"] - change["base1"]
    post = data["session"] == "post"
    data.loc[post, "attendance_percent"] = 50 + 10 * change.to_numpy()
    result = cj.link_measures(data, "attendance_percent", "jump_height_m", pair=("base1", "post"))
    row = result.rows("correlation_with_change").iloc[0]
    assert row["estimate"] == pytest.approx(1.0)
    assert set(result.points["links"]["kind"]) == {"levels", "with_change"}
    assert any("block as a whole" in str(s) for s in result.sentences)


def test_many_pairs_are_counted_and_adjusted():
    rng = np.random.default_rng(5)
    data = table()
    for k in range(10):
        data[f"own_{k}"] = rng.normal(size=len(data))
    names = [f"own_{k}" for k in range(10)]
    result = cj.link_measures(data, "coach_rating", ["jump_height_m", *names])
    table_ = result.rows("correlation")
    assert (table_["p_adjusted"] >= table_["p"] - 1e-12).all()
    p = table_.sort_values("p")["p"].to_numpy()
    assert table_["p_adjusted"].min() == pytest.approx(min(1.0, 11 * p[0]))  # Holm's first step
    text = " ".join(map(str, result.sentences))
    assert "of 11 pairs" in text
    assert "(0.6 would by chance alone)" in text  # 5 % of 11


def test_cautions_are_always_there():
    result = cj.link_measures(
        table(), "coach_rating", ["jump_height_m", "body_mass_kg"], pair=("base1", "post")
    )
    codes = {n.code for n in result.notes}
    assert {"association_only", "chance_correlation", "few_for_a_link"} <= codes


def test_women_and_men_are_linked_apart():
    both = pd.concat([table().assign(sex="female"), table().assign(sex="male")], ignore_index=True)
    both["athlete"] = both["athlete"] + both["sex"]
    both.loc[both["sex"] == "male", "jump_height_m"] += 50
    result = cj.link_measures(both, "coach_rating", "jump_height_m")
    found = result.rows("correlation")
    assert list(found["group"]) == ["female", "male"]
    assert found["estimate"].to_list() == pytest.approx([0.81642] * 2, abs=5e-6)


def test_wrong_names_are_refused():
    with pytest.raises(StatsError, match="coach_ratin"):
        cj.link_measures(table(), "coach_ratin", "jump_height_m")
    with pytest.raises(StatsError, match="there is no session 'base9'"):
        cj.link_measures(table(), "coach_rating", "jump_height_m", pair=("base9", "post"))
    with pytest.raises(StatsError, match="nothing|two different"):
        cj.link_measures(table(), "coach_rating", "coach_rating")
