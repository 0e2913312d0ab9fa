"""Does one measure go with another: correlation and line against a published data set."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from cmjlab.stats.subgroups.relation import metric_relation
from cmjlab.stats.subgroups.subgroups import subgroup_athletes

# Anscombe 1973, Am Stat 27:17, first data set; the numbers of the line are R's
# (summary(lm(y1 ~ x1, anscombe)) and cor.test), from memory.
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def _table(x, y):
    return pd.DataFrame({
        "athlete": [f"A{i:02d}" for i in range(len(x))], "session": "base1", "role": "baseline",
        "own_x": np.array(x, float), "own_y": np.array(y, float),
    })  # fmt: skip


def test_line_and_correlation_are_those_of_the_published_data_set():
    result = metric_relation(_table(X, Y), "own_x", "own_y")
    slope = result.rows("outcome_slope").iloc[0]
    assert slope["estimate"] == pytest.approx(0.5001, abs=5e-5)
    assert slope["se"] == pytest.approx(0.1179, abs=5e-5)
    assert slope["p"] == pytest.approx(0.00217, abs=5e-6)
    r = result.rows("correlation").iloc[0]
    assert r["estimate"] == pytest.approx(0.81642, abs=5e-6)
    assert (r["ci_low"], r["ci_high"]) == pytest.approx((0.4243912, 0.9506933), abs=5e-6)
    line = result.points["line"]
    at_mean = line.iloc[(line["x"] - 9.0).abs().argmin()]
    # mean of y ± t(9) s / √11 with s = 1.237: 7.5009 ± 0.8435 (closed form)
    assert at_mean["high"] - at_mean["y"] == pytest.approx(2.2622 * 1.2366 / np.sqrt(11), abs=2e-3)


def test_the_sentence_gives_the_line_for_a_step_that_a_person_can_imagine():
    result = metric_relation(_table(X, Y), "own_x", "own_y")
    assert result.settings["steps"] == {"all": 3.0}  # SD 3.32
    text = str(result.sentences[0])
    assert "0.82" in text
    assert "3 more of it goes with +1.50" in text


def test_women_and_men_are_looked_at_each_alone():
    both = pd.concat([_table(X, Y).assign(sex="female"), _table(X, Y).assign(sex="male")])
    both["athlete"] = [f"A{i:02d}" for i in range(len(both))]
    both.loc[both["sex"] == "male", "own_y"] += 100.0
    result = metric_relation(both, "own_x", "own_y")
    assert result.rows("correlation")["estimate"].to_list() == pytest.approx(
        [0.81642] * 2, abs=5e-6
    )


@pytest.mark.parametrize(
    ("x", "y", "why"),
    [(X[:5], Y[:5], "few_with_both_values"), (X, [3.0] * 11, "one_does_not_vary")],
)
def test_what_cannot_be_told_is_said(x, y, why):
    result = metric_relation(_table(x, y), "own_x", "own_y")
    assert set(result.table["reason_code"]) == {why}
    assert "cannot be told" in str(result.sentences[0])
    assert result.points["line"].empty


def test_cuts_stand_with_their_values_in_every_stratum():
    table = pd.concat([_table(X, Y).assign(sex="female"), _table(X, Y).assign(sex="male")])
    table["athlete"] = [f"A{i:02d}" for i in range(len(table))]
    table.loc[table["sex"] == "male", "own_x"] += 10.0
    rules = pd.DataFrame(
        [("a", "own_x < median and own_y > 5"), ("b", "else")], columns=["subgroup", "rule"]
    )
    cuts = subgroup_athletes(table, rules).points["cuts"]
    assert cuts[["stratum", "cut"]].to_numpy().tolist() == [
        ["female", 9.0],
        ["male", 19.0],
        ["", 5.0],
    ]
    assert list(cuts["place"]) == ["median", "median", ""]
