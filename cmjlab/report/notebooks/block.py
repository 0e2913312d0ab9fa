"""What the notebook of a block shows side by side: estimates of one difference, and tests of all."""

from __future__ import annotations

import warnings
from typing import Any

import pandas as pd

from cmjlab.extras import optional
from cmjlab.results import Result
from cmjlab.words.catalog import Words, read_words
from cmjlab.words.fill import amount, p_text

#: Estimates of a difference between groups: statistic and the kind of its interval.
_ESTIMATES = (
    ("change_difference", "welch_bm"),
    ("change_difference", "pooled_t"),
    ("adjusted_difference", "hc2_bm"),
    ("simultaneous_difference", "multivariate_t_hc2_bm"),
)
#: The mixed model: every session has a spread of its own, every pair of sessions a correlation.
_MODEL = "model_unstructured"


def estimates_side_by_side(between: Result, over_time: Result, metric: str) -> pd.DataFrame:
    """Return every estimate of the difference between groups with what it takes into account.

    Parameters
    ----------
    between : Result
        From :func:`cmjlab.change_between`.
    over_time : Result
        From :func:`cmjlab.change_mixed` of the same sessions.
    metric : str

    Returns
    -------
    pandas.DataFrame
        Texts: contrast, estimate, interval, p, and which leads (first of its contrast).
    """
    words = read_words()
    rows = []
    for place, (statistic, kind) in enumerate(_ESTIMATES):
        for row in between.rows(statistic, metric=metric).to_dict("records"):
            if row["interval_kind"] == kind:
                rows.append((row, f"{statistic}_{kind}", place))
    models = over_time.with_details().rows("change_difference", metric=metric)
    models = models[models["estimator"].eq(_MODEL) & models["interval_kind"].eq("kenward_roger")]
    for row in models.to_dict("records"):
        if row["second"] == between.settings["control"]:
            rows.append((row | {"leads": False}, "mixed_model", len(_ESTIMATES)))
    order = list(dict.fromkeys((r["first"], r["second"]) for r, _, _ in rows))
    rows.sort(
        key=lambda one: (order.index((one[0]["first"], one[0]["second"])), not _leads(one), one[2])
    )
    return pd.DataFrame([_texts(one, metric, words) for one in rows])


def _leads(one: tuple[dict[str, Any], str, int]) -> bool:
    row, key, _ = one
    return bool(row["leads"]) and not key.startswith("simultaneous")


def _texts(one: tuple[dict[str, Any], str, int], metric: str, words: Words) -> dict[str, str]:
    row, key, _ = one
    said = words.part("estimates")
    unit = str(row["unit"] or "")
    low, high = (amount(row[end], unit, signed=True, with_unit=False) for end in _ENDS)
    found = pd.notna(row["estimate"])
    return {
        said["contrast"]: f"{row['first']} \u2212 {row['second']}",
        said["by"]: said[key],
        said["estimate"]: amount(row["estimate"], unit, signed=True) if found else said["none"],
        said["interval"]: f"{low} {said['to']} {high}" if found else "",
        "p": p_text(row["p"] if pd.isna(row["p_adjusted"]) else row["p_adjusted"]) if found else "",
        said["which"]: said["leads"] if _leads(one) else "",
    }


_ENDS = ("ci_low", "ci_high")


def group_by_time(between: Result, over_time: Result, metric: str) -> pd.DataFrame:
    """Return the test of group × time by cmjlab and, of complete pairs, by pingouin in two ways.

    Parameters
    ----------
    between : Result
        From :func:`cmjlab.change_between`: its pairs are what pingouin is given.
    over_time : Result
        From :func:`cmjlab.change_mixed` of the same two sessions.
    metric : str

    Returns
    -------
    pandas.DataFrame
        Texts: the test, F, both degrees of freedom, p and the athletes in it.

    Raises
    ------
    MissingExtraError
        The lab extra is not installed.
    """
    pingouin = optional("pingouin", extra="lab", purpose="a second opinion needs")
    said = read_words().part("group_by_time")
    pairs = between.points["pairs"]
    pairs = pairs[pairs["metric"] == metric].astype({"group": str, "athlete": str})
    long = pairs.melt(
        id_vars=["athlete", "group"], value_vars=["before", "after"], var_name="session"
    )
    with warnings.catch_warnings():
        # pingouin uses calls that pandas is about to drop; that is not the reader's business.
        warnings.simplefilter("ignore", DeprecationWarning)
        mixed = pingouin.mixed_anova(
            long, dv="value", within="session", subject="athlete", between="group"
        ).iloc[-1]
        oneway = pingouin.anova(pairs, dv="change", between="group").iloc[0]
    ours = over_time.rows("group_by_time", metric=metric).iloc[0]
    rows = [
        (said["model"], ours["test_value"], ours["df"], ours["df2"], ours["p"], ours["n"]),
        (said["anova"], mixed["F"], mixed["DF1"], mixed["DF2"], _p(mixed), len(pairs)),
        (said["changes"], oneway["F"], oneway["ddof1"], oneway["ddof2"], _p(oneway), len(pairs)),
    ]
    return pd.DataFrame(
        [
            {
                said["test"]: name,
                "F": f"{f:.3f}",
                said["df"]: f"{df1:g}; {df2:.1f}",
                "p": p_text(p),
                said["athletes"]: f"{n:.0f}",
            }
            for name, f, df1, df2, p, n in rows
        ]
    )


def _p(row: pd.Series) -> float:
    """Return the p value, whose column has had two names in pingouin."""
    return float(row["p_unc"] if "p_unc" in row else row["p-unc"])
