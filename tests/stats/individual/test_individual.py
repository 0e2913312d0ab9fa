"""Individual changes, spread of responses, one athlete over time, height and mass."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed

from cmjlab.errors import StatsError
from cmjlab.plan import Plan
from cmjlab.results import Result
from cmjlab.stats.change.plan import apply_plan
from cmjlab.stats.common.noise import Noise, maximum_modulus, noise_of
from cmjlab.stats.individual.individual import change_individual
from cmjlab.stats.individual.monitor import follow_athlete, height_and_mass, split_height
from cmjlab.stats.individual.response import response_limits, shrinkage, signed_root
from cmjlab.tables import STATISTICS_TABLE


def squad(n: int = 16, *, response: float = 0.0, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    trait = rng.normal(34.0, 4.0, n)
    frames = []
    for session in ("base1", "base2", "post"):
        gain = 0.0
        if session == "post":
            gain = np.where(np.arange(n) < n // 2, 2.0 + rng.normal(0, response, n), 0.0)
        frames.append(
            pd.DataFrame(
                {
                    "athlete": [f"A{i:02d}" for i in range(n)],
                    "session": session,
                    "group": ["train"] * (n // 2) + ["control"] * (n - n // 2),
                    "value": trait + rng.normal(0, 0.9, n) + gain,
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def individual(table: pd.DataFrame, **options: object) -> Result:
    settings: dict[str, object] = {
        "before": "base2",
        "after": "post",
        "reliability": {"value": (0.9, 9)},
    }
    return change_individual(table, **{**settings, **options})  # type: ignore[arg-type]


def test_interval_of_one_change_uses_t_and_root_two() -> None:
    # closed form: TE 0.9 with 9 df, change 2.0: SE 1.2728, t interval [-0.879, 4.879]
    table = pd.DataFrame(
        {
            "athlete": ["A1", "A2"] * 2,
            "session": ["pre"] * 2 + ["post"] * 2,
            "value": [30.0, 31, 32, 31.5],
        }
    )
    result = individual(table, before="pre")
    row = result.rows("individual_change", athlete="A1").iloc[0]
    assert row["se"] == pytest.approx(1.2728, abs=5e-5)
    assert [row["ci_low"], row["ci_high"]] == pytest.approx([-0.879, 4.879], abs=5e-4)


def test_two_baselines_give_root_one_and_a_half() -> None:
    result = individual(squad(), before=["base1", "base2"])
    assert result.rows("individual_change")["se"].iloc[0] == pytest.approx(0.9 * np.sqrt(1.5))


def test_jump_components_count_as_components() -> None:
    # sd of days 0.3, of jumps 0.4, three jumps each: TE of the mean is .379 (not .289)
    error = float(np.sqrt(0.09 + 0.16 / 3))
    noise = Noise(error, 19, between_days=0.3, days_df=19, between_jumps=0.4, jumps_df=40)
    se, df = noise.change_se_from_jumps(np.array([3.0]), np.array([3.0]))
    assert se / np.sqrt(2) == pytest.approx(0.379, abs=5e-4)
    # as many jumps as in the reliability sessions: the change has the df of the typical error
    assert df == pytest.approx(19)
    se, df = noise.change_se_from_jumps(np.array([3.0]), np.array([1.0]))
    whole, more = 2 * error**2, (1 + 1 / 3 - 2 / 3) * 0.16
    assert se**2 == pytest.approx(2 * 0.09 + (1 + 1 / 3) * 0.16)
    assert df == pytest.approx((whole + more) ** 2 / (whole**2 / 19 + more**2 / 40))


def test_one_metric_without_typical_error_does_not_stop_the_others() -> None:
    table = squad().assign(other=1.0)
    result = individual(table)
    row = result.rows("individual_change", metric="other").iloc[0]
    assert row["reason_code"] == "noise_not_given"
    assert row["text"] == "not estimable: a typical error was given for value only"
    assert result.has_note("no_typical_error")
    assert len(result.rows("individual_change", metric="value")) == 16


def test_reliability_result_is_read_and_jumps_per_athlete_are_used() -> None:
    rows = [
        {"metric": "value", "statistic": s, "estimate": e, "df": d}
        for s, e, d in (
            ("typical_error", 0.38, 19.0),
            ("sd_between_days", 0.3, 19.0),
            ("sd_between_jumps", 0.4, 40.0),
        )
    ]
    reliability = Result("reliability", STATISTICS_TABLE.frame(rows))
    table = squad()
    table["n_jumps"] = 3
    table.loc[(table["athlete"] == "A00") & (table["session"] == "post"), "n_jumps"] = 1
    result = individual(table, reliability=reliability)
    se = result.rows("individual_change").set_index("athlete")["se"]
    assert se["A01"] == pytest.approx(np.sqrt(2 * 0.09 + 2 * 0.16 / 3))
    assert se["A00"] == pytest.approx(np.sqrt(2 * 0.09 + 0.16 / 3 + 0.16))


def test_response_spread_of_the_cases(cases: Path) -> None:
    # SD² = 1.5679² - 1.3877² = 0.5327: SD 0.730
    changes = pd.read_csv(cases / "a16_changes.csv")
    e, c = (changes.loc[changes["group"] == g, "change_cm"] for g in ("exp", "ctl"))
    assert float(signed_root(e.var() - c.var())) == pytest.approx(0.730, abs=5e-4)
    low, high = response_limits(e.var(), c.var(), 7, 7, 0.95)
    assert low < 0 < 0.730 < high
    # with the quieter changes the difference is -1.6514: signed root -1.285
    quiet = pd.Series([1.1, 1.9, 2.4, 1.5, 2.0, 0.9, 1.6, 2.2])
    assert float(signed_root(quiet.var() - c.var())) == pytest.approx(-1.285, abs=5e-4)


def test_no_control_no_response_spread() -> None:
    row = individual(squad()).rows("response_sd").iloc[0]
    assert row["text"] == ("not estimable: a control group tested over the same weeks is needed")


def test_small_groups_cannot_name_responders() -> None:
    result = individual(squad(), control="control")
    row = result.rows("response_sd").iloc[0]
    assert row["remark_code"] == "response_open_few"
    ending = "with fewer than 20 athletes per group these data cannot show who responded"
    assert row["text"].endswith(ending)
    about = [s for s in result.sentences if s.key == "individual.response"]
    assert [s.group for s in about] == ["train"]
    assert ending in about[0].text


def test_without_true_spread_everybody_gets_the_group_mean() -> None:
    change = np.array([1.0, 2.0, 3.0])
    found = shrinkage(change, (4.0, 20.0), None)
    assert found.share == 0.0
    assert found.estimate(change).tolist() == [2.0, 2.0, 2.0]


def test_shrunken_limits_against_the_conjugate_formula() -> None:
    # with variances known (huge df) the posterior is normal: precision 1/R + 1/S, R = 4, S = 1
    rng = np.random.default_rng(0)
    change = rng.normal(0, np.sqrt(5), 20_000)
    change = (change - change.mean()) / change.std(ddof=1) * np.sqrt(5)
    found = shrinkage(change, (1.0, 1e9), None)
    assert found.share == pytest.approx(0.8)
    few = change[:5]
    low, high = found.limits(few, 0.95, np.random.default_rng(1))
    half = 1.959964 * np.sqrt(1 / (1 / 4 + 1))
    assert low == pytest.approx(0.8 * few - half, abs=0.12)
    assert high == pytest.approx(0.8 * few + half, abs=0.12)


def test_shrunken_limits_hold_when_the_share_is_poorly_known() -> None:
    # 10 v 10, response SD = TE: a fixed share covers about two in three, these limits do not
    rng = np.random.default_rng(7)
    hits = []
    for _ in range(300):
        true = rng.normal(2.0, 1.0, 10)
        change = true + rng.normal(0, np.sqrt(2), 10)
        control = rng.normal(0, np.sqrt(2), 10)
        found = shrinkage(change, (2 * rng.chisquare(19) / 19, 19.0), (control.var(ddof=1), 9.0))
        low, high = found.limits(change, 0.95, rng)
        hits += ((low <= true) & (true <= high)).tolist()
    assert 0.92 < np.mean(hits) < 0.98


@pytest.mark.parametrize(("count", "df", "value"), [(1, 10, 2.228), (2, 10, 2.609)])
def test_maximum_modulus_against_tables(count: int, df: int, value: float) -> None:
    # studentised maximum modulus, Stoline & Ury 1979 (from memory); count 1 is Student's t
    assert maximum_modulus(0.95, count, df) == pytest.approx(value, abs=0.02)


def test_maximum_modulus_against_simulation() -> None:
    rng = np.random.default_rng(2)
    z = np.abs(rng.normal(size=(200_000, 20))).max(axis=1)
    s = np.sqrt(rng.chisquare(19, 200_000) / 19)
    assert maximum_modulus(0.95, 20, 19) == pytest.approx(np.quantile(z / s, 0.95), abs=0.02)


def test_who_stands_out_gets_the_interval_for_all() -> None:
    result = individual(squad(seed=4), control="control")
    plain = result.rows("individual_change").set_index("athlete")
    for_all = result.rows("individual_change_all").set_index("athlete")
    assert (for_all["ci_high"] > plain["ci_high"]).all()
    top = plain["estimate"].idxmax()
    largest = result.sentences[1]
    assert largest.values["athlete"] == top
    assert largest.values["ci_high"] == for_all.loc[top, "ci_high"]
    assert f": the largest change is that of {top}, " in largest.text
    assert "picked for being the largest of 16" in largest.text


def test_drift_of_an_extreme_baseline() -> None:
    result = individual(squad(seed=4))
    drift = result.rows("drift_expected").set_index("athlete")["estimate"]
    points = result.points["individual"].set_index("athlete")
    low = points["before"].idxmin()
    assert drift[low] > 0
    slope = 1 - 0.81 / points["before"].var()
    expected = (slope - 1) * (points.loc[low, "before"] - points["before"].mean())
    assert drift[low] == pytest.approx(expected)


def test_probabilities_come_from_the_shrunken_estimate_and_can_be_left_out() -> None:
    plan = Plan(primary_metric="value", change_that_matters={"value": 1.0})
    result = individual(squad(response=3.0, seed=1), control="control")
    found = apply_plan(result, plan).rows("probability_meaningful_gain")
    assert len(found) == 8
    assert set(found["case"]) == {"shrunken_change"}
    assert found["estimate"].between(0, 1).all()
    assert (
        len(apply_plan(result, plan, probabilities=False).rows("probability_meaningful_gain")) == 0
    )


@pytest.mark.parametrize(
    ("reliability", "message"),
    [
        ({"other": (1.0, 9)}, "no typical error for value: .* for other only"),
        ({"value": 0.9}, r"needs \(typical error, degrees of freedom\)"),
        ({"value": (0.0, 9)}, "a positive typical error"),
        (0.9, "a Result of cmjlab.reliability, or a mapping"),
    ],
)
def test_unusable_reliability(reliability: object, message: str) -> None:
    with pytest.raises(StatsError, match=message):
        individual(squad(), reliability=reliability)


def test_strata_are_refused_in_words() -> None:
    rows = [
        {"metric": "value", "statistic": "typical_error", "estimate": 1.0, "df": 9.0, "group": g}
        for g in ("f", "m")
    ]
    with pytest.raises(StatsError, match=r"for value: there are several strata \(f and m\)"):
        noise_of(Result("reliability", STATISTICS_TABLE.frame(rows)), "value")


def test_missing_session_is_named() -> None:
    table = squad()
    table = table[~((table["athlete"] == "A03") & (table["session"] == "base1"))]
    result = individual(table, before=["base1", "base2"])
    assert result.points["left_out"].iloc[0].tolist() == ["value", "A03", "value", "base1"]


def test_follow_one_athlete() -> None:
    table = pd.DataFrame(
        {
            "athlete": "A1",
            "session": ["w0", "w1", "w2", "w3", "w4"],
            "value": [30.0, 31.0, 30.2, np.nan, 38.0],
        }
    )
    result = follow_athlete(
        table, "value", athlete="A1", baseline=["w0", "w1"], reliability={"value": (0.9, 19)}
    )
    assert result.table["session"].tolist() == ["w2", "w4"]
    assert result.table["remark_code"].tolist() == ["session_open", "session_up"]
    assert result.table["text"].tolist() == [
        "not distinguished from the baseline",
        "above the baseline, also with all sessions taken together",
    ]
    assert result.table["first"].tolist() == ["w2", "w4"]
    assert set(result.table["second"]) == {"mean(w0, w1)"}
    assert result.table["se"].iloc[0] == pytest.approx(0.9 * np.sqrt(1.5))
    assert result.has_note("no_value")
    assert result.sentences[0].key == "follow_athlete.above"
    assert result.sentences[0].values["above"] == ["w4"]


def test_height_splits_exactly() -> None:
    rng = np.random.default_rng(8)
    h1, m1, m2 = rng.uniform(0.2, 0.5, 50), rng.uniform(50, 90, 50), rng.uniform(50, 90, 50)
    h2 = np.append(h1[:1], rng.uniform(0.2, 0.5, 49))
    impulse, mass = split_height(h1, h2, m1, m2)
    assert impulse + mass == pytest.approx(h2 - h1, abs=1e-15)
    # same impulse: all of the change is mass; same mass: none of it
    same_impulse = split_height(h1, h1 * (m1 / m2) ** 2, m1, m2)
    assert same_impulse[0] == pytest.approx(np.zeros(50), abs=1e-14)
    assert split_height(h1, h2, m1, m1)[1] == pytest.approx(np.zeros(50), abs=1e-15)
    backwards = split_height(h2, h1, m2, m1)
    assert backwards[0] == pytest.approx(-impulse, abs=1e-15)


def test_height_and_mass_sentence() -> None:
    table = pd.DataFrame(
        {
            "athlete": ["A1", "A2", "A3"] * 2,
            "session": ["pre"] * 3 + ["post"] * 3,
            "jump_height_m": [0.30, 0.34, 0.28, 0.32, 0.35, 0.31],
            "body_mass_kg": [70.0, 80.0, 60.0, 69.0, 80.5, 59.0],
        }
    )
    result = height_and_mass(table, before="pre", after="post")
    parts = [result.value(s) for s in ("height_from_impulse", "height_from_mass")]
    assert sum(parts) == pytest.approx(result.value("mean_change"), abs=1e-15)
    text = result.sentences[0].text
    assert text.startswith("Jump height (take-off velocity), pre to post: +2.0 cm (95 % interval")
    assert text.endswith("from body mass (n = 3).")


@pytest.mark.parametrize("change", ["whole", "two", "one", "same", "without_noise", "no_groups"])
@pytest.mark.parametrize("before", ["base2", ["base1", "base2"]])
@pytest.mark.parametrize("control", [None, "control"])
def test_everything_is_typed_and_can_be_said(
    change: str, before: str | list[str], control: str | None
) -> None:
    table = squad(seed=3).rename(columns={"value": "jump_height_m"})
    noise: dict[str, tuple[float, float]] = {"jump_height_m": (0.9, 9)}
    if change in ("two", "one"):
        keep = {"two": ["A00", "A15"], "one": ["A00"]}[change]
        table = table[table["athlete"].isin(keep)]
        control = control if change == "two" else None
    if change == "same":
        table = table.assign(
            jump_height_m=table.groupby("athlete")["jump_height_m"].transform("mean")
        )
    if change == "without_noise":
        table = table.assign(own_column=table["jump_height_m"])
    if change == "no_groups":
        table, control = table.drop(columns="group"), None
    table.loc[(table["athlete"] == "A03") & (table["session"] == "post"), "jump_height_m"] = np.nan
    result = change_individual(
        table, before=before, after="post", reliability=noise, control=control
    )
    assert_typed(result)
    assert {s.metric for s in result.sentences} == {"jump_height_m"}


@pytest.mark.parametrize(
    ("later", "key"),
    [
        ({}, "no_session"),
        ({"w1": 30.5}, "open"),
        ({"w1": 38.0}, "above"),
        ({"w1": 22.0, "w2": np.nan}, "below"),
        ({"w1": 22.0, "w2": 38.0}, "above_and_below"),
    ],
)
def test_one_athlete_over_time_is_typed_and_can_be_said(later: dict[str, float], key: str) -> None:
    values = {"w0": 30.0, **later}
    table = pd.DataFrame({"athlete": "A1", "session": list(values), "value": list(values.values())})
    result = follow_athlete(
        table, "value", athlete="A1", baseline="w0", reliability={"value": (0.9, 19)}
    )
    assert result.sentences[0].key == f"follow_athlete.{key}"
    assert_typed(result)


@pytest.mark.parametrize("gain", [0.02, 0.0, [0.02, 0.01, 0.03]])
def test_height_and_mass_is_typed_and_can_be_said(gain: float | list[float]) -> None:
    start = pd.DataFrame(
        {"athlete": ["A1", "A2", "A3"], "jump_height_m": 0.3, "body_mass_kg": 70.0}
    )
    later = start.assign(jump_height_m=start["jump_height_m"] + np.asarray(gain))
    table = pd.concat([start.assign(session="pre"), later.assign(session="post")])
    result = height_and_mass(table, before="pre", after="post")
    assert_typed(result)
    assert set(result.table["first"]) == {"post"}
