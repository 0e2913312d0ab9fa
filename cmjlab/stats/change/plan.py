"""The plan applied to a result: primary metric, change that matters, adjusted p values."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.plan import Plan
from cmjlab.results import Note, Result
from cmjlab.stats.change.groups import COMPARISON_ONLY
from cmjlab.stats.common.equivalence import TOST_LEVEL, share_above, share_below, tost, verdict
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.multiplicity import adjust_across_metrics, family_of, fcr_level
from cmjlab.stats.common.tables import statistics_frame, unit_of
from cmjlab.stats.common.wording import interval_text, name_of, signed

#: Statistics that are a change or a difference of changes in the metric's own unit.
_CHANGES = ("mean_change", "adjusted_difference", "change_difference", "change_beyond_drift")


def apply_plan(
    result: Result, plan: Plan, *, probabilities: bool = True, adjust: str = "holm"
) -> Result:
    """Return the result with roles, the change that matters and adjusted p values.

    Parameters
    ----------
    result : Result
        Of change_within, change_between, change_individual or drift_expected.
    plan : Plan
        ``primary_metric``, ``report_metrics``, ``change_that_matters``.
    probabilities : bool
        Whether to add ``probability_meaningful_gain`` and ``…_loss``.
    adjust : {"holm", "bh", "bonferroni"}
        Adjustment over the exploratory metrics.

    Returns
    -------
    Result
        More rows: ``equivalence`` (TOST, 90 % interval), ``minimum_effect`` and the
        probabilities; the column ``role`` filled; ``p_adjusted`` of the exploratory metrics, and
        ``family_interval`` to go with it.

    Notes
    -----
    The primary metric is not adjusted: it is one question, asked in advance. Metrics that are
    the same quantity (``same_as`` in the catalog) count once.
    """
    if not isinstance(plan, Plan):
        raise StatsError("plan: a Plan is needed, e.g. Plan(primary_metric='jump_height_m').")
    matters = {m: checks.number(m, v, low=0.0) for m, v in plan.change_that_matters.items()}
    table = result.table.copy()
    table["role"] = [
        "primary" if m == plan.primary_metric else "exploratory" for m in table["metric"]
    ]
    _adjust(table, plan.primary_metric, adjust)
    records: list[dict[str, Any]] = [
        {str(k): v for k, v in row.items()} for row in table.to_dict("records")
    ]
    extra: list[dict[str, Any]] = []
    sentences: list[str] = []
    seen: set[tuple[str, ...]] = set()
    for row in records:
        if str(row["text"]).startswith(COMPARISON_ONLY):
            continue
        margin = matters.get(row["metric"])
        if margin and pd.notna(row["se"]) and pd.notna(row["df"]) and row["se"] > 0:
            here = tuple(str(row[k]) for k in ("statistic", "metric", "group", "contrast"))
            if row["statistic"] in _CHANGES and here not in seen:
                seen.add(here)
                extra += _margin_rows(row, margin, probabilities)
                sentences.append(_sentence(row, margin))
            elif row["statistic"] == "shrunken_change" and probabilities:
                extra += _probability_rows(row, margin)
    extra += _interval_rows(table, plan, adjust, float(result.settings.get("level", plan.level)))
    missing = sorted({m for m in table["metric"].dropna() if not matters.get(m)})
    return replace(
        result,
        table=statistics_frame([*records, *extra]),
        settings={**result.settings, "plan": plan.to_dict(), "adjust": adjust},
        notes=(*result.notes, *_notes(result, plan, missing, adjust)),
        sentences=(*result.sentences, *sentences),
    )


def _adjust(table: pd.DataFrame, primary: str, method: str) -> None:
    """Fill p_adjusted of the exploratory metrics, one family per kind of row."""
    exploratory = table["p"].notna() & table["p_adjusted"].isna() & table["athlete"].isna()
    for part in _families(table[exploratory]):
        p = dict(zip(part["metric"], part["p"], strict=True))
        adjusted = adjust_across_metrics(p, primary, method)
        for index, metric in zip(part.index, part["metric"], strict=True):
            if metric != primary and len(p) > 1:
                table.loc[index, "p_adjusted"] = adjusted[metric]


def _families(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the rows of each family: the same statistic over metrics.

    Which covariates an ANCOVA holds differs between metrics (a selecting metric is its own
    baseline) and does not split a family.
    """
    keys = ["statistic", "group", "contrast", "session", "athlete"]
    kind = rows["method"].astype("str").str.replace(r" and [^;]*", "", regex=True)
    return [part for _, part in rows.groupby([*keys, kind], dropna=False, sort=False)]


