"""The calibration table of a season: stated rates hold, handbook limits do not, a slice comes again."""

from __future__ import annotations

import follow_calibration as season
import numpy as np
import pandas as pd
import pytest
from harness import stream

import cmjlab as cj

TABLE = pd.read_csv(season.TABLE)
UNCHANGED = TABLE[(TABLE["shift"] == 0) & (TABLE["uneven"] == 0)]


def test_no_judged_row_fails() -> None:
    assert set(TABLE["verdict"]) == {"pass", "shown"}
    assert (TABLE["studies"] == season.STUDIES).all()
    judged = TABLE[TABLE["verdict"] == "pass"]
    assert len(judged) == 18
    alarms = judged["quantity"] == "weekly alarm"
    assert judged.loc[alarms, "proportion"].between(0.018, 0.022).all()
    assert judged.loc[~alarms, "proportion"].between(0.045, 0.055).all()


def test_limits_that_take_level_and_noise_as_known_break_many_times_too_often() -> None:
    two = UNCHANGED[(UNCHANGED["stable"] == 2) & (UNCHANGED["looks"] >= 12)]
    own = two[two["quantity"].isin(["handbook, own noise", "handbook, weighted mean"])]
    assert len(own) == 6
    assert (own["proportion"] > 0.5).all()


def test_a_change_of_three_typical_errors_is_seen_and_more_stable_weeks_help() -> None:
    moved = TABLE[(TABLE["shift"] == 3) & (TABLE["quantity"] == "conclusion")].set_index("stable")
    assert moved.loc[2, "proportion"] > 0.9
    assert moved.loc[4, "proportion"] > moved.loc[2, "proportion"]


@pytest.mark.parametrize("number", [0, 7])
def test_a_slice_of_the_table_comes_out_again(number: int) -> None:
    cell = season.cells()[number]
    rows = TABLE
    for key, value in cell.items():
        rows = rows[rows[key] == value]
    assert len(rows) > 3
    found = season.study(stream(season.SEED, cell, 0), cell, season.BATCH)
    for _, row in rows.iterrows():
        # a value that sits on a limit to the last digit may fall on either side on other machines
        assert abs(int(np.nansum(found[row["quantity"]])) - row["first_batch_hits"]) <= 1


def test_the_whole_way_from_a_table_keeps_its_rates() -> None:
    """Sixty squads of twenty through the public function; bars: four standard errors of a share."""
    random = np.random.default_rng(8)
    roles = ["baseline"] * 2 + ["monitoring"] * 6
    names = [f"s{i}" for i in range(8)]
    alarms = concluded = weeks = people = 0
    for _ in range(60):
        values = random.normal(0.3, 0.03, (20, 1)) + random.normal(0, 0.012, (20, 8))
        table = pd.DataFrame(
            {
                "athlete": np.repeat([f"A{i:02d}" for i in range(20)], 8),
                "session": pd.Categorical(np.tile(names, 20), names, ordered=True),
                "role": np.tile(roles, 20),
                "jump_height_m": values.ravel(),
            }
        )
        found = cj.follow(table, settings=cj.FollowSettings(looks=6)).points["weeks"]
        alarms += int((found["alarm"] != "").sum())
        concluded += int((found.groupby("athlete")["conclusion"].max() != "").sum())
        weeks, people = weeks + len(found), people + found["athlete"].nunique()
    assert weeks == 60 * 20 * 6
    assert people == 60 * 20
    # weeks of one athlete share the error of the level: counted as a third of their number
    assert alarms / weeks == pytest.approx(0.02, abs=4 * np.sqrt(0.02 * 0.98 / (weeks / 3)))
    assert concluded / people == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / people))
