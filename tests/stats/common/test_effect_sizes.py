"""Effect sizes, equivalence and multiplicity against R and published numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from cmjlab.catalog.families import family_of
from cmjlab.plan import Plan
from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.change.plan import apply_plan
from cmjlab.stats.common.effect_sizes import hedges_j, noncentrality_interval
from cmjlab.stats.common.equivalence import share_above, share_below, tost
from cmjlab.stats.common.multiplicity import adjust_across_metrics, adjust_p, fcr_level
from cmjlab.tables import STATISTICS_TABLE


def test_exact_j() -> None:
    # R: exp(lgamma(df/2) - log(sqrt(df/2)) - lgamma((df - 1)/2)), df = 41
    assert float(hedges_j(41)) == pytest.approx(0.981576176704513, abs=1e-12)


def test_noncentral_limits_equal_r() -> None:
    # R 4.2.2 pt + uniroot, anorexia FT v Cont: d limits
    low, high = noncentrality_interval(3.22267648080642, 41.0, 0.95)
    root = np.sqrt(1 / 17 + 1 / 26)
    assert [low * root, high * root] == pytest.approx(
        [0.35106060614836, 1.64837528129692], abs=1e-7
    )


@pytest.mark.parametrize("t", [0.0, -3.0, 12.0, 499.0])
def test_noncentral_limits_invert_the_distribution(t: float) -> None:
    from scipy.stats import nct

    low, high = noncentrality_interval(t, 9.0, 0.95)
    assert nct.cdf(t, 9, low) == pytest.approx(0.975, abs=1e-6)
    assert nct.cdf(t, 9, high) == pytest.approx(0.025, abs=1e-6)


def test_noncentral_limits_on_a_grid_against_quadrature() -> None:
    # P(T <= t) = E Φ(t s - nc), s² = chi²/df: integrated here over s without any t function
    from scipy.special import gammaln, ndtr

    nodes, weights = np.polynomial.legendre.leggauss(400)
    for df in (2.0, 5.0, 11.0, 30.0):
        s = 6.0 * (nodes + 1) / 2
        log_density = (df - 1) * np.log(s) - df * s**2 / 2 + 0.5 * df * np.log(df)
        log_density += -gammaln(df / 2) - (df / 2 - 1) * np.log(2)
        density = np.exp(log_density) * weights * 6.0 / 2
        t = np.linspace(-25, 25, 301)
        for nc, target in zip(noncentrality_interval(t, df, 0.95), (0.975, 0.025), strict=True):
            below = (density[:, None] * ndtr(s[:, None] * t - nc)).sum(axis=0)
            assert np.abs(below - target).max() < 2e-6, (df, target)


def test_limits_of_a_huge_t_are_finite_and_continuous() -> None:
    below, above = (noncentrality_interval(t, 9.0, 0.95) for t in (499.9, 500.1))
    assert np.isfinite(above).all()
    assert np.array(above) == pytest.approx(np.array(below), rel=2e-3)


def test_tost_equals_r() -> None:
    # sleep, margins ±2 h (R, written out): t 1.0798 and -9.2041, p .154157235669097, 90 % interval
    found = tost(-1.58, 0.388958723888395, 9.0, 2.0)
    assert float(found.t_lower) == pytest.approx(1.07980609305092, abs=1e-9)
    assert float(found.t_upper) == pytest.approx(-9.20406145981499, abs=1e-9)
    assert float(found.p) == pytest.approx(0.154157235669097, abs=1e-10)
    assert float(found.p_upper) == pytest.approx(3.55234415924769e-06, rel=1e-8)
    assert [float(found.ci_low), float(found.ci_high)] == pytest.approx(
        [-2.29300526702928, -0.866994732970717], abs=1e-10
    )


def test_welch_tost_equals_r() -> None:
    # anorexia change, CBT v Cont, margins ±5 lb
    found = tost(3.45689655172414, 2.07279100012918, 50.9706533042679, 5.0)
    assert float(found.p_lower) == pytest.approx(7.92991054786401e-05, rel=1e-8)
    assert float(found.p_upper) == pytest.approx(0.230009389561625, abs=1e-10)
    assert [float(found.ci_low), float(found.ci_high)] == pytest.approx(
        [-0.0156560035658262, 6.9294491070141], abs=1e-9
    )


def test_shares_are_one_minus_the_one_sided_p() -> None:
    found = tost(1.2, 0.5, 11.0, 1.0)
    assert float(share_above(1.2, 0.5, 11.0, 1.0)) == pytest.approx(float(found.p_upper))
    assert float(share_below(1.2, 0.5, 11.0, -1.0)) == pytest.approx(float(found.p_lower))


def test_adjusted_p_values_by_hand() -> None:
    p = [0.01, 0.04, np.nan, 0.03]
    assert adjust_p(p, "holm")[[0, 1, 3]] == pytest.approx([0.03, 0.06, 0.06])
    assert adjust_p(p, "bh")[[0, 1, 3]] == pytest.approx([0.03, 0.04, 0.04])
    assert np.isnan(adjust_p(p, "holm")[2])


def test_bh_equals_scipy() -> None:
    from scipy.stats import false_discovery_control

    p = np.random.default_rng(1).uniform(size=30)
    assert adjust_p(p, "bh") == pytest.approx(false_discovery_control(p))


def test_same_quantity_counts_once() -> None:
    assert family_of("takeoff_velocity_m_per_s") == "jump_height_m"
    p = {"jump_height_m": 0.02, "takeoff_velocity_m_per_s": 0.021, "braking_duration_s": 0.03}
    adjusted = adjust_across_metrics(p, method="bonferroni")
    assert adjusted == pytest.approx(
        {"jump_height_m": 0.04, "takeoff_velocity_m_per_s": 0.04, "braking_duration_s": 0.06}
    )
    primary = adjust_across_metrics(p, "jump_height_m", "bonferroni")
    assert primary["jump_height_m"] == 0.02


def test_fcr_level_of_kept_intervals() -> None:
    # Benjamini & Yekutieli 2005: level 1 - R q / m with R kept of m
    kept, level = fcr_level([0.001, 0.01, 0.5, 0.6], 0.95)
    assert kept.tolist() == [True, True, False, False]
    assert level == pytest.approx(1 - 0.05 * 2 / 4)


@pytest.fixture(scope="module")
def two_metrics() -> pd.DataFrame:
    rng = np.random.default_rng(12)
    n = 14
    base = pd.DataFrame(
        {
            "athlete": [f"A{i:02d}" for i in range(n)],
            "group": ["t"] * 7 + ["c"] * 7,
            "jump_height_m": rng.normal(0.34, 0.04, n),
            "braking_duration_s": rng.normal(0.2, 0.02, n),
        }
    )
    after = base.assign(
        jump_height_m=base["jump_height_m"] + rng.normal(0.02, 0.01, n),
        braking_duration_s=base["braking_duration_s"] + rng.normal(0, 0.01, n),
    )
    return pd.concat([base.assign(session="pre"), after.assign(session="post")], ignore_index=True)


def test_plan_fills_roles_and_margins(two_metrics: pd.DataFrame) -> None:
    plan = Plan(change_that_matters={"jump_height_m": 0.01})
    result = apply_plan(change_within(two_metrics, before="pre", after="post"), plan)
    roles = result.table.groupby("metric")["role"].first()
    assert roles.to_dict() == {"jump_height_m": "primary", "braking_duration_s": "exploratory"}
    row = result.rows("equivalence").iloc[0]
    main = result.rows("mean_change", metric="jump_height_m").iloc[0]
    expected = tost(main["estimate"], main["se"], main["df"], 0.01)
    assert row["p"] == pytest.approx(float(expected.p))
    assert row["level"] == 0.90
    effect = result.rows("minimum_effect").iloc[0]
    assert effect["p"] == pytest.approx(1 - float(expected.p_upper))
    gain = result.value("probability_meaningful_gain")
    assert gain == pytest.approx(1 - effect["p"])
    assert result.has_note("no_change_that_matters")
    assert set(result.rows("equivalence")["case"]) == {"mean_change"}
    assert row["remark_code"].startswith("margin_")
    sentence = result.sentences[-1]
    assert (sentence.key, sentence.metric) == ("change.matters_mean_change", "jump_height_m")
    assert sentence.values["margin"] == 0.01
    assert "; the change that matters is 1.0 cm. The " in sentence.text


def test_plan_without_its_primary_metric_says_so() -> None:
    frame = STATISTICS_TABLE.frame([{"metric": "x", "statistic": "mean_change", "estimate": 1.0}])
    result = apply_plan(Result("change_within", frame), Plan())
    assert result.has_note("no_primary_metric")
    assert result.table["role"].tolist() == ["exploratory"]


def test_exploratory_p_values_are_adjusted_as_one_family(reference_data: Path) -> None:
    d = pd.read_csv(reference_data / "prepost" / "anorexia.csv")
    wide = pd.DataFrame({"athlete": [f"A{i}" for i in range(len(d))], "group": d["Treat"]})
    rng = np.random.default_rng(3)
    parts = []
    for session, column in (("pre", "Prewt"), ("post", "Postwt")):
        extra = {f"m{k}": d[column] + rng.normal(0, 8, len(d)) for k in range(3)}
        parts.append(wide.assign(session=session, **extra))
    table = pd.concat(parts, ignore_index=True)
    result = change_between(table, before="pre", after="post", control="Cont").with_details()
    planned = apply_plan(result, Plan(primary_metric="m0"))
    rows = planned.rows(
        "adjusted_difference", first="FT", second="Cont", interval_kind="classical"
    ).set_index("metric")
    assert np.isnan(rows.loc["m0", "p_adjusted"])
    expected = adjust_p([rows.loc["m1", "p"], rows.loc["m2", "p"]], "holm")
    assert rows.loc[["m1", "m2"], "p_adjusted"].tolist() == pytest.approx(expected.tolist())


def test_intervals_of_the_exploratory_family(two_metrics: pd.DataFrame) -> None:
    from scipy.special import stdtrit

    table = two_metrics.assign(depth=two_metrics["braking_duration_s"] * 2 + 0.1)
    result = apply_plan(change_within(table, before="pre", after="post"), Plan())
    rows = result.rows("family_interval")
    assert rows["metric"].tolist() == ["braking_duration_s", "depth"]
    main = result.rows("mean_change", metric="depth").iloc[0]
    half = stdtrit(main["df"], 1 - 0.025 / 2) * main["se"]
    assert rows.iloc[1]["ci_high"] == pytest.approx(main["estimate"] + half)
    assert rows.iloc[1]["level"] == pytest.approx(0.975)
    kept = apply_plan(
        change_within(table, before="pre", after="post"), Plan(primary_metric="x"), adjust="bh"
    )
    rows = kept.rows("family_interval")
    p = kept.rows("mean_change").set_index("metric")["p_adjusted"]
    assert set(rows["metric"]) == set(p[p <= 0.05].index)
    assert rows["level"].iloc[0] == pytest.approx(1 - 0.05 * len(rows) / 3)
