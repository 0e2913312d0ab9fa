"""Mixed ANOVA and change over sessions against R and against worked cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from cmjlab.results import Result
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.mixed.anova import GG, HF, PLAIN, TYPE_2, mixed_anova
from cmjlab.stats.mixed.contrast_rows import POOLED, SEPARATE
from cmjlab.stats.mixed.mixed import change_mixed
from cmjlab.stats.mixed.model_rows import add_models
from cmjlab.stats.mixed.models import FREE, INTERCEPT, SLOPE, fit_model
from cmjlab.stats.mixed.panel import read_panel

RTOL = 1e-6
#: O'Brien & Kaiser 1985, Psychol Bull 97:316, data averaged over hours: pre, post, follow-up.
OBRIEN_KAISER = {
    "control": [[2, 3, 3], [4, 3, 4], [6, 5, 7], [5, 3, 4], [4, 6, 4]],
    "A": [[8, 9, 9], [5, 8, 9], [3, 5, 6], [4, 4, 5]],
    "B": [
        [4, 7, 8], [3, 5, 6], [6, 9, 8], [6, 6, 8], [2, 5, 6], [3, 7, 7], [5, 7, 8],
    ],
}  # fmt: skip
#: R 4.2.2 afex 1.2-1 (aov_car, Type III): F, df, error df, p; then GG p, HF p.
OK_ANOVA = {
    "group_main_effect": (2.91388277656, 2, 13, 9.00408753878e-02),
    "time_main_effect": (19.2939497593, 2, 26, 7.28934375077e-06),
    "group_by_time": (5.43037974684, 4, 26, 2.57810789313e-03),
}
OK_GG = {
    "time_main_effect": (1.74141985889, 22.6384581656, 2.37528250516e-05),
    "group_by_time": (3.48283971778, 22.6384581656, 4.30132703637e-03),
}
OK_HF = {"time_main_effect": 7.70607224088e-06, "group_by_time": 2.64081702597e-03}
#: partial η², generalised η²
OK_SIZES = {
    "group_main_effect": (0.309530386740, 0.268511861970),
    "time_main_effect": (0.597447816173, 0.211899085009),
    "group_by_time": (0.455172413793, 0.131455399061),
}
#: emmeans 1.8.4-1 on the lme4 fit, Kenward–Roger: estimate, SE, df, limits, p.
OK_CHANGES = {
    ("control", "post - pre"): (-0.2, 0.532531443855, -1.294634059847, 0.894634059847, 7.10287272995e-01),
    ("A", "post - pre"): (1.5, 0.595388254308, 0.276161915847, 2.723838084153, 1.82390565345e-02),
    ("A", "fup - pre"): (2.25, 0.595388254308, 1.026161915847, 3.473838084153, 8.29649085736e-04),
    ("B", "post - pre"): (2.42857142857, 0.450071215551, 1.503436795521, 3.353706061622, 1.18546836515e-05),
    ("B", "fup - pre"): (3.14285714286, 0.450071215551, 2.217722509806, 4.067991775908, 2.05068844564e-07),
    ("A - control", "post - pre"): (1.7, 0.798797165783, 0.0580489102288, 3.34195108977, 0.042962966450026),
    ("A - control", "fup - pre"): (2.05, 0.798797165783, 0.4080489102288, 3.69195108977, 0.016386406262256),
    ("B - control", "post - pre"): (2.62857142857, 0.697247328975, 1.1953590178492, 4.06178383929, 0.000849420367200),
    ("B - control", "fup - pre"): (2.94285714286, 0.697247328975, 1.5096447321349, 4.37606955358, 0.000262410560685),
}  # fmt: skip

#: 5 athletes with jump training against 7 controls, height in cm: pre, mid, post (invented).
SQUADS = {
    "plyo": [
        [31.2, 32.1, 33.9], [34.5, 35.0, 36.8], [28.9, 29.9, 30.2], [36.1, 36.0, 38.4],
        [30.4, 31.8, 33.3],
    ],
    "control": [
        [32.2, 32.6, 32.0], [29.8, 29.1, 30.4], [35.5, 35.9, 36.3], [33.1, 33.0, 33.5],
        [27.7, 28.5, 28.1], [30.9, 31.2, 31.5], [34.0, 34.4, 34.1],
    ],
}  # fmt: skip


def long_table(data, sessions, metric):
    """Return athlete, group, session, value from values per group."""
    rows = []
    for group, values in data.items():
        for i, row in enumerate(values):
            for session, value in zip(sessions, row, strict=True):
                name = f"{group[0].upper()}{i + 1}"
                rows.append(
                    {"athlete": name, "group": group, "session": session, metric: float(value)}
                )
    return pd.DataFrame(rows)


@pytest.fixture
def obk():
    return long_table(OBRIEN_KAISER, ("pre", "post", "fup"), "value")


@pytest.fixture
def squads():
    return long_table(SQUADS, ("pre", "mid", "post"), "jh")


def f_row(result, statistic, estimator):
    rows = result.rows(statistic, estimator=estimator)
    assert len(rows) == 1
    return rows.iloc[0]


def model_table(panel, covariance):
    """Return the rows of one fitted model and its notes."""
    rows = Rows(level=0.95)
    notes = add_models(rows, panel, [fit_model(panel, covariance)])
    return rows.frame(), notes


def test_mixed_anova_obrien_kaiser(obk):
    result = mixed_anova(obk, "value")
    for key, (f, df, df2, p) in OK_ANOVA.items():
        row = f_row(result, key, PLAIN)
        assert (row["estimate"], row["df"], row["df2"]) == pytest.approx((f, df, df2), rel=RTOL)
        assert row["p"] == pytest.approx(p, rel=RTOL)
    for key, (df, df2, p) in OK_GG.items():
        row = f_row(result, key, GG)
        assert (row["df"], row["df2"], row["p"]) == pytest.approx((df, df2, p), rel=RTOL)
    for key, p in OK_HF.items():
        row = f_row(result, key, HF)
        assert row["p"] == pytest.approx(p, rel=RTOL)
    for key, (partial, general) in OK_SIZES.items():
        assert result.value("partial_eta_squared", case=key) == pytest.approx(partial, rel=RTOL)
        assert result.value("generalised_eta_squared", case=key) == pytest.approx(general, rel=RTOL)
    for key in OK_GG:
        assert result.row(key)["estimator"] == GG


def test_sphericity_obrien_kaiser(obk):
    result = mixed_anova(obk, "value")
    gg, hf = result.rows("sphericity_epsilon")["estimate"]
    assert gg == pytest.approx(0.870709929446, rel=RTOL)
    assert hf == pytest.approx(0.993903216213, rel=RTOL)
    assert result.value("mauchly_w") == pytest.approx(0.851511891409, rel=RTOL)
    assert result.value("mauchly_w", "p") == pytest.approx(0.381192461781, rel=RTOL)


def test_mixed_anova_weight_loss(reference_data):
    """carData::WeightLoss by R afex: Type III, GG epsilon .842207033, HF .8852159774."""
    wide = pd.read_csv(reference_data / "prepost" / "WeightLoss.csv")
    table = wide.melt(id_vars=["id", "group"], value_vars=["wl1", "wl2", "wl3"], var_name="session")
    result = mixed_anova(table.rename(columns={"id": "athlete"}), "value")
    row = f_row(result, "group_by_time", GG)
    assert row["estimate"] == pytest.approx(7.08135877822, rel=RTOL)
    assert row["p"] == pytest.approx(2.71424337116e-04, rel=RTOL)
    row = f_row(result, "time_main_effect", HF)
    assert row["estimate"] == pytest.approx(113.70895163117, rel=RTOL)
    assert row["p"] == pytest.approx(2.816493386e-19, rel=1e-5)
    assert f_row(result, "group_main_effect", PLAIN)["p"] == pytest.approx(
        1.44150876645e-02, rel=RTOL
    )


def test_mixed_anova_shipped_with_pingouin():
    """pingouin's mixed_anova data, balanced and unbalanced, by R afex (Type III)."""
    datasets = pytest.importorskip("pingouin.datasets")
    for name, group, time, both, gg in (
        ("mixed_anova", 5.05170878609, 4.02739419113, 2.72799558685, 0.9981202708),
        ("mixed_anova_unbalanced", 2.302641563429, 1.539137757286, 0.887719843741, 0.9253739733),
    ):
        table = datasets.read_dataset(name).rename(
            columns={"Scores": "y", "Time": "session", "Group": "group", "Subject": "athlete"}
        )
        table["athlete"] = table["group"] + table["athlete"].astype(str)
        result = mixed_anova(table, "y")
        for key, f in zip(OK_ANOVA, (group, time, both), strict=True):
            row = f_row(result, key, PLAIN)
            assert row["estimate"] == pytest.approx(f, rel=RTOL)
        epsilon = result.rows("sphericity_epsilon")["estimate"].iloc[0]
        assert epsilon == pytest.approx(gg, rel=RTOL)
        # Huynh–Feldt above 1 is taken as 1, as R does
        row = f_row(result, "group_by_time", HF)
        plain = f_row(result, "group_by_time", PLAIN)
        assert row["p"] == pytest.approx(plain["p"], rel=1e-12)


