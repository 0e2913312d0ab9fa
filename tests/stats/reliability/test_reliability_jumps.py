"""Single jumps: components against closed forms, jumps needed, mean against best."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri

from cmjlab.catalog import STATISTICS
from cmjlab.errors import StatsError
from cmjlab.stats.reliability.jump_components import components, jump_cube
from cmjlab.stats.reliability.jumps_needed import best_of_jumps, jumps_needed
from cmjlab.stats.reliability.reliability import reliability


@pytest.fixture(autouse=True)
def _numpy_raises():
    with np.errstate(all="raise", under="ignore"):
        yield


def jumps(n=12, k=2, m=4, seed=0, day=0.8, jump=1.0, slope=0.0):
    rng = np.random.default_rng(seed)
    y = 40 + 4 * rng.normal(size=(n, 1, 1)) + 0.5 * np.arange(k)[:, None]
    y = (
        y
        + day * rng.normal(size=(n, k, 1))
        + jump * rng.normal(size=(n, k, m))
        + slope * np.arange(m)
    )
    i, j, r = (x.ravel() for x in np.indices(y.shape))
    return pd.DataFrame(
        {
            "athlete": [f"A{a + 1:02d}" for a in i],
            "session": [f"s{s + 1}" for s in j],
            "trial": r + 1,
            "score": y.ravel(),
        }
    )


def cube_of(table):
    return table.pivot_table(
        index="athlete", columns=["session", "trial"], values="score"
    ).to_numpy()


def test_components_of_balanced_jumps_are_the_nested_analysis_of_variance():
    n, k, m = 12, 2, 4
    table = jumps(n, k, m)
    y = cube_of(table).reshape(n, k, m)
    cell, athlete, session = y.mean(axis=2), y.mean(axis=(1, 2)), y.mean(axis=(0, 2))
    x = np.arange(m) - (m - 1) / 2
    within = y - cell[..., None]
    slope = (within * x).sum() / (n * k * (x**2).sum())
    ms_jump = ((within - slope * x) ** 2).sum() / (n * k * (m - 1) - 1)
    interaction = cell - athlete[:, None] - session + y.mean()
    ms_day = m * (interaction**2).sum() / ((n - 1) * (k - 1))
    ms_athlete = k * m * ((athlete - y.mean()) ** 2).sum() / (n - 1)
    part = components(jump_cube(table, ["score"], ["s1", "s2"]))
    assert part.jumps[0] == pytest.approx(ms_jump)
    assert part.days[0] == pytest.approx((ms_day - ms_jump) / m)
    assert part.between[0] == pytest.approx((ms_athlete - ms_day) / (k * m))
    assert part.slope[0] == pytest.approx(slope)
    assert part.share[0] == pytest.approx(1 / m)


def test_components_of_unequal_jumps_are_right_on_average():
    rng = np.random.default_rng(1)
    sums = np.zeros(3)
    for seed in range(60):
        table = jumps(n=15, k=3, m=5, seed=seed, slope=0.4)
        table = table[rng.random(len(table)) < 0.7]
        part = components(jump_cube(table, ["score"], ["s1", "s2", "s3"]))
        sums += [part.jumps[0], part.days[0], part.between[0]]
    np.testing.assert_allclose(sums[:2] / 60, [1.0, 0.64], atol=0.08)
    assert sums[2] / 60 == pytest.approx(16, abs=2.5)


def test_typical_error_of_the_mean_of_the_jumps_recorded_is_that_of_the_sessions_table():
    table = jumps()
    result = jumps_needed(table)
    sessions = table.groupby(["athlete", "session"], as_index=False)["score"].mean()
    curve = result.points["curve"].set_index(["n_sessions", "n_jumps"])
    te = reliability(sessions).rows("typical_error").iloc[0]
    assert curve.loc[(1, 4), "estimate"] == pytest.approx(te["estimate"])
    assert curve.loc[(1, 4), "ci_low"] == pytest.approx(te["ci_low"], rel=1e-9)
    assert curve.loc[(1, 4), "ci_high"] == pytest.approx(te["ci_high"], rel=1e-9)
    icc = reliability(sessions).rows("icc_c1", interval_kind="mcgraw_wong").iloc[0]
    assert curve.loc[(1, 4), "icc"] == pytest.approx(icc["estimate"])
    assert curve.loc[(1, 4), "icc_low"] == pytest.approx(icc["ci_low"], abs=0.01)


def test_the_table_follows_the_formula_and_only_falls():
    result = jumps_needed(jumps())
    curve = result.points["curve"]
    part = components(jump_cube(jumps(), ["score"], ["s1", "s2"]))
    for _, row in curve.iterrows():
        noise = (part.days[0] + part.jumps[0] / row["n_jumps"]) / row["n_sessions"]
        assert row["estimate"] == pytest.approx(np.sqrt(noise))
    for _, block in curve.groupby("n_sessions"):
        assert (np.diff(block.sort_values("n_jumps")["estimate"]) < 0).all()
    assert len(curve) == 40
    assert set(result.table["statistic"]) <= set(STATISTICS)
    assert (curve["ci_low"] <= curve["estimate"]).all()
    assert (curve["estimate"] <= curve["ci_high"]).all()
    assert result.sentences[0].values["stop"].key == "reliability.jumps_enough"


def test_order_of_jumps_is_found_and_taken_out():
    flat, steep = jumps(slope=0.0), jumps(slope=1.5)
    result = jumps_needed(steep)
    row = result.rows("jump_order_slope").iloc[0]
    assert row["ci_low"] < 1.5 < row["ci_high"]
    assert result.has_note("jump_order")
    assert not jumps_needed(flat).has_note("jump_order")
    assert result.value("sd_between_jumps") == pytest.approx(
        jumps_needed(flat).value("sd_between_jumps")
    )


def test_trial_numbers_sort_as_numbers():
    table = jumps(m=12, slope=1.0).astype({"trial": str}).sample(frac=1, random_state=0)
    assert jumps_needed(table).rows("jump_order_slope")["estimate"].iloc[0] == pytest.approx(
        1.0, abs=0.1
    )


def test_best_of_jumps_is_biased_by_their_number():
    # Mean of the largest of 2, 3, 4 normal values: .564, .846, 1.029 SD (order statistics).
    table = jumps(n=400, m=4, day=0.0, seed=5)
    best = jumps_needed(table).points["best_of_jumps"].set_index("n_jumps")
    np.testing.assert_allclose(best["best_minus_mean"], [0.564, 0.846, 1.029], atol=0.04)
    assert best.loc[4, "typical_error_mean"] == pytest.approx(0.5, abs=0.05)
    assert best.loc[4, "typical_error_best"] > best.loc[4, "typical_error_mean"]
    assert ndtri(0.975) == pytest.approx(1.96, abs=1e-3)


def test_best_is_cut_to_the_smallest_number_of_jumps():
    table = jumps(m=4)
    table = table.drop(table[(table["athlete"] == "A03") & (table["trial"] > 2)].index)
    result = jumps_needed(table)
    assert result.points["best_of_jumps"]["n_jumps"].tolist() == [2]
    assert result.has_note("best_of_unequal")


def test_best_follows_the_direction_of_the_metric():
    table = jumps()
    lower, _ = best_of_jumps(
        jump_cube(
            table.rename(columns={"score": "time_to_takeoff_s"}),
            ["time_to_takeoff_s"],
            ["s1", "s2"],
        )
    )
    assert (lower["best"] == "min").all()
    assert (lower["best_minus_mean"] < 0).all()
    none, notes = best_of_jumps(
        jump_cube(table.rename(columns={"score": "body_weight_n"}), ["body_weight_n"], ["s1", "s2"])
    )
    assert none.empty
    assert notes[0].code == "no_best"


def test_one_session_says_so():
    result = jumps_needed(jumps(k=1))
    assert result.has_note("one_session")
    assert set(result.points["curve"]["n_sessions"]) == {1}
    row = result.rows("sd_between_days").iloc[0]
    assert row["reason_code"] == "one_session"
    assert result.sentences[0].key == "reliability.jumps_within_day"


def test_one_jump_per_session_is_not_estimable():
    result = jumps_needed(jumps(m=1))
    for s in (
        "sd_between_jumps",
        "sd_between_days",
        "jump_order_slope",
        "typical_error_mean_of_jumps",
    ):
        assert result.rows(s)["text"].str.startswith("not estimable: ").all()
    assert result.sentences == ()


def test_identical_jumps_and_constant_metric():
    table = jumps().assign(score=30.0)
    result = jumps_needed(table)
    assert result.rows("sd_between_jumps")["estimate"].iloc[0] == 0
    assert result.rows("sd_between_jumps")["reason_code"].iloc[0] == "jumps_identical"
    assert np.isfinite(result.table["estimate"]).sum() >= 1


def test_jumps_that_are_not_accepted_are_left_out_with_a_note():
    table = jumps().assign(accepted=lambda t: t["trial"] < 4)
    result = jumps_needed(table)
    assert result.has_note("not_accepted")
    again = jumps_needed(table[table["accepted"]].drop(columns="accepted"))
    assert result.value("sd_between_jumps") == pytest.approx(again.value("sd_between_jumps"))


def test_a_voided_metric_of_an_accepted_jump_is_a_gap():
    table = jumps()
    table.loc[[0, 5, 9], "score"] = np.nan
    whole = jumps_needed(jumps())
    result = jumps_needed(table)
    assert result.value("sd_between_jumps") == pytest.approx(
        whole.value("sd_between_jumps"), rel=0.1
    )


def test_refusals():
    table = jumps()
    with pytest.raises(StatsError, match=r"A01/s1/1\. Remove the copies"):
        jumps_needed(pd.concat([table, table.iloc[[0]].assign(score=1.0)]))
    table.loc[3, "score"] = np.inf
    with pytest.raises(StatsError, match="athlete A01, session s1, score is infinite"):
        jumps_needed(table)
    with pytest.raises(StatsError, match="no metric"):
        jumps_needed(jumps(), "height")


def test_metrics_the_jumps_table_lacks_are_named():
    table = jumps()
    sessions = (
        table.groupby(["athlete", "session"], as_index=False)["score"]
        .mean()
        .assign(other=lambda t: t["score"] ** 2)
    )
    result = reliability(sessions, jumps=table)
    assert result.has_note("not_in_jumps")
    assert result.value("sd_between_jumps", metric="score") > 0
