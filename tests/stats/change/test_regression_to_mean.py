"""Groups that were chosen for their values: drift to be expected, and the change beyond it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import chosen_squad

from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.stats.change.change import change_between
from cmjlab.stats.change.drift import constrained_model, regression_drift
from cmjlab.stats.change.regression_to_mean import drift_expected, drift_from_outside

SELECTION = Selection(("value",), "base1")


def test_drift_equals_the_written_out_regression() -> None:
    table = chosen_squad()
    result = drift_expected(table, selection=SELECTION, after="post", baseline="base2", group="low")
    wide = table.pivot(index="athlete", columns="session", values="value")
    low = table.drop_duplicates("athlete").set_index("athlete")["group"].loc[wide.index] == "low"
    x, y = wide["base1"].to_numpy(), wide["base2"].to_numpy()
    slope = np.cov(x, y)[0, 1] / x.var(ddof=1)
    fitted = y.mean() + slope * (x[low].mean() - x.mean())
    assert result.value("drift_expected") == pytest.approx(fitted - x[low].mean(), rel=1e-10)
    beyond = result.rows("change_beyond_drift")
    by_regression = beyond[beyond["estimator"] == "second_baseline_on_selectors"].iloc[0]
    assert not by_regression["leads"]
    assert by_regression["estimate"] == pytest.approx(wide["post"][low].mean() - fitted, rel=1e-10)
    assert by_regression["df"] == 18
    # variance s² [1/m + (1 - 2c) h], all of it written out
    s2 = ((y - y.mean() - slope * (x - x.mean())) ** 2).sum() / 18
    h = 1 / 20 + (x[low].mean() - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum()
    c = np.clip(1 - (y - x).var(ddof=1) / 2 / s2, 0, 1)
    assert by_regression["se"] ** 2 == pytest.approx(
        s2 * (1 / low.sum() + (1 - 2 * c) * h), rel=1e-9
    )


def test_clean_change_leads_with_the_squads_error_in_small_groups() -> None:
    result = drift_expected(
        chosen_squad(), selection=SELECTION, after="post", baseline="base2", group="low"
    )
    first, second = (
        result.rows("change_beyond_drift").iloc[0],
        result.rows("change_beyond_drift").iloc[1],
    )
    assert (first["interval_kind"], second["interval_kind"]) == ("squad_error", "own_spread")
    assert (first["leads"], second["leads"]) == (True, False)
    assert (first["df"], second["df"]) == (19, 5)
    assert first["estimate"] == pytest.approx(second["estimate"])


def test_published_example_of_the_drift_formula() -> None:
    # true mean 33, SD between 3 and within 1.5 (ICC .8), chosen below 31, mean pre 28.93: the
    # post mean to be expected is 29.75, a drift of +0.813 without any training
    low = np.linspace(27.0, 30.86, 50)
    low += 28.93 - low.mean()
    rest = np.full(100, 33.0 + (33.0 - 28.93) / 2)
    names = [f"A{i}" for i in range(150)]
    table = pd.concat(
        [
            pd.DataFrame({"athlete": names, "session": s, "value": np.append(low, rest)})
            for s in ("pre", "post")
        ]
    )
    table["group"] = ["low"] * 50 + ["rest"] * 100 + ["low"] * 50 + ["rest"] * 100
    result = drift_from_outside(
        table, "value", selection_session="pre", after="post", group="low", slope=(0.8, 0.6, 0.9)
    )
    drift = result.rows("drift_expected")["estimate"].tolist()
    assert drift[0] == pytest.approx(0.814, abs=2e-3)
    assert drift == pytest.approx([0.2 * 4.07, 0.4 * 4.07, 0.1 * 4.07])
    assert result.has_note("slope_from_elsewhere")
    assert (result.rows("drift_expected")["reason_code"] == "slope_not_measured").all()
    assert (result.rows("change_beyond_drift")["remark_code"] == "slope_from_elsewhere").all()
    assert result.row("drift_expected")["estimator"] == "outside_slope"


def test_sentence_names_start_drift_and_remainder() -> None:
    result = drift_expected(
        chosen_squad(effect=2.0), selection=SELECTION, after="post", baseline="base2", group="low"
    )
    sentence = result.sentences[0]
    assert (sentence.key, sentence.metric, sentence.group) == ("change.drift_clean", "value", "low")
    assert sentence.text.startswith("Value, low: in base1 the group’s mean was −")
    assert "Because it was chosen there, it is expected to move by +" in sentence.text
    assert "the whole squad moved by " in sentence.text
    assert "Measured from base2, which did not decide the group, it changed by " in sentence.text
    assert "beyond" not in sentence.text
    assert result.has_note("drift_remains")


def test_change_between_is_not_silent_about_selected_groups() -> None:
    table = chosen_squad()
    from_first = change_between(
        table, before="base1", after="post", assignment=SELECTION, control="rest"
    )
    assert len(from_first.rows("drift_expected")) == 2
    assert len(from_first.rows("adjusted_difference", estimator="constrained_model")) == 1
    assert len(from_first.points["regression_to_mean"]) == 40
    no_role = change_between(
        table.drop(columns="role"),
        before="base1",
        after="post",
        assignment=SELECTION,
        control="rest",
    )
    assert no_role.has_note("drift_unknown")
    assert (no_role.rows("drift_expected")["reason_code"] == "one_baseline").all()
    clean = change_between(
        table, before="base2", after="post", assignment=SELECTION, control="rest"
    )
    assert clean.has_note("groups_selected_elsewhere")
    assert len(clean.rows("change_beyond_drift")) == 6


def test_constrained_model_equals_generalised_least_squares() -> None:
    # with complete data and the fitted variance ratio the estimate is GLS, written out here
    rng = np.random.default_rng(4)
    y = rng.normal(size=(12, 1)) * 2 + rng.normal(size=(12, 3))
    group = np.array([0] * 8 + [1] * 4)
    (found,), status = constrained_model(y, group, np.ones(y.shape, bool))
    assert int(status[0]) in (0, 1)
    best = None
    for ratio in np.linspace(0.05, 20, 4000):
        v = np.eye(3) + ratio * np.ones((3, 3))
        x = np.zeros((12, 3, 4))
        x[:, np.arange(3), np.arange(3)] = 1
        x[:, 2, 3] = group
        w = np.linalg.inv(v)
        a = np.einsum("nki,kl,nlj->ij", x, w, x)
        b = np.linalg.solve(a, np.einsum("nki,kl,nl->i", x, w, y))
        r = y - x @ b
        rss = np.einsum("nk,kl,nl->", r, w, r)
        logs = 12 * np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1] + (36 - 4) * np.log(rss)
        if best is None or logs < best[0]:
            best = (logs, b[3])
    assert best is not None
    assert float(found.estimate) == pytest.approx(best[1], abs=2e-4)


def test_several_selectors_and_another_outcome() -> None:
    rng = np.random.default_rng(9)
    x, z, y1 = rng.normal(size=(3, 30))
    y2, y3 = rng.normal(size=(2, 30))
    member = x > 0.5
    drift = regression_drift(np.column_stack([x, z, y1]), y1, y2, y3, member)
    design = np.column_stack([np.ones(30), x, z, y1])
    beta = np.linalg.lstsq(design, y2, rcond=None)[0]
    point = np.array([1.0, x[member].mean(), z[member].mean(), y1[member].mean()])
    assert float(drift.expected.estimate) == pytest.approx(point @ beta - y1[member].mean())
    assert float(drift.beyond.df) == 26


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"baseline": "base1"},
            "decided the groups; baseline and after must be two other sessions",
        ),
        ({"group": "lwo"}, "Did you mean 'low'"),
        ({"selection": "base1"}, "a Selection"),
    ],
)
def test_unusable_questions(change: dict[str, object], message: str) -> None:
    options: dict[str, object] = {"selection": SELECTION, "after": "post", "baseline": "base2"}
    with pytest.raises((StatsError, ValueError), match=message):
        drift_expected(chosen_squad(), **{**options, **change})  # type: ignore[arg-type]


def test_the_chosen_group_alone_is_no_squad() -> None:
    table = chosen_squad()
    with pytest.raises(StatsError, match="the whole squad"):
        drift_expected(
            table[table["group"] == "low"], selection=SELECTION, after="post", baseline="base2"
        )


def test_drift_is_towards_the_own_sex() -> None:
    # women jump 8 lower; chosen are the lowest of both sexes together, so mostly women, who are
    # not low among women: towards the whole squad's mean their drift would be far too large
    rng = np.random.default_rng(2)
    n = 400
    woman = np.arange(n) < n // 2
    trait = rng.normal(36.0, 2.0, n) - 8.0 * woman
    wide = pd.DataFrame({s: trait + rng.normal(0, 1.5, n) for s in ("base1", "base2", "post")})
    wide["athlete"] = [f"A{i:03d}" for i in range(n)]
    wide["sex"] = np.where(woman, "f", "m")
    wide["group"] = np.where(wide["base1"].rank() <= n // 3, "low", "rest")
    table = wide.melt(id_vars=["athlete", "group", "sex"], var_name="session", value_name="value")
    result = drift_expected(
        table, "value", selection=SELECTION, after="post", baseline="base2", group="low"
    )
    assert result.has_note("drift_by_sex")
    low = (wide["group"] == "low").to_numpy()
    design = np.column_stack([np.ones(n), wide["base1"], woman]).astype(float)
    beta = np.linalg.lstsq(design, wide["base2"].to_numpy(), rcond=None)[0]
    expected = (design @ beta - wide["base1"])[low].mean()
    drift = result.value("drift_expected")
    assert drift == pytest.approx(expected, rel=1e-8)
    blind = drift_expected(
        table.drop(columns="sex"),
        "value",
        selection=SELECTION,
        after="post",
        baseline="base2",
        group="low",
    )
    assert drift != pytest.approx(blind.value("drift_expected"), rel=0.05)
    assert not blind.has_note("drift_by_sex")
    assert "selecting_value" in result.points["regression_to_mean"]


def test_values_without_noise_give_numbers_with_the_reason() -> None:
    table = chosen_squad()
    first = table[table["session"] == "base1"].set_index("athlete")["value"]
    exact = table["athlete"].map(first).to_numpy()
    table["value"] = exact * np.where(table["session"] == "base2", 2.0, 1.0)
    result = drift_expected(table, selection=SELECTION, after="post", baseline="base2", group="low")
    rows = result.table[result.table["ci_low"].isna()]
    assert len(rows) == 4
    assert (rows["reason_code"] == "second_follows_first").all()
    assert rows["estimate"].notna().all()


def test_the_squads_shift_is_no_drift_of_a_chosen_group() -> None:
    """A group above the mean that falls back while the squad rises: both parts are told apart.

    With one selector the fitted value is b0 + b·x: the choice moves the group by
    (b − 1)(group's mean − squad's mean), the squad by the difference of its means (closed form).
    """
    table = chosen_squad(n=24, seed=4)
    table["group"] = table["group"].map({"low": "rest", "rest": "high"})
    table.loc[table["session"] != "base1", "value"] += 3.0
    result = drift_expected(
        table, selection=SELECTION, after="post", baseline="base2", group="high"
    )
    wide = table.pivot(index="athlete", columns="session", values="value")
    high = table.groupby("athlete")["group"].first() == "high"
    slope = np.polyfit(wide["base1"], wide["base2"], 1)[0]
    towards = (slope - 1) * (wide.loc[high, "base1"].mean() - wide["base1"].mean())
    shift = wide["base2"].mean() - wide["base1"].mean()
    assert towards < 0 < shift
    assert result.value("drift_towards_squad") == pytest.approx(towards, rel=1e-9)
    assert result.value("squad_shift") == pytest.approx(shift, rel=1e-9)
    assert result.value("drift_expected") == pytest.approx(towards + shift, rel=1e-9)
    assert result.value("drift_expected") > 0
    assert "it is expected to move by −" in result.sentences[0].text
    for statistic in ("drift_towards_squad", "squad_shift"):
        row = result.row(statistic)
        assert row["ci_low"] < row["estimate"] < row["ci_high"]