def test_random_intercept_rows_equal_emmeans(obk):
    panel = read_panel(obk, "value")
    table, notes = model_table(panel, INTERCEPT)
    assert set(table["estimator"]) == {"model_random_intercept"}
    table = table[table["interval_kind"] == "kenward_roger"]
    for (group, contrast), (estimate, se, low, high, p) in OK_CHANGES.items():
        later, earlier = contrast.split(" - ")
        first, *second = group.split(" - ")
        place = {"group": first, "first": later, "second": earlier}
        if second:
            place = {"first": first, "second": second[0], "session": later, "since": earlier}
        row = Result("model", table).rows(**place).iloc[0]
        assert (row["estimate"], row["se"], row["df"]) == pytest.approx(
            (estimate, se, 26), rel=RTOL
        )
        assert (row["ci_low"], row["ci_high"]) == pytest.approx((low, high), rel=RTOL)
        assert row["p"] == pytest.approx(p, rel=RTOL)
    assert notes == []


def test_type_of_sums_of_squares_and_order_of_sessions(squads):
    """Type II F(2,20) = 26.0794 by R and pingouin, Type III 32.78; interaction 17.2988."""
    result = mixed_anova(squads, "jh", control="control")
    assert f_row(result, "time_main_effect", TYPE_2)["estimate"] == pytest.approx(26.0794, abs=5e-5)
    assert f_row(result, "time_main_effect", PLAIN)["estimate"] == pytest.approx(32.78, abs=5e-3)
    row = f_row(result, "group_by_time", GG)
    assert row["estimate"] == pytest.approx(17.2988, abs=5e-5)
    assert row["p"] == pytest.approx(0.000222, abs=5e-7)
    assert f_row(result, "group_main_effect", PLAIN)["estimate"] == pytest.approx(0.5096, abs=5e-5)
    changed = change_mixed(squads, "jh", control="control").with_details()
    pairs = changed.rows("mean_change")[["first", "second"]].drop_duplicates()
    assert pairs.to_numpy().tolist() == [["mid", "pre"], ["post", "pre"], ["post", "mid"]]
    gain = changed.value("mean_change", group="plyo", first="post", second="pre")
    assert gain == pytest.approx(2.30, abs=1e-9)


