"""Where the athletes of a squad stand: percentiles, likely ranges that hold, the user's reference."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import StatsError


def squad(n=20, *, error=0.01, spread=0.03, seed=1, values=None):
    """True heights and a table with two baselines of them."""
    rng = np.random.default_rng(seed)
    true = 0.30 + spread * rng.standard_normal(n) if values is None else np.asarray(values, float)
    n = len(true)
    rows = [
        {"athlete": f"A{i:02d}", "session": s, "role": "baseline", "group": "usual", "sex": "female",
         "jump_height_m": true[i] + error * rng.standard_normal()}
        for s in ("base1", "base2") for i in range(n)
    ]  # fmt: skip
    return true, pd.DataFrame(rows)


def test_percentiles_are_those_of_hazen():
    """100 (rank - 0.5) / n; closed form, ties share their mean rank."""
    _, table = squad(values=[0.20, 0.30, 0.30, 0.40, 0.50, 0.60, 0.70], error=0.0)
    table.loc[table["session"] == "base2", "jump_height_m"] += [0.001, -0.001, 0, 0, 0, 0, 0]
    points = cj.squad_places(table, "jump_height_m").points["squad"]
    expected = [100 * (r - 0.5) / 7 for r in (1, 2.5, 2.5, 4, 5, 6, 7)]
    assert points["percentile"].to_list() == pytest.approx(expected)


def test_likely_ranges_hold_the_true_percentile_as_often_as_they_say():
    """60 squads of 20 with ICC .90: binomial limits at 99.9 % round 90 % of 1200 athletes."""
    inside = []
    for seed in range(60):
        true, table = squad(seed=seed)
        frame = cj.squad_places(table, "jump_height_m", level=0.90).points["squad"]
        truth = 100 * (pd.Series(true).rank().to_numpy() - 0.5) / len(true)
        inside += list((frame["percentile_low"] <= truth) & (truth <= frame["percentile_high"]))
    assert 0.86 <= np.mean(inside) <= 0.97  # ranks move in steps, so ranges are a little wide


def test_a_noisier_test_gives_wider_ranges():
    _, table = squad()
    wide = [
        cj.squad_places(table, "jump_height_m", reliability={"jump_height_m": e}).points["squad"]
        for e in (0.002, 0.01, 0.02)
    ]
    widths = [float((w["percentile_high"] - w["percentile_low"]).mean()) for w in wide]
    assert widths[0] < widths[1] < widths[2]


def test_without_known_noise_there_is_no_range_and_the_reason_is_said():
    _, table = squad()
    once = table[table["session"] == "base1"]
    result = cj.squad_places(once, "jump_height_m")
    likely = result.rows("percentile_likely")
    assert likely["estimate"].isna().all()
    assert set(likely["reason_code"]) == {"measured_once"}
    assert any("No likely range" in n.text for n in result.notes)
    assert result.points["squad"]["percentile"].notna().all()


def test_the_reference_is_read_by_mean_and_sd_or_quantiles():
    """A value one SD above the mean stands at percentile 84.13 of a normal (table of the normal)."""
    _, table = squad(values=[0.30, 0.34, 0.26, 0.28, 0.32, 0.31, 0.29], error=0.0)
    table.loc[table["session"] == "base2", "jump_height_m"] += [0.001, -0.001, 0, 0, 0, 0, 0]
    normal = pd.DataFrame(
        {"metric": ["jump_height_m"], "mean": [0.30], "sd": [0.04], "source": ["S1"]}
    )
    points = cj.squad_places(table, "jump_height_m", reference=normal).points["squad"]
    assert points["reference_percentile"].iloc[:3].to_list() == pytest.approx(
        [50, 84.134, 15.866], abs=1e-3
    )
    assert set(points["source"]) == {"S1"}
    quantiles = normal.drop(columns=["mean", "sd"]).assign(p25=0.28, p50=0.30, p75=0.32)
    points = cj.squad_places(table, "jump_height_m", reference=quantiles).points["squad"]
    assert points["reference_percentile"].to_list() == pytest.approx(
        [50, 75, 25, 25, 75, 62.5, 37.5]
    )


def test_what_cannot_be_shown_is_refused():
    _, table = squad()
    with pytest.raises(StatsError, match="jump_hight_m"):
        cj.squad_places(table, "jump_hight_m")
    with pytest.raises(StatsError, match="none of jump_height_m"):
        cj.squad_places(table.rename(columns={"jump_height_m": "own"}))
    with pytest.raises(StatsError, match="there is no session 'base9'"):
        cj.squad_places(table, session="base9")
    with pytest.raises(StatsError, match="no column 'source'"):
        cj.squad_places(table, reference=pd.DataFrame({"metric": ["jump_height_m"]}))


def test_athletes_without_a_value_keep_their_row():
    _, table = squad()
    table.loc[table["athlete"] == "A03", "jump_height_m"] = np.nan
    result = cj.squad_places(table, "jump_height_m")
    row = result.points["squad"].set_index("athlete").loc["A03"]
    assert np.isnan(row["percentile"])
    assert np.isnan(row["percentile_low"])
    assert result.points["squad"]["n"].max() == 19
