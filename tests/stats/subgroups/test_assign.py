"""Random assignment: reproducible, balanced, really random."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed

import cmjlab as cj
from cmjlab.errors import StatsError


def squad(n: int = 24, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame({
        "athlete": [f"A{i:02d}" for i in range(n)],
        "position": rng.choice(["wing", "back", "pivot"], n),
        "jump_height_m": 0.3 + 0.04 * rng.standard_normal(n),
        "relative_strength": 1.5 + 0.2 * rng.standard_normal(n),
    })  # fmt: skip


def groups(result: cj.Result) -> pd.Series:
    return result.points["placements"].set_index("athlete")["subgroup"]


@pytest.mark.parametrize(
    "how", [{}, {"stratify": "position"}, {"minimise": ["jump_height_m", "position"]}]
)
def test_the_same_seed_gives_the_same_groups_in_any_row_order(how):
    data = squad()
    first = groups(cj.assign_randomly(data, ["jump", "usual"], seed=7, **how))
    again = groups(
        cj.assign_randomly(data.sample(frac=1, random_state=3), ["jump", "usual"], seed=7, **how)
    )
    pd.testing.assert_series_equal(first.sort_index(), again.sort_index())
    other = groups(cj.assign_randomly(data, ["jump", "usual"], seed=8, **how))
    assert (first != other).any()
    assert first.value_counts().tolist() == [12, 12]


def test_strata_come_out_equal_to_one_athlete_and_so_does_the_whole():
    for seed in range(30):
        data = squad(25, seed)
        found = groups(cj.assign_randomly(data, ["a", "b"], seed=seed, stratify="position"))
        table = pd.crosstab(data.set_index("athlete")["position"], found)
        assert (table["a"] - table["b"]).abs().max() <= 1
        assert abs((found == "a").sum() - (found == "b").sum()) <= 1


def test_shares_are_kept():
    found = groups(cj.assign_randomly(squad(24), {"jump": 2, "usual": 1}, seed=1))
    assert found.value_counts().to_dict() == {"jump": 16, "usual": 8}
    found = groups(
        cj.assign_randomly(squad(24), {"jump": 2, "usual": 1}, seed=1, minimise="jump_height_m")
    )
    assert abs((found == "jump").sum() - 16) <= 1


def test_minimisation_balances_better_than_chance():
    """Standardised differences of three columns, 60 squads: far smaller than by lot alone."""
    plain, minimised = [], []
    columns = ["jump_height_m", "relative_strength", "position"]
    for seed in range(60):
        data = squad(24, seed)
        lot = groups(cj.assign_randomly(data, ["a", "b"], seed=seed))
        for result, out in (
            (cj.assign_randomly(data, ["a", "b"], seed=seed, minimise=columns), minimised),
        ):
            out.append(result.rows("assignment_balance")["estimate"].abs().max())
        x = data.set_index("athlete")["jump_height_m"]
        plain.append(abs(x[lot == "a"].mean() - x[lot == "b"].mean()) / x.std())
    assert np.mean(plain) == pytest.approx(
        0.8 * np.sqrt(4 / 24), abs=0.08
    )  # mean |z| · √(1/12 + 1/12)
    assert np.mean(minimised) < 0.4


def test_every_athlete_can_come_into_every_group():
    """No assignment is certain: over 300 seeds each athlete is in group a about half the time."""
    data = squad(12)
    for how in ({"stratify": "position"}, {"minimise": "jump_height_m"}):
        counts = sum(
            (groups(cj.assign_randomly(data, ["a", "b"], seed=s, **how)) == "a").astype(int)
            for s in range(300)
        )
        assert counts.between(100, 200).all()


def test_the_record_says_random_and_what_to_do_with_it():
    result = cj.assign_randomly(squad(), ["jump", "usual"], seed=5, minimise="jump_height_m")
    record = result.settings["record"]
    assert record["formed"] == "random"
    assert record["seed"] == 5
    assert "covariates" in str(result.notes[0])
    assert result.sentences[0].key == "assigned.minimisation"
    assert "by minimisation (seed 5)" in result.sentences[0].text
    joined = cj.with_subgroups(squad(), result)
    assert set(joined["group"]) == {"jump", "usual"}


def test_another_order_column_keeps_the_deal_when_ids_are_replaced():
    data = squad().assign(number=np.arange(24))
    first = groups(cj.assign_randomly(data, ["a", "b"], seed=2, order="number"))
    renamed = data.assign(athlete=[f"Z{99 - i}" for i in range(24)])
    second = groups(cj.assign_randomly(renamed, ["a", "b"], seed=2, order="number"))
    assert first.tolist() == second.loc[renamed["athlete"]].tolist()


@pytest.mark.parametrize(
    ("table", "given", "options", "message"),
    [
        (squad(), ["a"], {}, "at least two different names"),
        (squad(), ["a", "a"], {}, "at least two different names"),
        (squad(), "ab", {}, "at least two names"),
        (squad(), {"a": 1, "b": 0}, {}, "share of 'b' must be a whole number"),
        (squad(1), ["a", "b"], {}, "1 athlete(s) for 2 groups"),
        (squad(), ["a", "b"], {"stratify": "positon"}, "no column 'positon'"),
        (squad(), ["a", "b"], {"stratify": "position", "minimise": "jump_height_m"}, "not both"),
        (pd.concat([squad(3), squad(3)]), ["a", "b"], {}, "A00 stands more than once"),
        (squad().assign(jump_height_m=np.nan), ["a", "b"], {"minimise": "jump_height_m"}, "jump_height_m is empty for A00"),
    ],
)  # fmt: skip
def test_wrong_arguments_are_named(table, given, options, message):
    with pytest.raises(StatsError, match=re.escape(message)):
        cj.assign_randomly(table, given, seed=1, **options)


@pytest.mark.parametrize("n", [2, 3, 24])
@pytest.mark.parametrize("how", [{}, {"stratify": "position"}, {"minimise": ["jump_height_m"]}])
def test_assignments_are_typed_and_can_be_said(n, how):
    assert_typed(cj.assign_randomly(squad(n), ["jump", "usual"], seed=1, **how))
    same = squad(n).assign(jump_height_m=0.3, relative_strength=1.5)
    assert_typed(cj.assign_randomly(same, ["jump", "usual"], seed=1, **how))