def test_mixed_anova_names_who_is_left_out(squads):
    """Without A3's post value R afex gives F(2,18) = 27.1664, p = 3.66e-6."""
    squads.loc[(squads["athlete"] == "P3") & (squads["session"] == "post"), "jh"] = np.nan
    result = mixed_anova(squads, "jh")
    row = f_row(result, "group_by_time", PLAIN)
    assert (row["df"], row["df2"], row["n"]) == (2, 18, 11)
    assert row["estimate"] == pytest.approx(27.1664, abs=5e-5)
    assert row["p"] == pytest.approx(3.66e-6, abs=5e-9)
    assert "P3" in next(n.text for n in result.notes if n.code == "anova_complete_only")


def test_all_values_are_used_by_the_random_intercept(squads):
    """lmerTest on 35 of 36 values: control post − pre 0.3857, SE 0.1833, df 19.0, p .0489,
    interval .002 to .769; plyo × post 2.2033, SE .2991, t 7.367; F(2, 19.0) = 28.886."""
    squads.loc[(squads["athlete"] == "P3") & (squads["session"] == "post"), "jh"] = np.nan
    panel = read_panel(squads, "jh", control="control")
    table, _ = model_table(panel, INTERCEPT)
    table = table[table["interval_kind"] == "satterthwaite"]
    own = table[
        table["group"].eq("control") & table["first"].eq("post") & table["second"].eq("pre")
    ]
    own = own.iloc[0]
    assert own["estimate"] == pytest.approx(0.3857, abs=5e-5)
    assert own["se"] == pytest.approx(0.1833, abs=5e-5)
    assert own["df"] == pytest.approx(19.0, abs=0.05)
    assert own["p"] == pytest.approx(0.0489, abs=5e-5)
    assert (own["ci_low"], own["ci_high"]) == pytest.approx((0.002, 0.769), abs=5e-4)
    between = table[table["statistic"].eq("change_difference") & table["session"].eq("post")]
    between = between[between["since"] == "pre"]
    assert between[["first", "second"]].to_numpy().tolist() == [["plyo", "control"]]
    assert between["estimate"].iloc[0] == pytest.approx(2.2033, abs=5e-5)
    assert between["se"].iloc[0] == pytest.approx(0.2991, abs=5e-5)
    assert between["test_value"].iloc[0] == pytest.approx(7.367, abs=5e-4)
    interaction = table[table["statistic"] == "group_by_time"].iloc[0]
    assert interaction["estimate"] == pytest.approx(28.886, abs=5e-4)
    assert interaction["df2"] == pytest.approx(19.0, abs=0.05)
    assert interaction["p"] == pytest.approx(1.73e-6, abs=5e-9)


