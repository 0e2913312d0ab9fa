"""Sample sizes against R, the arithmetic of planning, and its simulation."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import ArgumentError, StatsError
from cmjlab.stats.change.lineup import lineup
from cmjlab.stats.planning import power as exact
from cmjlab.stats.planning.planning import frozen, plan_study, what_squad_shows
from cmjlab.stats.planning.precision import athletes_for_icc, icc_width
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.spread import DESIGNS, Spread

RELIABILITY = {"jump_height_m": (0.011, 19)}


def quick(**changes: object) -> Scenario:
    settings: dict[str, object] = {
        "sd_between_athletes": 0.045,
        "response_sd": (0.0, 1.0),
        "baselines": (1,),
        "simulations": 0,
    }
    return Scenario.from_dict({**settings, **changes})


@pytest.mark.parametrize(
    ("design", "d", "power", "expected"),
    [
        ("two", 0.5, 0.8, 63.7657637142739),
        ("two", 0.8, 0.8, 25.5246294875066),
        ("two", 0.2, 0.9, 526.333371163415),
        ("paired", 0.5, 0.8, 33.367204088022),
    ],
)
def test_sample_sizes_equal_r(design: str, d: float, power: float, expected: float) -> None:
    # R 4.2.2 power.t.test (non-strict; its root has a tolerance of 1e-5 or so)
    def at(n: float) -> float:
        nc, df = (d * np.sqrt(n / 2), 2 * n - 2) if design == "two" else (d * np.sqrt(n), n - 1)
        return float(exact.power_t(nc, df, both_tails=False))

    assert exact.exact_size(at, power) == pytest.approx(expected, abs=2e-5)


def test_ancova_size_of_borm() -> None:
    # n (1 - r²) for d = .5, r = .8 (Borm et al. 2007): 22.9556749371386
    n = exact.exact_size(
        lambda n: float(exact.power_t(0.5 * np.sqrt(n / 2), 2 * n - 2, both_tails=False)), 0.8
    )
    assert n * (1 - 0.64) == pytest.approx(22.9556749371386, abs=1e-5)


def test_power_equals_r_strict_and_not() -> None:
    nc = np.sqrt(10.0)
    assert float(exact.power_t(nc, 38)) == pytest.approx(0.868953027724586, abs=1e-9)
    assert float(exact.power_t(nc, 38, both_tails=False)) == pytest.approx(
        0.868952801692498, abs=1e-8
    )
    unequal = 0.8 * np.sqrt(17 * 26 / 43)
    assert float(exact.power_t(unequal, 41)) == pytest.approx(0.70694046515533, abs=1e-9)


def test_power_rises_to_one_without_gaps() -> None:
    for df in (3.0, 9.0, 38.0):
        power = exact.power_t(np.linspace(0, 60, 400), df)
        assert np.isfinite(power).all()
        assert (np.diff(power) > -1e-9).all()
        assert power[0] == pytest.approx(0.05)
        assert power[-1] == 1.0


def test_power_planned_without_response_spread_is_lost() -> None:
    # planned .80 becomes about .76, .64, .49 with response SD of 0.5, 1, 1.5 TE in the trained
    # group of one: the arithmetic of √(2 TE² + σ²) against √2 TE, one group
    plain = Spread(1.0, 0.0, 0.0, 0.0, 1)
    effect = 1.0
    n = exact.smallest(lambda k: bool(plain.power("one_group", effect, k, 0.95) >= 0.8))
    assert n is not None
    spread = [
        float(Spread(1.0, 0.0, r, 0.0, 1).power("one_group", effect, n, 0.95))
        for r in (0.5, 1, 1.5)
    ]
    assert spread == pytest.approx([0.76, 0.64, 0.49], abs=0.025)


def test_given_baseline_spread_is_one_minus_rho_squared() -> None:
    spread = Spread(1.0, 2.0, 0.0, 0.0, 1)
    rho = 4 / 5
    assert spread.given_baseline_sd(False) ** 2 == pytest.approx(5 * (1 - rho**2))
    several = Spread(1.0, 2.0, 0.0, 0.0, 3)
    # Frison & Pocock 1992: variance given the mean of three baselines
    r = 4 / np.sqrt(5 * (4 + 1 / 3))
    assert several.given_baseline_sd(False) ** 2 == pytest.approx(5 * (1 - r**2))


def test_half_width_expected_and_assured() -> None:
    rng = np.random.default_rng(6)
    s = np.sqrt(rng.chisquare(9, 400_000) / 9)
    widths = 2.262157 * s
    assert float(exact.half_width(1.0, 9.0, 0.95)) == pytest.approx(widths.mean(), rel=2e-3)
    assured = float(exact.half_width(1.0, 9.0, 0.95, 0.8))
    assert assured == pytest.approx(np.quantile(widths, 0.8), rel=3e-3)


def test_plan_rows_and_words() -> None:
    result = plan_study("jump_height_m", reliability=RELIABILITY, matters=0.015, scenario=quick())
    needed = result.rows("n_needed")
    assert len(needed) == 6
    assert needed["leads"].all()
    assert set(needed["case"]) == set(DESIGNS)
    n = int(needed[needed["case"] == "one_group"].iloc[0]["estimate"])
    power = exact.one_group(0.015, 0.011 * np.sqrt(2), np.array([n - 1, n]), 0.95)
    assert power[0] < 0.8 <= power[1]
    assert str(result.sentences[0]) == (
        "Jump height (take-off velocity): to detect a true change of 1.5 cm in 80 % of such studies"
        " takes 11 athletes (one group, paired t), 18 athletes in each group (two groups, change"
        " scores) or 18 athletes in each group (two groups, ANCOVA). Assumed: true responses spread"
        " by 0 typical errors; 1 baseline."
    )
    points = result.points["needed"].set_index(["design", "response_sd"])
    assert points.loc[("one_group", 0.0), "n"] == 11
    curve = result.points["power_curve"]
    assert curve.groupby(["design", "response_sd"]).size().tolist() == [58] * 6


@pytest.mark.parametrize("design", DESIGNS)
def test_simulation_confirms_the_size(design: str) -> None:
    result = plan_study(
        "jump_height_m",
        reliability=RELIABILITY,
        matters=0.015,
        scenario=quick(simulations=3000, response_sd=[1.0]),
    )
    rows = result.table[result.table["case"] == design].set_index("statistic")
    assert abs(rows.loc["power_simulated", "estimate"] - rows.loc["power", "estimate"]) < 0.03


def test_attrition_is_added() -> None:
    result = plan_study(
        "jump_height_m", reliability=RELIABILITY, matters=0.015, scenario=quick(attrition=0.15)
    )
    row = result.rows("n_needed").iloc[0]
    assert row["remark_code"] == "test_more"
    assert row["text"] == "test 13 before the block if 15 % drop out"


def test_without_between_athlete_spread_ancova_is_not_estimable() -> None:
    result = plan_study(
        "jump_height_m",
        reliability=RELIABILITY,
        matters=0.015,
        scenario=quick(sd_between_athletes=0.0),
    )
    rows = result.rows("n_needed")
    ancova = rows[rows["case"] == "two_groups_ancova"]
    assert (ancova["reason_code"] == "no_spread_known").all()
    assert result.has_note("no_between_sd")


def test_what_a_squad_shows() -> None:
    result = what_squad_shows(
        "jump_height_m",
        reliability=RELIABILITY,
        group_sizes=(10, 9),
        scenario=quick(response_sd=[0.0]),
    )
    one = result.row("expected_half_width", case="one_athlete")
    assert one["estimate"] == pytest.approx(2.093024 * 0.011 * np.sqrt(2), rel=1e-6)
    assert str(result.sentences[0]).startswith(
        "Jump height (take-off velocity): with 10 and 9 athletes, changes will be known to about"
        " ±1.1 cm (one group, paired t)"
    )


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"drift_sd": 0.5, "baselines": (1, 3)},
        {"attrition": 0.2, "simulations": 100},
        {"sd_between_athletes": 0.0},
    ],
)
@pytest.mark.parametrize("matters", [0.015, 0.00001])
def test_everything_a_plan_says_has_words_and_leads_once(changes, matters) -> None:
    about = {"reliability": RELIABILITY, "scenario": quick(**changes)}
    plan = plan_study("jump_height_m", matters=matters, **about)
    shows = what_squad_shows("jump_height_m", group_sizes=(10, 9), **about)
    for result in (plan, shows):
        said = [*map(str, result.sentences), *(n.text for n in result.notes)]
        assert said
        assert all(said)
        table = result.table
        assert table.loc[table["estimate"].isna(), "reason_code"].notna().all()
        assert table["contrast"].notna().all()
        assert table["method"].notna().all()
        known = table["statistic"] + table["case"] + table["word_values"].fillna("")
        leading = table[table["leads"]]
        assert not known[leading.index].duplicated().any()


def test_frozen_plan_is_plain_data_with_a_key() -> None:
    result = plan_study("jump_height_m", reliability=RELIABILITY, matters=0.015, scenario=quick())
    plan = frozen(result, {"date": "2026-03-01", "primary": "jump_height_m"})
    assert json.loads(json.dumps(plan)) == plan
    other = frozen(result, {"date": "2026-03-02", "primary": "jump_height_m"})
    assert plan["key"] != other["key"]
    assert len(plan["key"]) == 64


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"response_sd": ()}, "response_sd"),
        ({"baselines": (0,)}, "baselines"),
        ({"attrition": 2.0}, "attrition"),
    ],
)
def test_unusable_scenarios(changes: dict[str, object], message: str) -> None:
    with pytest.raises(ArgumentError, match=message):
        quick(**changes)


def test_a_change_of_zero_cannot_be_planned_for() -> None:
    with pytest.raises(StatsError, match="above 0"):
        plan_study("jump_height_m", reliability=RELIABILITY, matters=0.0)


def _table() -> pd.DataFrame:
    rng = np.random.default_rng(0)
    before = rng.normal(33, 3, 10)
    return pd.DataFrame(
        {
            "athlete": [f"A{i}" for i in range(10)] * 2,
            "session": ["pre"] * 10 + ["post"] * 10,
            "group": list("aaaaabbbbb") * 2,
            "value": np.append(before, before + rng.normal(2, 1, 10)),
        }
    )


def test_lineup_hides_the_real_panel() -> None:
    result = lineup(_table(), "value", before="pre", after="post", seed=5)
    panels = result.points["panels"]
    real = panels[panels["panel"] == result.settings["real_panel"]]
    change = real["after"] - real["before"]
    assert change.mean() == pytest.approx(2.0, abs=0.7)
    for number, panel in panels.groupby("panel"):
        size = np.sort((panel["after"] - panel["before"]).abs())
        assert size == pytest.approx(np.sort(change.abs()))
        assert (panel["before"].to_numpy() == real["before"].to_numpy()).all(), number
    assert result.settings["chance"] == 0.1
    places = {
        lineup(_table(), "value", before="pre", after="post", seed=s).settings["real_panel"]
        for s in range(40)
    }
    assert len(places) > 7


def test_lineup_of_groups_deals_labels() -> None:
    result = lineup(_table(), "value", before="pre", after="post", group="group", panels=4)
    counts = result.points["panels"].groupby(["panel", "group"]).size()
    assert counts.tolist() == [5] * 8


@pytest.mark.parametrize(
    ("icc", "width", "n", "mean"), [(0.9, 0.2, 15, 0.26), (0.95, 0.1, 16, 0.13)]
)
def test_the_usual_size_for_an_icc_is_rarely_precise_enough(
    icc: float, width: float, n: int, mean: float
) -> None:
    # Bonett 2002 gives n = 15 and 16 here; simulated: mean width .26 and .13, reached in 36 %
    found = icc_width(icc, width, n)
    assert found.mean_width == pytest.approx(mean, abs=0.005)
    assert found.reached == pytest.approx(0.36, abs=0.01)
    enough = athletes_for_icc(icc, width)
    assert enough.reached >= 0.8
    assert icc_width(icc, width, enough.n - 1).assured_width > width


def test_icc_width_against_simulation() -> None:
    rng = np.random.default_rng(3)
    y = rng.normal(size=(4000, 12, 1)) * 3 + rng.normal(size=(4000, 12, 2))
    rows = y.mean(axis=2)
    msr = 2 * rows.var(axis=1, ddof=1)
    mse = (y[..., 1] - y[..., 0]).var(axis=1, ddof=1) / 2
    from scipy.stats import f

    ratio = msr / mse
    low, high = (ratio / f.ppf(q, 11, 11) for q in (0.975, 0.025))
    widths = (high - 1) / (high + 1) - (low - 1) / (low + 1)
    assert icc_width(0.9, 0.2, 12).mean_width == pytest.approx(widths.mean(), rel=0.02)
