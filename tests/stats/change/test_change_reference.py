"""Changes and group differences against R and textbook numbers."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within

#: MASS::anorexia (Hand et al. 1993, data set 285): R 4.2.2 lm, emmeans 1.8.4-1, car 3.1-1
#: (hccm type "hc3"). contrast -> estimate, se, p, ci_low, ci_high, HC3 se, HC3 p
ANOREXIA = {
    "CBT - Cont": (
        4.097065528073,
        1.893492606967,
        0.033999314720263,
        0.318659858978,
        7.875471197168,
        1.869854519561,
        0.031873486720676,
    ),
    "FT - Cont": (
        8.660128180992,
        2.193149411643,
        0.000189023798034,
        4.283766668074,
        13.036489693909,
        2.294117694149,
        0.000338530050837,
    ),
}
#: emmeans at Prewt = 82.408333: estimate, se, ci_low, ci_high (df 68)
ADJUSTED = {
    "Cont": (81.4772627862, 1.37538532466, 78.7327241021, 84.2218014703),
    "CBT": (85.5743283143, 1.29660917345, 82.9869849925, 88.1616716361),
    "FT": (90.1373909672, 1.69762445677, 86.7498341065, 93.5249478280),
}
#: R t.test(paired = TRUE) by group: t, df, p, mean, ci_low, ci_high
PAIRED = {
    "Cont": (-0.287225391015, 25, 0.776307062219, -0.45, -3.676707588294, 2.776707588294),
    "CBT": (
        2.2155878439312,
        28,
        0.0350225975622,
        3.0068965517241,
        0.2268901583588,
        5.7869029450895,
    ),
    "FT": (4.18490813529, 16, 0.000700253105601, 7.26470588235, 3.58469953588, 10.9447122288),
}
#: Student 1908 (R datasets::sleep), drug 1 and drug 2, hours of extra sleep, patients 1 to 10
SLEEP = (
    (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0),
    (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4),
)


def long_table(before: object, after: object, group: object = None) -> pd.DataFrame:
    """Return a sessions table of one column ``value``, sessions pre and post."""
    wide = pd.DataFrame({"pre": list(before), "post": list(after)})  # type: ignore[call-overload]
    wide["athlete"] = [f"A{i:02d}" for i in range(len(wide))]
    ids = ["athlete"]
    if group is not None:
        wide["group"] = list(group)  # type: ignore[call-overload]
        ids.append("group")
    return wide.melt(
        id_vars=ids, value_vars=["pre", "post"], var_name="session", value_name="value"
    )


@pytest.fixture(scope="module")
def anorexia(reference_data: Path) -> pd.DataFrame:
    d = pd.read_csv(reference_data / "prepost" / "anorexia.csv")
    return long_table(d["Prewt"], d["Postwt"], d["Treat"])


@pytest.fixture(scope="module")
def compared(anorexia: pd.DataFrame) -> Result:
    return change_between(
        anorexia, before="pre", after="post", assignment="random", control="Cont"
    ).with_details()


@pytest.fixture(scope="module")
def sleep() -> Result:
    return change_within(long_table(SLEEP[1], SLEEP[0]), before="pre", after="post")


def _row(result: Result, statistic: str, interval_kind: str, **where: str) -> pd.Series:
    rows = result.rows(statistic, interval_kind=interval_kind, **where)
    if statistic == "simultaneous_difference":
        rows = rows[rows["estimator"] == "ancova"]
    assert len(rows) == 1
    return rows.iloc[0]


def _pair(contrast: str) -> dict[str, str]:
    first, second = contrast.split(" - ")
    return {"first": first, "second": second}


@pytest.mark.parametrize("contrast", list(ANOREXIA))
def test_ancova_classical_equals_r(compared: Result, contrast: str) -> None:
    estimate, se, p, low, high, _, _ = ANOREXIA[contrast]
    row = _row(compared, "adjusted_difference", "classical", **_pair(contrast))
    found = row[["estimate", "se", "p", "ci_low", "ci_high"]].astype(float).tolist()
    assert found == pytest.approx([estimate, se, p, low, high], abs=1e-9)
    assert row["df"] == 68


@pytest.mark.parametrize("contrast", list(ANOREXIA))
def test_ancova_hc3_equals_car(compared: Result, contrast: str) -> None:
    row = _row(compared, "adjusted_difference", "hc3", **_pair(contrast))
    assert row["se"] == pytest.approx(ANOREXIA[contrast][5], abs=1e-9)
    assert row["p"] == pytest.approx(ANOREXIA[contrast][6], abs=1e-9)


@pytest.mark.parametrize("group", list(ADJUSTED))
def test_adjusted_means_equal_emmeans(compared: Result, group: str) -> None:
    row = _row(compared, "adjusted_mean", "classical", group=group)
    found = row[["estimate", "se", "ci_low", "ci_high"]].astype(float).tolist()
    assert found == pytest.approx(ADJUSTED[group], abs=1e-8)


def test_joint_f_and_unequal_slopes_equal_r(compared: Result) -> None:
    row = compared.rows("group_f").iloc[0]
    assert row["test_value"] == pytest.approx(7.86807892463, abs=1e-9)
    assert row["p"] == pytest.approx(0.000843839823857, abs=1e-12)
    assert row["estimate"] == pytest.approx(0.187925482293828, abs=1e-12)
    slopes = compared.rows("slope_f").iloc[0]
    assert (slopes["df"], slopes["df2"]) == (2, 66)
    assert slopes["test_value"] == pytest.approx(5.41123, abs=1e-5)
    assert slopes["p"] == pytest.approx(0.0066656, abs=1e-7)
    assert compared.has_note("slopes_differ")


def test_two_groups_only_equal_r(anorexia: pd.DataFrame) -> None:
    two = anorexia[anorexia["group"] != "CBT"]
    result = change_between(
        two, before="pre", after="post", assignment="random", control="Cont"
    ).with_details()
    row = _row(result, "adjusted_difference", "classical")
    found = row[["estimate", "se", "ci_low", "ci_high"]].astype(float).tolist()
    expected = [9.033572574444, 2.031486249534, 4.927785709765, 13.139359439124]
    assert found == pytest.approx(expected, abs=1e-9)


def test_effect_sizes_of_the_comparison(compared: Result) -> None:
    # effectsize 0.8.3 hedges_g (point) and the noncentral-t interval of d by R pt, uniroot
    row = compared.rows("hedges_g", first="FT", second="Cont").iloc[0]
    assert row["estimate"] == pytest.approx(0.986651571685, abs=1e-9)
    assert row["ci_low"] == pytest.approx(0.35106060614836, abs=1e-6)
    assert row["ci_high"] == pytest.approx(1.64837528129692, abs=1e-6)
    morris = compared.value("dppc2", first="FT", second="Cont")
    assert morris == pytest.approx(1.38998245698661, abs=1e-10)


@pytest.mark.parametrize("group", list(PAIRED))
def test_paired_t_equals_r(anorexia: pd.DataFrame, group: str) -> None:
    result = change_within(anorexia, before="pre", after="post", group="group")
    row = result.rows("mean_change", group=group).iloc[0]
    columns = ["test_value", "df", "p", "estimate", "ci_low", "ci_high"]
    assert row[columns].astype(float).tolist() == pytest.approx(PAIRED[group], abs=1e-8)


def test_sleep_equals_r(sleep: Result) -> None:
    row = sleep.rows("mean_change").iloc[0]
    columns = ["test_value", "df", "p", "estimate", "ci_low", "ci_high"]
    expected = [
        -4.06212768338204,
        9,
        0.00283289019738427,
        -1.58,
        -2.459885763276982,
        -0.700114236723018,
    ]
    assert row[columns].astype(float).tolist() == pytest.approx(expected, abs=1e-10)


def test_sleep_effect_sizes(sleep: Result) -> None:
    # effectsize 0.8.3 (its optimiser stops at 6e-7, hence 1e-5) and exact formulae in R
    dz = sleep.rows("cohen_dz").iloc[0]
    assert dz["estimate"] == pytest.approx(-1.28455756259, abs=1e-10)
    assert [dz["ci_low"], dz["ci_high"]] == pytest.approx(
        [-2.11801659522, -0.414627662055], abs=1e-5
    )
    assert sleep.value("cohen_dav") == pytest.approx(-0.83218108134954, abs=1e-10)
    assert sleep.value("hedges_g") == pytest.approx(-1.17392490351, abs=1e-10)


def test_bell_mccaffrey_without_covariate_is_welch() -> None:
    # Imbens & Kolesár 2016: two groups and no covariate give Welch's variance and, under equal
    # spread, df = (1/a + 1/b)² / (1/(a²(a - 1)) + 1/(b²(b - 1))) for groups of a and b
    table = long_table([1.0] * 9, [3, 5, 4, 6, 2, 9, 7, 5, 8], list("xxxxyyyyy"))
    table.loc[table["session"] == "pre", "value"] = [1, 2, 3, 1, 2, 3, 1, 2, 2]
    row = _row(
        change_between(table, before="pre", after="post", control="x").with_details(),
        "change_difference",
        "welch_bm",
    )
    change = pd.DataFrame({"g": list("xxxxyyyyy"), "c": [2, 3, 1, 5, 0, 6, 6, 3, 6]})
    variance = change.groupby("g")["c"].var()
    assert row["se"] == pytest.approx((variance["x"] / 4 + variance["y"] / 5) ** 0.5, rel=1e-12)
    assert row["df"] == pytest.approx((1 / 4 + 1 / 5) ** 2 / (1 / 48 + 1 / 100), rel=1e-12)


def test_hc2_equals_statsmodels(anorexia: pd.DataFrame, compared: Result) -> None:
    import numpy as np
    import statsmodels.api as sm

    wide = anorexia.pivot(
        index=["athlete", "group"], columns="session", values="value"
    ).reset_index()
    design = np.column_stack(
        [np.ones(len(wide)), wide["group"] == "CBT", wide["group"] == "FT", wide["pre"]]
    ).astype(float)
    fitted = sm.OLS(wide["post"].to_numpy(), design).fit(cov_type="HC2")
    for k, contrast in enumerate(["CBT - Cont", "FT - Cont"]):
        row = _row(compared, "adjusted_difference", "hc2_bm", **_pair(contrast))
        assert row["se"] == pytest.approx(float(fitted.bse[k + 1]), rel=1e-9)


#: emmeans pairs, adjust = "tukey" (classical df 68): p, ci_low, ci_high of the reversed contrast
TUKEY = {
    "CBT - Cont": (0.084876713933997, -0.439903648888, 8.63403470503),
    "FT - Cont": (0.000548410933471, 3.405155838093, 13.91510052389),
    "FT - CBT": (0.089578231047468, -0.548591487965, 9.67471679380),
}
#: emmeans trt.vs.ctrl, adjust = "mvt" (Monte Carlo, seed 1: 3 to 4 digits)
DUNNETT = {"CBT - Cont": 0.0629390480, "FT - Cont": 0.0003732355}
HOLM = [0.067998629440525, 0.000567071394103, 0.067998629440525]


@pytest.mark.parametrize("contrast", list(TUKEY))
def test_tukey_kramer_equals_emmeans(anorexia: pd.DataFrame, contrast: str) -> None:
    order = pd.CategoricalDtype(["Cont", "CBT", "FT"], ordered=True)
    ordered = anorexia.assign(group=anorexia["group"].astype(order))
    result = change_between(ordered, before="pre", after="post", assignment="random").with_details()
    row = _row(result, "simultaneous_difference", "tukey_kramer", **_pair(contrast))
    found = row[["p_adjusted", "ci_low", "ci_high"]].astype(float).tolist()
    assert found == pytest.approx(TUKEY[contrast], abs=1e-7)
    together = _row(
        result,
        "simultaneous_difference",
        "multivariate_t_classical",
        **_pair(contrast),
    )
    # the exact multivariate t is a little smaller than Tukey-Kramer, which is conservative
    assert together["p_adjusted"] <= TUKEY[contrast][0] + 2e-4
    assert together["p_adjusted"] == pytest.approx(TUKEY[contrast][0], abs=2e-3)


@pytest.mark.parametrize("contrast", list(DUNNETT))
def test_dunnett_equals_emmeans(compared: Result, contrast: str) -> None:
    row = _row(compared, "simultaneous_difference", "multivariate_t_classical", **_pair(contrast))
    assert row["p_adjusted"] == pytest.approx(DUNNETT[contrast], abs=1.5e-4)


def test_holm_equals_emmeans() -> None:
    from cmjlab.stats.common.multiplicity import adjust_p

    p = [0.033999314720263, 0.000189023798034, 0.036035084664884]
    assert adjust_p(p, "holm") == pytest.approx(HOLM, abs=1e-12)
    assert adjust_p(p, "bonferroni")[2] == pytest.approx(0.108105253994653, abs=1e-12)


def test_permutation_statistic_is_the_studentised_ancova() -> None:
    import numpy as np

    from cmjlab.stats.change.permutation import _statistics
    from cmjlab.stats.common.least_squares import contrast, least_squares

    rng = np.random.default_rng(1)
    x = rng.normal(size=(9, 1))
    y = x[:, 0] + rng.normal(size=9)
    first = np.array([True] * 4 + [False] * 5)
    design = np.column_stack([first, ~first, x]).astype(float)
    found = contrast(least_squares(y, design), np.array([1.0, -1.0, 0.0]))
    expected = float(found.estimate) / float(found.se)
    assert float(_statistics(y, x, first[None])[0]) == pytest.approx(expected, rel=1e-10)


def test_permutation_p_by_counting() -> None:
    # 4 v 4 without a covariate: |studentised t| over all 70 deals, counted here with numpy
    from itertools import combinations

    import numpy as np

    from cmjlab.stats.change.permutation import permutation_test

    y = np.array([1.0, 3.0, 2.5, 7.0, 6.0, 9.0, 8.5, 5.0])
    values = []
    for chosen in combinations(range(8), 4):
        a, b = y[list(chosen)], np.delete(y, chosen)
        values.append((a.mean() - b.mean()) / np.sqrt(a.var(ddof=1) / 4 + b.var(ddof=1) / 4))
    observed = abs(values[0])
    found = permutation_test(y, np.empty((8, 0)), np.arange(8) < 4)
    assert found is not None
    assert found.p == pytest.approx(np.mean(np.abs(values) >= observed * (1 - 1e-10)))
    assert (found.deals, found.floor) == (70, pytest.approx(2 / 70))