def test_two_complete_sessions_hold_one_test(obk):
    """A v control, pre v post: t(7) of the changes is 1.686798247, F = t² = 2.845288326,
    p .135503222 (R afex and t.test); reported once."""
    table = obk[obk["group"].isin(["control", "A"]) & obk["session"].isin(["pre", "post"])]
    result = change_mixed(table, "value", control="control").with_details()
    row = result.rows("change_difference", interval_kind=POOLED).iloc[0]
    assert row["test_value"] == pytest.approx(1.686798247065, rel=RTOL)
    assert row["p"] == pytest.approx(0.135503222329, rel=RTOL)
    assert (row["df"], row["n"], row["role"]) == (7, 9, "primary")
    assert result.rows("group_by_time").empty
    assert "F(1, 7) = t² = 2.845" in next(n.text for n in result.notes if n.code == "one_test")
    anova = f_row(mixed_anova(table, "value"), "group_by_time", PLAIN)
    assert anova["estimate"] == pytest.approx(2.84528832630, rel=RTOL)
    assert anova["p"] == pytest.approx(row["p"], rel=1e-9)
    panel = read_panel(table, "value", control="control")
    model, _ = model_table(panel, INTERCEPT)
    for p in model.loc[model["statistic"] == "change_difference", "p"]:
        assert p == pytest.approx(row["p"], rel=1e-9)


def test_welch_standard_error_of_the_second_row(obk):
    """Separate variances: the standard error is that of the Welch t test (scipy)."""
    from scipy import stats

    result = change_mixed(obk, "value", control="control").with_details()
    places = {"first": "B", "second": "control", "session": "fup", "since": "pre"}
    row = result.rows("change_difference", interval_kind=SEPARATE, **places).iloc[0]
    b, c = (np.array(OBRIEN_KAISER[g], dtype=float) for g in ("B", "control"))
    theirs = stats.ttest_ind(b[:, 2] - b[:, 0], c[:, 2] - c[:, 0], equal_var=False)
    assert row["test_value"] == pytest.approx(theirs.statistic, rel=1e-12)


def test_constrained_model_with_complete_data_is_close_to_ancova():
    """Constrained longitudinal model, two complete sessions: estimate equals ANCOVA with the
    slope pooled within groups and the maximum-likelihood baseline mean (closed form)."""
    rng = np.random.default_rng(8)
    data = {}
    for name, effect in (("control", 0.0), ("training", 1.0)):
        true = 30 + 4 * rng.standard_normal(12)
        pre, post = (true + rng.standard_normal(12) for _ in range(2))
        data[name] = np.stack([pre, post + effect], axis=1)
    panel = read_panel(long_table(data, ("pre", "post"), "y"), "y")
    fit = fit_model(panel, FREE, constrained=True)
    vector = fit.design.change(1, (0, 1)) - fit.design.change(0, (0, 1))
    estimate = float(fit.pieces.beta @ vector)
    v = {k: fit.parameters[k] for k in ("pre, pre", "post, pre")}
    slope = v["post, pre"] / v["pre, pre"]
    means = {k: d.mean(axis=0) for k, d in data.items()}
    difference = means["training"] - means["control"]
    assert estimate == pytest.approx(difference[1] - slope * difference[0], rel=1e-7)


def test_random_slope_and_unstructured_agree_on_complete_data_at_the_ends(squads):
    """With three complete sessions first v last has the same test in both models."""
    panel = read_panel(squads, "jh", control="control")
    tables = []
    for covariance in (SLOPE, FREE):
        table, _ = model_table(panel, covariance)
        keep = table["session"].eq("post") & table["since"].eq("pre")
        tables.append(table.loc[keep, "se"].to_numpy())
    assert len(tables[0]) == 2
    np.testing.assert_allclose(tables[0], tables[1], rtol=1e-7)
