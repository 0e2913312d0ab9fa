"""Ours beside R's for every family of estimators that R has: ``agreement.csv``.

R's numbers come from the scripts of this folder (``agreement.R``, ``change_scores.R``,
``jumps_model.R``, ``effect_sizes.R``, ``planning.R``; R 4.2.2 of Debian with lme4 1.1-31, pbkrtest
0.5.2, emmeans 1.8.4-1, mvtnorm 1.1-3). Run from the root, after them:
PYTHONPATH=tests python tests/reference/agreement.py
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from reference.agreement_data import PEFR_WRIGHT

import cmjlab as cj
from cmjlab.results import Result
from cmjlab.stats.common.equivalence import tost
from cmjlab.stats.common.multiplicity import Simultaneous
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.variance_share import variance_share
from cmjlab.stats.mixed.anova import mixed_anova
from cmjlab.stats.mixed.model_rows import add_models
from cmjlab.stats.mixed.models import INTERCEPT, fit_model
from cmjlab.stats.mixed.panel import read_panel
from cmjlab.stats.planning.scenario import Scenario

HERE = Path(__file__).parent
SLEEP, ANOREXIA = "Student 1908", "anorexia"
SHROUT, BLAND, OBRIEN = "Shrout & Fleiss 1979", "Bland & Altman 1986", "O'Brien & Kaiser 1985"
#: Shrout & Fleiss 1979, Psychol Bull 86:420, Table 2: six targets, four judges.
_JUDGES = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
#: Student 1908, Biometrika 6:1: hours of sleep gained by ten patients with two drugs.
_SLEEP = ([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
          [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])  # fmt: skip
#: O'Brien & Kaiser 1985, Psychol Bull 97:316, averaged over hours: pre, post, follow-up.
_OBRIEN = {
    "control": [[2, 3, 3], [4, 3, 4], [6, 5, 7], [5, 3, 4], [4, 6, 4]],
    "A": [[8, 9, 9], [5, 8, 9], [3, 5, 6], [4, 4, 5]],
    "B": [[4, 7, 8], [3, 5, 6], [6, 9, 8], [6, 6, 8], [2, 5, 6], [3, 7, 7], [5, 7, 8]],
}
_DF = "df of Bell & McCaffrey, which do not rest on the observed variances"
#: Where ours is another estimator than R's on purpose, or is made by points.
WHY = {("Welch t", q): _DF for q in ("df", "p", "low", "high")}
WHY |= {("multivariate t", "multiplier"): "fixed quasi-random points: at most 0.2 %"}
#: (family, data, quantity, value of R or of ours)
Row = tuple[str, str, str, float]


def _long(values: np.ndarray, groups: list[str] | None = None) -> pd.DataFrame:
    """Return athletes × sessions as a long table with the column x."""
    n, k = values.shape
    table = pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i:02d}" for i in range(n)], k),
            "session": np.tile([f"s{j}" for j in range(k)], n),
            "x": values.ravel().astype(float),
        }
    )
    return table.assign(group=np.repeat(groups, k)) if groups else table


def _with_limits(family: str, data: str, name: str, row: pd.Series) -> Iterator[Row]:
    columns = {"": "estimate", "_low": "ci_low", "_high": "ci_high"}
    for end, column in columns.items():
        yield family, data, f"{name}{end}", float(row[column])


def _reliability() -> Iterator[Row]:
    icc = cj.reliability(_long(np.array(_JUDGES)), ["x"], use=[f"s{j}" for j in range(4)])
    for name in ("icc_1", "icc_c1", "icc_a1"):
        row = icc.rows(name, interval_kind="mcgraw_wong").iloc[0]
        yield from _with_limits("icc", SHROUT, name, row)
    noise = cj.reliability(_long(PEFR_WRIGHT), ["x"], use=["s0", "s1"])
    yield from _with_limits("typical error", BLAND, "typical_error", noise.row("typical_error"))
    up = noise.rows("limit_upper", interval_kind="tolerance").iloc[0]
    yield from _with_limits("limits of agreement", BLAND, "limit_upper", up)
    low = noise.rows("limit_lower", interval_kind="tolerance").iloc[0]
    yield "limits of agreement", BLAND, "limit_lower", float(low["estimate"])


def _paired() -> Iterator[Row]:
    table = _long(np.array(_SLEEP).T)
    result = cj.change_within(table, ["x"], before="s0", after="s1").with_details()
    row = result.row("mean_change")
    names = {"mean_change": "estimate", "low": "ci_low", "high": "ci_high", "t": "test_value"}
    for name, column in {**names, "p": "p"}.items():
        yield "paired t", SLEEP, name, float(row[column])
    both = tost(row["estimate"], row["se"], row["df"], 2.0)
    names = {"p_lower": both.p_lower, "p_upper": both.p_upper}
    names |= {"low_90": both.ci_low, "high_90": both.ci_high}
    for name, value in names.items():
        yield "two one-sided tests", SLEEP, name, float(value)
    d_av, d_z = result.row("cohen_dav"), result.row("hedges_g_within")
    yield from _with_limits("effect sizes", SLEEP, "d_av", d_av)
    yield "effect sizes", SLEEP, "g", float(d_z["estimate"])
    yield "effect sizes", SLEEP, "d_z_low", float(d_z["ci_low"])
    yield "effect sizes", SLEEP, "d_z_high", float(d_z["ci_high"])


def _anorexia() -> Result:
    wide = pd.read_csv(HERE.parent / "data" / "prepost" / "anorexia.csv")
    values = wide[["Prewt", "Postwt"]].to_numpy(float)
    table = _long(values, list(wide["Treat"]))
    return cj.change_between(
        table, ["x"], before="s0", after="s1", control="Cont", assignment="random"
    ).with_details()


def _groups() -> Iterator[Row]:
    result = _anorexia()
    pair = {"first": "FT", "second": "Cont"}
    welch = result.rows("change_difference", **pair).iloc[0]
    names = {"difference": "estimate", "low": "ci_low", "high": "ci_high", "t": "test_value"}
    for name, column in {**names, "df": "df", "p": "p"}.items():
        yield "Welch t", ANOREXIA, name, float(welch[column])
    plain = result.rows("adjusted_difference", interval_kind="classical", **pair).iloc[0]
    for name, column in {**names, "se": "se", "p": "p"}.items():
        yield "ANCOVA", ANOREXIA, name, float(plain[column])
    joint = result.row("group_f")
    yield "ANCOVA", ANOREXIA, "joint_f", float(joint["test_value"])
    yield "ANCOVA", ANOREXIA, "joint_p", float(joint["p"])
    mean = result.rows("adjusted_mean", group="FT", interval_kind="classical").iloc[0]
    yield "ANCOVA", ANOREXIA, "adjusted_mean_FT", float(mean["estimate"])
    slopes = result.row("slope_f")
    yield "Johnson & Neyman", ANOREXIA, "slopes_f", float(slopes["test_value"])
    yield "Johnson & Neyman", ANOREXIA, "slopes_p", float(slopes["p"])
    for group in ("FT", "CBT"):
        limit = result.rows("clear_limit", first=group).iloc[0]
        yield "Johnson & Neyman", ANOREXIA, f"clear_above_{group}", float(limit["estimate"])
    covariance = np.array([[1 / 29 + 1 / 26, 1 / 26], [1 / 26, 1 / 17 + 1 / 26]])
    multiplier = Simultaneous(covariance, 69.0).multiplier(0.95)
    yield "multivariate t", ANOREXIA, "multiplier", multiplier


def _sessions() -> Iterator[Row]:
    values = np.vstack([np.array(v) for v in _OBRIEN.values()])
    groups = [g for g, v in _OBRIEN.items() for _ in v]
    table, order = _long(values, groups), ["s0", "s1", "s2"]
    anova = mixed_anova(table, "x", order=order)
    family = "mixed ANOVA"
    plain = anova.rows("group_by_time", estimator="anova").iloc[0]
    for name, column in {"f": "estimate", "df": "df", "df2": "df2", "p": "p"}.items():
        yield family, OBRIEN, name, float(plain[column])
    for name in ("greenhouse_geisser", "huynh_feldt"):
        row = anova.rows("group_by_time", estimator=f"anova_{name}").iloc[0]
        yield family, OBRIEN, f"p_{name}", float(row["p"])
    rows, panel = Rows(level=0.95), read_panel(table, "x", order=order, control="control")
    add_models(rows, panel, [fit_model(panel, INTERCEPT)])
    model, family = Result("model", rows.frame()), "mixed model, Kenward & Roger"
    joint = model.rows("group_by_time", interval_kind="kenward_roger").iloc[0]
    for name, column in {"f": "estimate", "df": "df", "df2": "df2", "p": "p"}.items():
        yield family, OBRIEN, name, float(joint[column])
    where = {"first": "B", "second": "control", "session": "s2", "since": "s0"}
    row = model.rows(interval_kind="kenward_roger", **where).iloc[0]
    names = {"difference": "estimate", "se": "se", "contrast_df": "df", "contrast_p": "p"}
    for name, column in names.items():
        yield family, OBRIEN, name, float(row[column])


def _single_jumps() -> Iterator[Row]:
    every = pd.read_csv(HERE / "jumps_model.csv")
    for name in ("two_groups", "unequal_jumps", "three_groups", "missing"):
        table, data = every[every["set"] == name].drop(columns="set"), f"invented jumps: {name}"
        order = sorted(table["session"].unique())
        result = cj.change_jumps(table, "h", order=order, control="a")
        for spread in ("jumps", "days", "athletes"):
            yield "lmer", data, f"sd_{spread}", float(result.value(f"sd_between_{spread}"))
        where = {"first": "b", "second": "a", "session": order[-1], "since": order[0]}
        row = result.row("change_difference", **where)
        for column in ("estimate", "se", "df"):
            yield "lmer, Kenward & Roger", data, column, float(row[column])
        joint = result.row("group_by_time")
        for quantity, column in {"f": "estimate", "df2": "df2", "p": "p"}.items():
            yield "pbkrtest", data, f"joint_{quantity}", float(joint[column])


def _sizes() -> Iterator[Row]:
    for share in _read("effect_sizes.json")["shares"]:
        found = variance_share(share["f"], share["df"], share["df2"])
        data = f"F = {share['f']:.4g}, df {share['df']:g} and {share['df2']:g}"
        names = {"eta": found.eta, "eta_high": found.eta_high, "omega": found.omega}
        for name, value in names.items():
            yield "share of variance", data, name, value
    plan = _read("planning.json")
    noise = {"x": (plan["typical_error"], plan["df"])}
    quiet = Scenario(response_sd=(0.0,), baselines=(1,), simulations=0)
    result = cj.plan_study("x", reliability=noise, matters=plan["matters"], scenario=quiet)
    for design in ("one_group", "two_groups_change"):
        needed = result.rows("n_needed", case=design).iloc[0]
        names = {"n": "estimate", "n_low": "ci_low", "n_high": "ci_high"}
        for name, column in names.items():
            yield "planning", design, name, float(needed[column])
        for name in ("n_needed_assured", "assurance", "expected_power"):
            value = result.rows(name, case=design).iloc[0]["estimate"]
            yield "planning", design, name.replace("n_needed", "n"), float(value)


def _read(name: str) -> dict:
    return json.loads((HERE / name).read_text("utf-8"))


def ours() -> list[Row]:
    """Return what cmjlab computes, in the order of the table."""
    parts = (_reliability, _paired, _groups, _sessions, _single_jumps, _sizes)
    return [row for part in parts for row in part()]


def theirs() -> list[Row]:
    """Return what R computed, from the outputs of its scripts."""
    table = pd.read_csv(HERE / "agreement_r.csv")
    rows: list[Row] = list(table.itertuples(index=False, name=None))
    sizes = _read("effect_sizes.json")
    for name in ("d_av", "g"):
        rows.append(("effect sizes", SLEEP, name, sizes["paired"][name]))
    for i, end in enumerate(("low", "high")):
        rows.append(("effect sizes", SLEEP, f"d_av_{end}", sizes["paired"]["d_av_limits"][i]))
        rows.append(("effect sizes", SLEEP, f"d_z_{end}", sizes["paired"]["dz_limits"][i]))
    for share in sizes["shares"]:
        data = f"F = {share['f']:.4g}, df {share['df']:g} and {share['df2']:g}"
        rows += [("share of variance", data, n, share[n]) for n in ("eta", "eta_high", "omega")]
    change = _read("change_scores.json")
    rows += [("Johnson & Neyman", ANOREXIA, f"slopes_{n}", change["slopes"][n]) for n in ("f", "p")]
    for group in ("FT", "CBT"):
        root = float(np.atleast_1d(change[f"{group.lower()}_cont"]["roots"])[-1])
        rows.append(("Johnson & Neyman", ANOREXIA, f"clear_above_{group}", root))
    multiplier = change["against_control"]["classical"]["multiplier"]
    rows.append(("multivariate t", ANOREXIA, "multiplier", multiplier))
    return rows + _theirs_of_jumps() + _theirs_of_plans()


def _theirs_of_jumps() -> list[Row]:
    jumps, rows = _read("jumps_model.json"), []
    names = {"jumps": "Residual", "days": "athlete:session", "athletes": "athlete"}
    for name in ("two_groups", "unequal_jumps", "three_groups", "missing"):
        data, found = f"invented jumps: {name}", jumps[name]
        rows += [("lmer", data, f"sd_{k}", found["sd"][v]) for k, v in names.items()]
        for column, value in found["differences"]["b"].items():
            rows.append(("lmer, Kenward & Roger", data, column, value))
        rows += [("pbkrtest", data, f"joint_{k}", found["joint"][k]) for k in ("f", "df2", "p")]
    return rows


def _theirs_of_plans() -> list[Row]:
    plan = _read("planning.json")
    return [
        ("planning", design, name, float(value))
        for design in ("one_group", "two_groups_change")
        for name, value in plan[design].items()
    ]


def table() -> pd.DataFrame:
    """Return quantity, data set, R's value, ours, and the relative difference."""
    keys = ["family", "data", "quantity"]
    one = pd.DataFrame(ours(), columns=[*keys, "ours"])
    other = pd.DataFrame(theirs(), columns=[*keys, "r"])
    both = one.merge(other, on=keys, how="outer", validate="1:1", sort=False)
    scale = both["r"].abs().where(both["r"] != 0, 1.0)
    both["relative_difference"] = (both["ours"] - both["r"]).abs() / scale
    both["why"] = [
        WHY.get((f, q), "") for f, q in zip(both["family"], both["quantity"], strict=True)
    ]
    return both[[*keys, "r", "ours", "relative_difference", "why"]]


if __name__ == "__main__":
    made = table()
    shown = made.assign(relative_difference=made["relative_difference"].map("{:.0e}".format))
    shown.to_csv(HERE / "agreement.csv", index=False, float_format="%.12g", lineterminator="\n")