def _interval_rows(
    table: pd.DataFrame, plan: Plan, adjust: str, level: float
) -> list[dict[str, Any]]:
    """Return intervals of the exploratory changes that go with the adjustment of their p.

    Bonferroni intervals hold together (Holm has none of its own); with Benjamini-Hochberg
    the kept estimates get false-coverage-rate intervals.
    """
    main = table[table["statistic"].isin(_CHANGES) & table["se"].notna() & table["df"].notna()]
    main = main[(main["metric"] != plan.primary_metric) & (main["se"] > 0)]
    rows: list[dict[str, Any]] = []
    done: set[tuple[str, ...]] = set()
    for part in _families(main):
        first = part.iloc[0]
        here = tuple(str(first[k]) for k in ("statistic", "group", "contrast"))
        names = {family_of(m) for m in part["metric"]}
        if here in done or len(names) < 2:
            continue
        done.add(here)
        if adjust == "bh":
            one = part.assign(family=[family_of(m) for m in part["metric"]])
            kept, wide = fcr_level(one.drop_duplicates("family")["p"].to_numpy(), level)
            names_kept = set(one.drop_duplicates("family")["family"][kept])
            part = part[[family_of(m) in names_kept for m in part["metric"]]]
            words = f"false coverage rate over {len(names)} metrics, kept by Benjamini-Hochberg"
        else:
            wide = 1 - (1 - level) / len(names)
            words = f"Bonferroni over {len(names)} metrics"
        for row in part.to_dict("records"):
            low, high = Estimate(row["estimate"], row["se"], row["df"]).interval(wide)
            new = {**_place(row), "statistic": "family_interval", "estimate": row["estimate"]}
            new |= {"ci_low": float(low), "ci_high": float(high), "level": wide}
            new |= {"se": row["se"], "df": row["df"]}
            rows.append({**new, "method": f"{row['statistic']} ({row['method']}); {words}"})
    return rows


def _place(row: dict[str, Any]) -> dict[str, Any]:
    keys = ("metric", "group", "contrast", "session", "athlete", "n", "unit", "role")
    return {k: row[k] for k in keys}


def _margin_rows(row: dict[str, Any], margin: float, probabilities: bool) -> list[dict[str, Any]]:
    found = tost(row["estimate"], row["se"], row["df"], margin)
    shown = signed(margin, unit_of(row["metric"])).lstrip("+")
    base = {**_place(row), "estimate": row["estimate"], "se": row["se"], "df": row["df"]}
    upward = row["estimate"] >= 0
    t = found.t_upper if upward else found.t_lower
    p = 1 - (found.p_upper if upward else found.p_lower)
    sign = "more than +" if upward else "less than −"
    rows = [
        {
            **base,
            "statistic": "equivalence",
            "ci_low": float(found.ci_low),
            "ci_high": float(found.ci_high),
            "level": TOST_LEVEL,
            "test_value": float(found.t_lower if found.p_lower > found.p_upper else found.t_upper),
            "p": float(found.p),
            "method": f"TOST of {row['statistic']} ({row['method']}) against ±{shown}; 90 % interval",
            "text": verdict(float(found.ci_low), float(found.ci_high), margin),
        },
        {
            **base,
            "statistic": "minimum_effect",
            "ci_low": row["ci_low"],
            "ci_high": row["ci_high"],
            "level": row["level"],
            "test_value": float(t),
            "p": float(p),
            "method": f"one-sided test of {row['statistic']} ({row['method']}) {sign}{shown}",
        },
    ]
    return rows + (_probability_rows(row, margin) if probabilities else [])


def _probability_rows(row: dict[str, Any], margin: float) -> list[dict[str, Any]]:
    shown = signed(margin, unit_of(row["metric"])).lstrip("+")
    gain = float(share_above(row["estimate"], row["se"], row["df"], margin))
    loss = float(share_below(row["estimate"], row["se"], row["df"], -margin))
    what = f"{row['statistic']} ({row['method']})"
    base = {**_place(row), "unit": "", "df": row["df"]}
    return [
        {
            **base,
            "statistic": f"probability_meaningful_{word}",
            "estimate": value,
            "method": f"one minus the one-sided p of {what} against {sign}{shown}",
            "text": f"read with the interval of {row['statistic']}",
        }
        for word, sign, value in (("gain", "+", gain), ("loss", "−", loss))
    ]


def _sentence(row: dict[str, Any], margin: float) -> str:
    unit = unit_of(row["metric"])
    where = " ".join(str(row[k]) for k in ("group", "contrast") if pd.notna(row[k]))
    words = row["statistic"].replace("_", " ")
    interval = interval_text(row["ci_low"], row["ci_high"], unit, row["level"])
    return (
        f"{name_of(row['metric'])}, {words} ({where}): {signed(row['estimate'], unit)} ({interval}) against a"
        f" change that matters of {signed(margin, unit).lstrip('+')}: {verdict(row['ci_low'], row['ci_high'], margin)}."
    )


def _notes(result: Result, plan: Plan, missing: list[str], adjust: str) -> list[Note]:
    metrics = list(dict.fromkeys(result.table["metric"].dropna()))
    names = {"holm": "Holm", "bh": "Benjamini-Hochberg", "bonferroni": "Bonferroni"}
    notes = []
    if plan.primary_metric in metrics:
        rest = len(metrics) - 1
        text = f"{plan.primary_metric} was declared primary; its p is not adjusted."
        if rest:
            text += f" The other {rest} metric(s) are exploratory; their p values are adjusted ({names[adjust]})."
        notes.append(Note("primary_metric", text))
    else:
        notes.append(
            Note(
                "no_primary_metric",
                f"The declared primary metric {plan.primary_metric} is not in this result; everything here"
                " is exploratory.",
            )
        )
    if missing:
        notes.append(
            Note(
                "no_change_that_matters",
                f"No change that matters is declared for {', '.join(missing)}; equivalence, minimum effect"
                " and probabilities are not given for them.",
            )
        )
    return notes
