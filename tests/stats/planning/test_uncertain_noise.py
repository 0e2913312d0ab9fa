"""A plan whose typical error is only estimated: against R, closed forms and simulated studies."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import special

from cmjlab.errors import StatsError
from cmjlab.stats.planning.planning import frozen, plan_study, what_squad_shows
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.spread import Spread
from cmjlab.stats.planning.uncertain import (
    UncertainError,
    assured_half_width,
    expected_power,
    size_for,
)

# power.t.test, integrate and the quantiles of R 4.2.2; the script stands beside it
R = json.loads((Path(__file__).parents[2] / "reference" / "planning.json").read_text())
PLAIN = Scenario(response_sd=(0.0,), baselines=(1,), simulations=0, sd_between_athletes=0.045)


def planned(noise: Any = (R["typical_error"], R["df"]), matters: float = R["matters"]) -> Any:
    return plan_study("h_m", reliability={"h_m": noise}, matters=matters, scenario=PLAIN)


@pytest.mark.parametrize("design", ["one_group", "two_groups_change"])
def test_range_and_assurance_equal_r(design: str) -> None:
    table = planned().table
    rows = table[table["case"] == design].set_index("statistic")
    needed, expected = rows.loc["n_needed"], SimpleNamespace(**R[design])
    assert (needed["ci_low"], needed["estimate"], needed["ci_high"]) == (
        expected.n_low,
        expected.n,
        expected.n_high,
    )
    assert rows.loc["n_needed_assured", "estimate"] == expected.n_assured
    assert rows.loc["assurance", "estimate"] == pytest.approx(expected.assurance, abs=1e-9)
    assert rows.loc["expected_power", "estimate"] == pytest.approx(
        expected.expected_power, abs=1e-9
    )


def test_assured_half_width_is_an_f_quantile() -> None:
    known = UncertainError(R["typical_error"], R["df"])
    spread = Spread(R["typical_error"], 0.0, 0.0, 0.0, 1)
    n = R["half_width"]["n"]
    found = assured_half_width(known, spread, "one_group", (n, n), 0.95)
    assert found == pytest.approx(R["half_width"]["assured_of_noise"], rel=1e-9)
    result = what_squad_shows(
        "h_m", reliability={"h_m": (0.014, 28)}, group_sizes=(10,), scenario=PLAIN
    )
    rows = result.rows("assured_half_width", case="one_group")
    assert len(rows) == 2
    assert rows["estimate"].max() == pytest.approx(found)
    expected = result.row("expected_half_width", case="one_group")
    # with one group the half width is in proportion to the typical error
    ratio = [expected[c] / expected["estimate"] for c in ("ci_low", "ci_high")]
    assert ratio == pytest.approx([x / 0.014 for x in R["limits"]])


def test_as_many_as_promised_have_the_power() -> None:
    # true error 1; every squad estimates it with 8 df and plans by its own estimate
    rng = np.random.default_rng(20261126)
    aim, truth = (1.0, 0.8, 0.95), Spread(1.0, 0.0, 0.0, 0.0, 1)
    enough = {"estimate": 0, "assured": 0}
    for s in np.sqrt(rng.chisquare(8, 1200) / 8):
        own, known = Spread(s, 0.0, 0.0, 0.0, 1), UncertainError(s, 8)
        for name, error in (("estimate", s), ("assured", known.not_exceeded(0.8))):
            n = size_for(own, "one_group", aim, error)
            enough[name] += bool(truth.power("one_group", aim[0], n, aim[2]) >= 0.8)
    # Monte Carlo SE .012; whole athletes make it a little more than .80
    assert 0.78 < enough["assured"] / 1200 < 0.86
    assert enough["estimate"] / 1200 < 0.60


def test_expected_power_is_what_simulated_studies_reach() -> None:
    rng = np.random.default_rng(7)
    known, n, size = UncertainError(1.0, 6), 14, 60_000
    true = np.sqrt(6 / rng.chisquare(6, size))
    changes = rng.normal(1.0, 1.0, (size, n)) * 1.0
    changes = 1.0 + (changes - 1.0) * (np.sqrt(2) * true)[:, None]
    t = changes.mean(axis=1) / changes.std(axis=1, ddof=1) * np.sqrt(n)
    share = float((np.abs(t) > special.stdtrit(n - 1, 0.975)).mean())
    spread = Spread(1.0, 0.0, 0.0, 0.0, 1)
    found = expected_power(known, spread, "one_group", (1.0, 0.8, 0.95), n)
    assert found == pytest.approx(share, abs=0.006)


@pytest.mark.parametrize("df", [1, 3, 19, 400, 1e6])
def test_weights_of_the_mean_have_the_moments_of_the_chi_square(df: float) -> None:
    errors, weights = UncertainError(2.0, df).points()
    precision = (2.0 / errors) ** 2  # chi-square / df: mean 1, variance 2 / df
    assert weights @ precision == pytest.approx(1.0, abs=1e-10)
    assert weights @ precision**2 == pytest.approx(1 + 2 / df, rel=1e-10)


def test_a_better_known_error_narrows_the_range() -> None:
    widths, assured = [], []
    for df in (5, 20, 100, 10_000):
        row = planned((0.014, df)).rows("n_needed", case="two_groups_change").iloc[0]
        widths.append(row["ci_high"] - row["ci_low"])
        more = planned((0.014, df)).rows("n_needed_assured", case="two_groups_change")
        assured.append(float(more["estimate"].iloc[0]))
    assert widths == sorted(widths, reverse=True)
    assert assured == sorted(assured, reverse=True)
    assert assured[-1] - row["estimate"] <= 1


@pytest.mark.parametrize("cited", [0.014, (0.014, None)])
def test_a_cited_error_has_no_range_and_says_so(cited: Any) -> None:
    result = planned(cited)
    row = result.rows("n_needed", case="one_group").iloc[0]
    assert row["estimate"] == 16
    assert np.isnan(row["ci_low"])
    assert row["reason_code"] == "error_without_df"
    assert result.has_note("typical_error_cited")
    assert len(result.rows("assurance")) == 0
    assert not any(s.key == "planning.needed_range" for s in result.sentences)
    plan = frozen(result, {})
    assert json.loads(json.dumps(plan, allow_nan=False)) == plan
    shows = what_squad_shows("h_m", reliability={"h_m": cited}, group_sizes=(9, 8), scenario=PLAIN)
    assert shows.rows("expected_half_width")["ci_low"].isna().all()


@pytest.mark.parametrize("wrong", ["much", (0.01, "many"), (0.01, None, 3), (-1.0, None)])
def test_unusable_errors_are_named(wrong: Any) -> None:
    with pytest.raises(StatsError, match="h_m"):
        planned(wrong)


def test_what_the_range_says() -> None:
    said = [str(s) for s in planned().sentences if s.key == "planning.needed_range"]
    assert len(said) == 1
    assert (
        "11 to 27 (one group, paired t: 16 suffice with 50 % probability, 20 with 80 %)" in said[0]
    )


def test_a_range_without_an_end_says_so() -> None:
    row = planned((0.014, 1), matters=0.0006).rows("n_needed", case="one_group").iloc[0]
    assert np.isfinite(row["estimate"])
    assert row["reason_code"] == "range_too_wide"
